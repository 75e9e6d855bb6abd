"""What the signer reads first says no less than what ends the run."""

import record_factory

from floorfit.report.format import display_for
from floorfit.report.headline import headline
from floorfit.result import UNSETTLED


def test_what_is_to_be_settled_stands_with_the_counts() -> None:
    # The same codes give exit 1 (the contract's "a person must look"): a sheet that is signed may not say less.
    record = record_factory.frame()
    found = [{"code": code, "source": "readings.csv", "text": "", "severity": "warning"} for code in UNSETTLED[:2]]
    said = headline(record.model_copy(update={"findings": [*found, *found]}), display_for("mm"))
    assert said.endswith(f"to settle before anything is cut: {', '.join(UNSETTLED[:2])}.")
    assert "settle" not in headline(record.model_copy(update={"findings": []}), display_for("mm"))

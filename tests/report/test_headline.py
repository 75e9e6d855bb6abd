"""What the signer reads first says no less than what ends the run."""

import record_factory

from floorfit.record import SystematicRecord
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


def test_an_error_that_readings_share_stands_there_too_where_it_is_not_let_go() -> None:
    """What ends with exit 1 on the terminal is not signed for as if nothing were (contract, exit codes)."""
    error = {"kind": "step", "name": "45", "unit": "mm", "effect": -0.03, "u": 0.002, "size_mm": 0.03, "chance": 1e-9}
    found = {"systematic": [SystematicRecord(**error)], "findings": [{"code": "shared-step", "text": "a step"}]}
    record = record_factory.frame().model_copy(update=found)
    assert headline(record, display_for("mm")).endswith("to settle before anything is cut: shared-step.")
    small = found | {"systematic": [SystematicRecord(**error | {"size_mm": 0.02})]}
    assert "settle" not in headline(record.model_copy(update=small), display_for("mm"))

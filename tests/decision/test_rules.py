"""Numbers in words, in the drawing's unit."""

from __future__ import annotations

import numpy as np
import pytest
from known_warp import floor_at

from floorfit.decision.candidates import best_candidate
from floorfit.decision.decision import Reason
from floorfit.decision.rules import Wording, hold_reason, metal_notes
from floorfit.decision.settings import DecisionSettings


def test_words_are_in_the_part_s_unit() -> None:
    # 25.4 mm to the inch, exactly.
    assert Wording("mm").length(0.0254) == "0.025 mm"
    assert Wording("in").length(0.0254) == "0.0010 in"
    assert Wording("mm").place(np.array([412.4, 87.6])) == "(412, 88)"
    assert Wording("in").place(np.array([254.0, 50.8])) == "(10.0, 2.0)"


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_reason_is_a_code_and_words_with_a_place(unit: str) -> None:
    floor = floor_at(lambda x, y: 0.65)
    chosen = best_candidate(floor, DecisionSettings())
    reason = hold_reason(floor, chosen, DecisionSettings(), Wording(unit))  # type: ignore[arg-type]
    assert reason.code == "no-stock"
    assert f" {unit} under its limit near (" in reason.words


def test_kind_floor_has_no_reason_and_no_note() -> None:
    floor = floor_at(lambda x, y: 0.05)
    chosen = best_candidate(floor, DecisionSettings())
    assert hold_reason(floor, chosen, DecisionSettings(), Wording("mm")) == Reason()
    assert metal_notes(floor, chosen, DecisionSettings(), Wording("mm")) == []


def test_reason_is_joined_only_where_it_is_written() -> None:
    reason = Reason("tolerance", "no shift brings the floor in: none")
    assert (str(reason), bool(reason)) == ("tolerance: no shift brings the floor in: none", True)
    assert (str(Reason()), bool(Reason())) == ("", False)

"""What motion that is not on a floor gains: the least height over a raised floor."""

from __future__ import annotations

import re

import pytest
from nc_cases import apply, corrections, hold

from floorfit.errors import InputError

#: From beside pocket A (X 0 to 100, Y 0 to 60, Z 2) to over it in feed and in rapid; and past its corner, where a rapid
#: need not run straight (RS274/NGC: the axes of G0 may end one after the other).
WAYS = ["G1 X50. Y30. F500", "G0 X50. Y30.", "G0 X20. Y90."]


def height_after(way: str, height: float, **options: float) -> float:
    """Height over pocket A, raised by 0.3, of motion that was so high over it as programmed."""
    text = f"G21 G17 G90 G94 G40\nT1 M6\nG0 X-40. Y20. Z40.\nZ{2 + height:.3f}\n{way}\nG0 Z40.\n"
    text += "X10. Y10.\nG1 Z2. F500\nX90.\nG0 Z40.\nM30\n"
    head, _, _ = apply(text, corrections(A=0.3), **options).partition("G0 Z40.\nX10.")
    return float(re.findall(r"Z([\d.]+)", head)[-1]) - 2.3


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("clearance", [0.5, 3.0, 20.0])
@pytest.mark.parametrize("over", [-0.4, -0.01, 0.01, 0.2, 0.4])
def test_motion_keeps_its_height_over_a_raised_floor_up_to_the_clearance(
    way: str, clearance: float, over: float
) -> None:
    # What was lower than the clearance stays as high, what was higher comes down to it at most: by definition of
    # a clearance, max(h - 0.3, min(h, c)). Z is written to 0.001 mm.
    height = clearance + over
    if height > 0.2:  # above the band, which moves with its floor
        expected = max(height - 0.3, min(height, clearance))
        assert height_after(way, height, clearance_mm=clearance) == pytest.approx(expected, abs=0.0011)


@pytest.mark.parametrize("name", ["clearance_mm", "band_mm"])
@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf")])
def test_a_height_that_is_none_is_refused(name: str, value: float) -> None:
    # Nothing is lower than NaN: no motion would keep a clearance of it.
    with pytest.raises(InputError, match=rf"{name}: {value!r} came, a number, 0 or more"):
        height_after("G0 X50. Y30.", 1.0, **{name: value})


@pytest.mark.parametrize(("over", "is_cut"), [(0.449, True), (0.45, False), (0.451, False)])
def test_a_held_floor_is_guarded_below_its_stock_less_the_window(over: float, is_cut: bool) -> None:
    # Stock 0.5, window 0.05 (both stated): a pass at 0.45 over the floor takes what roughing may have left anyhow.
    text = "G21 G17 G90 G94 G40\nT1 M6\nG0 X110. Y10. Z20.\nG1 Z2. F500\nX190.\nG0 Z20.\n"
    text += f"X10. Y10.\nG1 Z{2 + over:.3f}\nX90.\nG0 Z20.\nM30\n"
    given = corrections(A=hold("A"), B=0.1)
    if is_cut:
        with pytest.raises(InputError, match="pocket A is held and the programme cuts it"):
            apply(text, given)
    else:
        assert f"G1 Z{2 + over:.3f}\n" in apply(text, given)

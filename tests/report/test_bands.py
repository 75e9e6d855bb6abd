from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorfit.report.bands import Sheet, lay_bands

SHEET = Sheet(10.0, 70.0, 400.0, 208.0)
sizes = st.floats(1.0, 2e4)


@given(sizes, sizes)
def test_bands_stay_on_the_sheet_and_keep_one_scale(width: float, height: float) -> None:
    scale, bands = lay_bands((0.0, 0.0, width, height), [], SHEET)
    for band in bands:
        left, bottom, w, h = band.box
        x0, y0, x1, y1 = band.bounds
        assert left >= SHEET.left - 1e-6 and bottom >= SHEET.bottom - 1e-6  # rounding, mm of paper
        assert left + w <= SHEET.left + SHEET.width + 1e-6
        assert bottom + h <= SHEET.bottom + SHEET.height + 1e-6
        assert w == pytest.approx((x1 - x0) * scale) and h == pytest.approx((y1 - y0) * scale)


@given(sizes, sizes)
def test_bands_cover_the_plate_once(width: float, height: float) -> None:
    _, bands = lay_bands((0.0, 0.0, width, height), [], SHEET)
    axis = 0 if width >= height else 1
    for left, right in pairwise(bands):
        assert left.bounds[axis + 2] == right.bounds[axis]
    assert bands[0].bounds[axis] <= 0 and bands[-1].bounds[axis + 2] >= max(width, height)
    assert bands[0].is_first and bands[-1].is_last


def test_spar_is_drawn_larger_in_bands() -> None:
    spar, bands = lay_bands((0.0, 0.0, 8000.0, 1000.0), [], SHEET)
    whole, one = lay_bands((0.0, 0.0, 8000.0, 1000.0), [], SHEET, most=1)
    assert len(one) == 1 and len(bands) > 1
    assert spar > 1.2 * whole


def test_square_plate_is_not_cut() -> None:
    assert len(lay_bands((0.0, 0.0, 500.0, 500.0), [], SHEET)[1]) == 1


def test_breaks_lie_in_ribs() -> None:
    floors = [(k * 200.0 + 10, 10.0, k * 200.0 + 190, 990.0) for k in range(41)]
    _, bands = lay_bands((0.0, 0.0, 8200.0, 1000.0), floors, SHEET)
    for band in bands[:-1]:
        assert not any(floor[0] < band.bounds[2] < floor[2] for floor in floors)

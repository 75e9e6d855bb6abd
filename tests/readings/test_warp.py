"""Warp of a reading: the contract's arithmetic, and thickness along the normal (t_n = t_z cos α)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import readings_from_arrays
from floorfit.readings.warp import observe, slope_factors

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))


def one_pocket(slope: tuple[float, float] = (0.0, 0.0)) -> Part:
    pocket = Pocket("A", SQUARE, (), 2.0, 2.0, Tolerance(-0.1, 0.1), 0.0, 0.5, slope)
    return Part("plate", SQUARE, (pocket,))


@pytest.mark.parametrize(
    ("degrees", "normal"),
    # 2.000 mm along Z read along the normal of a sloped floor: 2 cos α, in full digits by hand calculation.
    [(1, 1.99969539), (2, 1.998781654), (3, 1.99725907), (5, 1.992389396), (10, 1.969615506), (15, 1.931851653)],
)
def test_reading_along_the_normal_becomes_two_millimetres_along_z(degrees: float, normal: float) -> None:
    # 1e-8: the printed digits.
    factor = slope_factors(one_pocket((math.tan(math.radians(degrees)), 0.0)), [0], [50.0], [50.0])
    assert normal * factor == pytest.approx(2.0, abs=1e-8)


def test_factor_of_a_slope_of_one_in_ten() -> None:
    # √1.01 = 1.00498756211, by hand.
    assert slope_factors(one_pocket((0.1, 0.0)), [0], [50.0], [50.0]) == pytest.approx(1.00498756211, abs=1e-11)


def test_warp_is_floor_less_thickness_less_underside() -> None:
    # The contract's own example: floor roughed at 2.500, reading 2.420, underside 0: w = +0.080.
    readings = readings_from_arrays([50.0], [50.0], [2.420])
    seen = observe(one_pocket(), readings)
    assert seen.warp[0] == pytest.approx(0.080, abs=1e-12)
    assert not seen.is_z_measured[0]


def test_warp_on_a_five_degree_floor() -> None:
    # 2.420/cos 5° = 2.42924400685, so w = 0.07075599315 at the centroid (hand calculation).
    part = one_pocket((math.tan(math.radians(5.0)), 0.0))
    seen = observe(part, readings_from_arrays([50.0], [50.0], [2.420]))
    assert seen.warp[0] == pytest.approx(0.07075599315, abs=1e-11)


def test_measured_floor_height_is_used_and_brings_its_uncertainty() -> None:
    readings = readings_from_arrays([50.0], [50.0], [2.420], z=[2.530], u=[0.003])
    seen = observe(one_pocket(), readings, z_u_mm=0.004)
    assert seen.warp[0] == pytest.approx(0.110, abs=1e-12)
    # 3-4-5 triangle.
    assert seen.u[0] == pytest.approx(0.005, abs=1e-15)


def test_off_the_floors_there_is_no_warp() -> None:
    readings = readings_from_arrays([50.0, -5.0], [50.0, 50.0], [2.4, 2.4], z=[np.nan, 2.5])
    seen = observe(one_pocket(), readings)
    assert np.isfinite(seen.warp[0])
    assert np.isnan(seen.warp[1])
    assert np.isnan(slope_factors(one_pocket(), [-1], [0.0], [0.0])[0])


def test_a_label_fits_its_own_floor_alone() -> None:
    # Four floors in a row, each read once under every label, without one, and under one that no floor has.
    rings = [tuple((x + 100.0 * k, y) for x, y in SQUARE) for k in range(4)]
    pockets = tuple(Pocket(f"P{k}", ring, (), 2.0, 2.0, Tolerance(-0.1, 0.1)) for k, ring in enumerate(rings))
    part = Part("plate", ((0.0, 0.0), (400.0, 0.0), (400.0, 100.0), (0.0, 100.0)), pockets)
    labels = ["P0", "P1", "P2", "P3", "", "P9"]
    floor, label = (grid.ravel() for grid in np.meshgrid(range(4), range(6), indexing="ij"))
    x = 50.0 + 100.0 * floor
    readings = readings_from_arrays(x, np.full(24, 50.0), np.full(24, 2.0), pocket=[labels[k] for k in label])
    assert observe(part, readings).is_consistent.tolist() == ((label == floor) | (label == 4)).tolist()

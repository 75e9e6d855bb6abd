"""Readings on curved floors: what is nominal is taken off place by place, so that the warp is that of a flat twin."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import small_part
from shapely import Point

from floorfit.part.model import Part
from floorfit.part.shape import HeightGrid, Patch
from floorfit.readings import readings_from_arrays
from floorfit.readings.warp import observe, slope_factors
from floorfit.run import Result, correct

PLACES = small_part.places()


def bowl() -> Patch:
    """A paraboloid on a grid of 2 mm; bilinear heights are the nominal shape itself."""
    x, y = 2.0 * np.arange(301), 2.0 * np.arange(301)
    rows = tuple(tuple(4.0 + ((xx - 150.0) ** 2 + (yy - 100.0) ** 2) / 8000.0 for xx in x) for yy in y)
    return Patch(grid=HeightGrid((0.0, 0.0), (2.0, 2.0), rows))


def curved(kind: str) -> Part:
    part = small_part.part()
    below = {"parallel": {"is_parallel": True}, "level": {}, "recess": {"underside": recess()}}[kind]
    pockets = []
    for pocket in part.pockets:
        shaped = replace(pocket, floor=(bowl(),), slope=(0.0, 0.0), **below)
        z = float(shaped.floor_at(*shaped.centroid))
        under = (
            z - pocket.web
            if kind == "parallel"
            else float(replace(shaped, underside_z=0.0).underside_at(*shaped.centroid))
        )
        pockets.append(replace(shaped, floor_z=z, underside_z=under, web=z - under))
    return replace(part, pockets=tuple(pockets))


def recess() -> tuple[Patch, ...]:
    """A level underside with a tilted recess under part of every floor."""
    return (Patch(), Patch(((0.0, 0.0), (150.0, 0.0), (150.0, 1e3), (0.0, 1e3)), (0.0, 0.0, 0.4), (0.001, 0.0)))


def taken(part: Part, warp):  # type: ignore[no-untyped-def]
    """What a gauge along the normal shows on the roughed part with that warp, Z measured."""
    x, y = PLACES
    thickness, z = np.zeros(len(x)), np.zeros(len(x))
    for pocket in part.pockets:
        import shapely

        here = shapely.intersects_xy(pocket.polygon, x, y)
        z[here] = pocket.rough_z(x[here], y[here])
        along_z = z[here] - pocket.underside_at(x[here], y[here]) - warp(x[here], y[here])
        thickness[here] = along_z / pocket.steepness_at(x[here], y[here])
    return readings_from_arrays(x, y, thickness, z=z)


@pytest.mark.parametrize("kind", ["parallel", "level", "recess"])
def test_warp_is_that_of_the_flat_twin(kind: str) -> None:
    part = curved(kind)
    readings = taken(part, small_part.plane)
    warp = observe(part, readings).warp
    assert warp == pytest.approx(small_part.plane(*PLACES), abs=1e-12)


def wave(x, y):  # type: ignore[no-untyped-def]
    return 0.05 + 0.03 * np.sin(x / 90.0) * np.cos(y / 70.0)


@cache
def flat_twin() -> Result:
    return correct(small_part.part(), taken(small_part.part(), wave))


@pytest.mark.parametrize("kind", ["parallel", "level", "recess"])
def test_offsets_are_those_of_the_flat_twin(kind: str) -> None:
    """The law: web = nominal + dz - w. Where w is the same, so is dz; no row is set aside for the shape."""
    part, flat = curved(kind), flat_twin()
    bent = correct(part, taken(part, wave))
    assert bent.observations.is_used.sum() == flat.observations.is_used.sum()
    for one, two in zip(bent.decisions, flat.decisions, strict=True):
        assert (one.action, one.verdict) == (two.action, two.verdict)
        # A slope of up to 5 degrees scales a reading's uncertainty by 1/cos: 0.4 % of weight, well under 0.1 µm here. A
        # web that is not constant is expected to dish by another amount (a power of the thickness that is not known),
        # which the wave of 30 µm, no dish at all, shares otherwise with the spline. That is nothing beside what is
        # stated: half of the last digit of a standard uncertainty of one digit, 0.005 mm (JCGM 101:2008, 7.9.2).
        allowed = 5e-5 if kind == "parallel" else 5e-4
        assert one.correction.offset == pytest.approx(two.correction.offset, abs=allowed)


def test_factor_is_local() -> None:
    part = curved("parallel")
    x, y = np.array([30.0, 60.0]), np.array([40.0, 40.0])
    number = next(k for k, p in enumerate(part.pockets) if p.polygon.covers(Point(30.0, 40.0)))
    # Slopes of the grid's cells: secants of the paraboloid over 2 mm.
    slope = [np.hypot((xx + 1.0 - 150.0) / 4000.0, (yy + 1.0 - 100.0) / 4000.0) for xx, yy in zip(x, y, strict=True)]
    assert slope_factors(part, [number, number], x, y) == pytest.approx(np.sqrt(1.0 + np.square(slope)), abs=1e-6)

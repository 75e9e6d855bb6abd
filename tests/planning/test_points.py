"""The plan of places: reachable, spread over all floors, better than a regular grid, and in a short order."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.ops
from lying_readings import plate, warp

from floorfit import Settings, correct
from floorfit.errors import InputError
from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.part.part_file import read_part
from floorfit.planning.after_job import known_readings, wants_readings
from floorfit.planning.path import path_length
from floorfit.planning.points import Known, Plan, plan
from floorfit.readings.observations import Readings, readings_from_arrays
from floorfit.record import ReadingsRecord

SAMPLES = Path(__file__).resolve().parents[2] / "sample_parts"


@cache
def planned(count: int) -> Plan:
    """So many places on the plate, planned once."""
    return plan(plate(), count=count)


def test_places_keep_their_distance_and_lie_on_the_floor_named() -> None:
    part = plate()
    result = plan(part, count=80, probe_radius_mm=4.0, wall_mm=1.5)
    for point, name in zip(result.points, result.pockets, strict=True):
        floor = part.pocket(name).polygon
        assert floor.boundary.distance(shapely.Point(point)) >= 5.5 - 1e-9
        assert shapely.contains_xy(floor, *point)
    assert len({tuple(point) for point in result.points.tolist()}) == 80
    assert result.is_reached


def test_every_floor_gets_three() -> None:
    assert min(Counter(planned(54).pockets).values()) == 3
    assert min(Counter(planned(90).pockets).values()) >= 3


def test_too_few_for_all_floors_are_spread_and_said_so() -> None:
    result = plan(plate(), count=20)
    assert max(Counter(result.pockets).values()) <= 2
    assert [finding.code for finding in result.findings] == ["few-readings"]


def test_curve_falls_and_the_largest_is_above_the_mean() -> None:
    curve = planned(90).curve
    assert curve[:, 0].tolist() == list(range(1, 91))
    # Theorem: a reading never makes a posterior variance larger; 1e-9: rounding of single precision.
    assert (np.diff(curve[:, 1]) <= 1e-9).all()
    assert (curve[:, 2] >= curve[:, 1]).all()


def test_stops_at_the_share_of_the_tolerance() -> None:
    result = plan(plate(), share=0.10)
    assert result.is_reached
    # Tolerance 0.2 mm wide, k = 2.
    assert 2.0 * np.nanmax(result.offset_u) <= 0.10 * 0.2
    # Three on each floor, the least, do for 0.06.
    tight = plan(plate(), share=0.05)
    assert len(tight.points) > len(result.points)


def test_tighter_floor_gets_more() -> None:
    part = plate()
    pockets = [replace(p, tolerance=Tolerance(-0.02, 0.02)) if p.id == "P14" else p for p in part.pockets]
    counts = Counter(plan(replace(part, pockets=tuple(pockets)), count=72).pockets)
    assert counts["P14"] > np.median(list(counts.values()))


def test_path_goes_floor_by_floor_there_and_back_and_is_short() -> None:
    result = planned(90)
    changes = sum(a != b for a, b in zip(result.pockets, result.pockets[1:], strict=False))
    assert changes == 2 * (len(set(result.pockets)) - 1)
    assert result.path_mm == pytest.approx(path_length(result.points))
    by_use = result.points[np.argsort(result.rank)]
    assert result.path_mm < 0.5 * path_length(by_use)


def test_readings_that_exist_are_not_taken_again() -> None:
    part = plate()
    first = planned(54)
    known = Known(first.points, warp(*first.points.T), np.full(54, 0.01))
    more = plan(part, start=known, floors=["P00", "P25"])
    assert set(more.pockets) <= {"P00", "P25"}
    assert len(more.points) == 6
    assert more.curve[0, 0] == 55
    assert np.isnan(more.offset_u[1])
    assert (np.diff(more.curve[:, 2]) <= 1e-9).all()


def test_floor_without_room_is_named() -> None:
    square = ((0.0, 0.0), (300.0, 0.0), (300.0, 100.0), (0.0, 100.0))
    slot = Pocket("slot", ((0, 0), (100, 0), (100, 5), (0, 5)), (), 2.0, 2.0, Tolerance(-0.1, 0.1))
    wide = Pocket("wide", ((110, 0), (300, 0), (300, 100), (110, 100)), (), 2.0, 2.0, Tolerance(-0.1, None))
    result = plan(Part("two", square, (slot, wide)), count=6)
    assert result.unreachable == ("slot",)
    assert set(result.pockets) == {"wide"}
    with pytest.raises(InputError, match="the probe finds room on no floor"):
        plan(Part("two", square, (slot,)), count=6)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"count": 0}, "count: 0 came, a whole number, 1 or more"),
        ({"share": 0.0}, "share: 0.0 came, a number above 0"),
        ({"u_mm": float("nan")}, "u_mm: nan came"),
        ({"probe_radius_mm": -1.0}, "probe_radius_mm: -1.0 came"),
        ({"floors": ["Q"]}, 'no pocket "Q"'),
        ({"floors": []}, "none to plan for"),
    ],
)
def test_bad_settings_are_refused(settings: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        plan(plate(), **settings)  # type: ignore[arg-type]


def test_more_than_there_are_places() -> None:
    square = ((0.0, 0.0), (60.0, 0.0), (60.0, 60.0), (0.0, 60.0))
    part = Part("small", square, (Pocket("A", square, (), 2.0, 2.0, Tolerance(-0.1, 0.1)),))
    result = plan(part, count=3000)
    assert not result.is_reached
    assert "few-places" in {finding.code for finding in result.findings}


def test_hundred_and_twenty_floors_are_planned() -> None:
    # Three readings a floor, and a few that go where they tell most.
    result = plan(plate(15, 8), count=400)
    assert len({tuple(point) for point in result.points.tolist()}) == 400
    assert min(Counter(result.pockets).values()) == 3
    assert len(set(result.pockets)) == 120


@pytest.mark.parametrize("side", [20.0, 30.0, 45.0, 60.0])
def test_a_small_part_is_planned(side: float) -> None:
    ring = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))
    part = Part("small", ring, (Pocket("A", ring, (), 2.0, 2.0, Tolerance(-0.1, 0.1)),))
    assert len(plan(part, count=6).points) == 6


def test_same_input_same_plan() -> None:
    assert plan(plate(), count=60).points.tolist() == plan(plate(), count=60).points.tolist()


def test_progress_is_told() -> None:
    told: list[tuple[int, int]] = []
    plan(plate(), count=20, progress=lambda done, total: told.append((done, total)))
    assert told[-1] == (20, 20)


def test_known_readings_are_those_used_with_their_weight() -> None:
    readings = ReadingsRecord.model_construct(
        x_mm=[1.0, 2.0, 3.0, 4.0], y_mm=[4.0, 5.0, 6.0, 7.0], warp_mm=[0.1, 0.2, None, 0.4],
        u_mm=[0.02, None, 0.01, 0.01], weight=[1.0, 0.64, None, 0.3], used=[True, True, False, False],
    )  # fmt: skip
    known = known_readings(readings)
    assert known.points.tolist() == [[1.0, 4.0], [2.0, 5.0]]
    assert known.warp.tolist() == [0.1, 0.2]
    # A weight is a share of 1/u² (weighted least squares): 0.010 / 0.8.
    assert known.u == pytest.approx([0.02, 0.0125])


def test_middle_of_each_web_is_among_the_first_three() -> None:
    # A dished web stands out most at its middle: findings of plates whose middles went unread.
    part = plate()
    places = planned(54).points
    for pocket in part.pockets:
        x0, y0, x1, y1 = pocket.polygon.bounds
        middle = shapely.Point((x0 + x1) / 2, (y0 + y1) / 2)
        on = [shapely.Point(p) for p in places if shapely.contains_xy(pocket.polygon, *p)]
        # An island of 24 mm stands on some middles; the probe keeps 4 mm off it.
        assert min(middle.distance(p) for p in on) <= 12 * np.sqrt(2) + 8


@pytest.mark.parametrize("name", ["long_rib", "bay_frame"])
def test_a_smaller_share_never_asks_for_fewer(name: str) -> None:
    part = read_part(SAMPLES / name / "part.json")
    floors = [pocket.id for pocket in part.pockets[::3]]
    asked = [len(plan(part, share=share, floors=floors).points) for share in (0.5, 0.25, 0.1)]
    assert asked == sorted(asked)
    # The order of the places does not depend on what is asked for: as many by count reach the same share.
    both = plan(part, share=0.25, count=asked[1], floors=floors)
    assert both.is_reached
    assert len(both.points) == asked[1]


def _read(part: Part, places: np.ndarray, values: np.ndarray) -> Readings:
    x, y = places.T
    return readings_from_arrays(x, y, 2.5 - values)


def test_uncertainty_promised_is_the_one_reported() -> None:
    # Two floors of 0.9 mm web are left out: 2.5 − w is what roughing leaves of the others.
    part = replace(plate(), pockets=tuple(p for p in plate().pockets if p.web == 2.0))
    places = plan(part, count=3 * len(part.pockets)).points
    each = [_promised_and_reported(part, places, seed) for seed in (4, 5, 6)]
    promised, reported = np.concatenate(each, axis=1)
    # 400 joint samples of one plate know its floors, which move together, to some 2 %: of three plates the mean counts.
    assert np.sqrt(np.mean(promised**2)) == pytest.approx(np.sqrt(np.mean(reported**2)), rel=0.05)
    # Of one floor: 400 joint samples know a deviation to 3.5 % (1/√(2·400)), twice, three of them.
    assert promised == pytest.approx(reported, rel=0.15)


def _promised_and_reported(part: Part, places: np.ndarray, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    # A fifth of the bow, so that a shift does for every floor.
    values = 0.2 * warp(*places.T) + rng.normal(0, 0.01, len(places))
    settings = Settings(reading_u=0.01, floor_z="as-programmed", moved_u=0.0)
    before = correct(part, _read(part, places, values), settings)
    known = known_readings(before.record().readings, settings.machine_u)
    more = plan(part, start=known, count=2 * len(part.pockets))
    # The readings come out as the fit expects, with the noise stated.
    new = before.fit.surface.at(*more.points.T) + rng.normal(0, 0.01, len(more.points))
    after = correct(part, _read(part, np.vstack([places, more.points]), np.append(values, new)), settings)
    assert [one.action for one in after.decisions] == ["shift"] * len(part.pockets)
    return np.array([more.offset_u, [one.offset_u_mm / 2 for one in after.decisions]])


def test_which_floors_want_readings() -> None:
    assert wants_readings("undecided", "")
    assert wants_readings("nonconform", "too-few-readings")
    assert not wants_readings("nonconform", "no-stock")
    assert not wants_readings("conform", "")


def _grid(part: Part, columns: int, rows: int) -> np.ndarray:
    """Regular grid on every floor, each place in the middle of its cell; off an island if need be."""
    out = []
    for pocket in part.pockets:
        x0, y0, x1, y1 = pocket.polygon.bounds
        room = pocket.polygon.buffer(-4.0)
        for j in range(rows):
            for i in range(columns):
                place = shapely.Point(x0 + (i + 0.5) * (x1 - x0) / columns, y0 + (j + 0.5) * (y1 - y0) / rows)
                near = shapely.ops.nearest_points(room, place)[0]
                out.append((near.x, near.y))
    return np.array(out)


def _offset_error(truth: object, part: Part, places: np.ndarray, seed: int) -> float:
    """Root mean square error of the offsets from readings at the places, mm."""
    from physics import floor_points
    from scipy.interpolate import RBFInterpolator

    noise = 0.01
    values = truth(*places.T) + np.random.default_rng(seed).normal(0, noise, len(places))  # type: ignore[operator]
    # Thin-plate spline of another author; smoothing u²/τ² with τ² = 1e-8, between stiff and lively plates.
    spline = RBFInterpolator(places, values, kernel="thin_plate_spline", smoothing=noise**2 / 1e-8, degree=1)
    errors = []
    for pocket in part.pockets:
        points = floor_points(pocket, 16)
        fitted, true = spline(points), truth(*points.T)  # type: ignore[operator]
        errors.append((fitted.max() + fitted.min() - true.max() - true.min()) / 2)
    return float(np.sqrt(np.mean(np.square(errors))))


@pytest.mark.accuracy
@pytest.mark.parametrize("seed", [2, 4])
def test_offsets_are_better_than_from_a_regular_grid_of_as_many(seed: int) -> None:
    # Truth: a plate of ribs and webs bent by released residual stress (tests/physics.py). Asked for: 0.85.
    from physics import random_plate

    plate_bent = random_plate(seed, 1600.0, 700.0, 3, 7)
    part = plate_bent.part
    for columns, rows in ((2, 2), (3, 2)):
        grid = _grid(part, columns, rows)
        planned = plan(part, count=len(grid)).points
        ratio = _offset_error(plate_bent.warp, part, planned, seed) / _offset_error(plate_bent.warp, part, grid, seed)
        assert ratio <= 0.85

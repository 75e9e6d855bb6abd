"""Screening: each kind of lie by name, honest readings left alone, nothing repaired."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from lying_readings import LENGTH, WIDTH, Row, honest_rows, lie, plate, table, warp

from floorfit.errors import InputError
from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.misplaced import _steadier, refuse_slipped, whole_file_findings
from floorfit.readings.observations import Observations, readings_from_arrays
from floorfit.readings.repeats import estimate_repeatability
from floorfit.readings.screening import screen


def screened(rows: list[Row], **settings: float) -> Observations:
    return screen(plate(), table(rows), **settings)


@pytest.fixture(scope="module")
def honest() -> list[Row]:
    return honest_rows(plate(), 7, np.random.default_rng(11))


def test_honest_readings_are_all_used(honest: list[Row]) -> None:
    result = screened(honest)
    assert result.is_used.all()
    assert set(result.code) == set(result.reason) == {""}
    assert result.site.tolist() == list(range(len(honest)))
    assert not whole_file_findings(plate(), result)


def test_eight_percent_of_lies_are_named() -> None:
    right, told, wronged, good = Counter[str](), Counter[str](), 0, 0
    part = plate()
    for seed in range(12):
        rng = np.random.default_rng(seed)
        rows = lie(part, honest_rows(part, 12, rng), 0.08, rng)
        for row, code in zip(rows, screen(part, table(rows)).code, strict=True):
            told[row.code] += 1
            right[row.code] += row.code == code
            wronged += row.code == "" and code != ""
            good += row.code == ""
    # Asked for: nine of ten of every kind, and fewer than one honest reading in two hundred lost.
    assert {code: right[code] / told[code] for code in told if code and right[code] < 0.9 * told[code]} == {}
    assert len(told) == 12, "eleven codes and the honest ones"
    assert wronged < 0.005 * good


def test_a_thin_web_read_twice_as_thick_is_not_taken_for_its_neighbours_web(honest: list[Row]) -> None:
    # Every reading of one thin web doubled: 2 × (0.9 + 0.5) looks like a common web of this plate.
    rows = [replace(row, thickness=2 * row.thickness) if row.label == "P12" else row for row in honest]
    result = screened(rows)
    assert {str(c) for c, row in zip(result.code, rows, strict=True) if row.label == "P12"} == {"double-echo"}
    assert result.is_used.sum() == len(rows) - 7


def test_reason_says_what_is_expected_and_what_to_do(honest: list[Row]) -> None:
    rows = [replace(honest[0], thickness=2 * honest[0].thickness), *honest[1:]]
    reason = screened(rows).reason[0]
    assert reason.startswith("double-echo: ")
    assert "is twice the" in reason
    assert "Read again" in reason


def test_nothing_is_repaired(honest: list[Row]) -> None:
    rows = [replace(honest[0], thickness=honest[0].thickness / 25.4), *honest[1:]]
    result = screened(rows)
    assert result.code[0] == "inch"
    # The warp of the row is that of the reading as it came.
    assert result.warp[0] == pytest.approx(2.5 - rows[0].thickness)


@pytest.mark.parametrize(
    ("factor", "unit"), [(1 / 25.4, "inches"), (25.4, "millimetres"), (1e3, "micrometres"), (1e-3, "metres")]
)
@pytest.mark.parametrize("share", [1.0, 0.6])
def test_a_file_in_another_unit_is_refused_by_its_name(
    honest: list[Row], factor: float, unit: str, share: float
) -> None:
    """An inch is 25.4 mm exactly (ISO 80000-3); prefixes of the SI. No row is left to say what the others should be."""
    rows = [replace(row, thickness=row.thickness * factor) if k < share * len(honest) else row
            for k, row in enumerate(honest)]  # fmt: skip
    with pytest.raises(InputError, match=f"as if they were in {unit}"):
        screened(rows)


def test_repeats_of_one_place_give_the_repeatability() -> None:
    rng = np.random.default_rng(3)
    rows = [row for row in honest_rows(plate(), 5, rng) for _ in range(3)]
    rows = [replace(row, thickness=row.thickness + rng.normal(0, 0.008)) for row in rows]
    result = screened(rows)
    assert result.is_used.all()
    found = estimate_repeatability(result.site, result.warp)
    assert found.dof == 2 * 90
    # A standard deviation from 180 degrees of freedom is known to 1/√360 = 5 % (JCGM 100, E.4.3); three times that.
    assert found.sd == pytest.approx(0.008, rel=0.16)
    assert result.site[:6].tolist() == [0, 0, 0, 3, 3, 3]


def test_equal_repeats_of_a_coarse_display_are_no_doubled_rows() -> None:
    rng = np.random.default_rng(4)
    rows = [row for row in honest_rows(plate(), 4, rng) for _ in range(3)]
    rows = [replace(row, thickness=round(row.thickness + rng.normal(0, 0.004), 2)) for row in rows]
    assert screened(rows).is_used.all()


def test_probe_radius_is_settable(honest: list[Row]) -> None:
    boundary = plate().pockets[0].polygon.bounds
    rows = [replace(honest[0], x=boundary[0] + 4.0, y=60.0), *honest[1:]]
    near = [replace(rows[0], thickness=2.5 - float(warp(rows[0].x, 60.0))), *rows[1:]]
    assert screened(near).is_used[0]
    assert screened(near, probe_radius_mm=5.0).code[0] == "near-wall"
    assert screened(near, wall_clearance_mm=2.0).code[0] == "near-wall"


def test_whole_file_with_x_and_y_exchanged_is_said_so(honest: list[Row]) -> None:
    result = screened([replace(row, x=row.y, y=row.x) for row in honest])
    (finding,) = whole_file_findings(plate(), result)
    assert "X and Y are exchanged" in finding.text
    assert finding.severity == "warning"


def test_whole_file_in_inches_under_a_header_of_millimetres(honest: list[Row]) -> None:
    rows = [replace(r, x=r.x / 25.4, y=r.y / 25.4, thickness=r.thickness / 25.4) for r in honest]
    result = screened(rows)
    assert "inches in a column of millimetres" in whole_file_findings(plate(), result)[0].text
    assert (result.code == "inch").mean() > 0.9


def test_no_reading_counts_where_most_lie_on_no_floor_of_theirs(honest: list[Row]) -> None:
    """Mirrored, the middle row of a regular layout lies on itself: its labels agree, and its places are wrong."""
    result = screened([replace(row, y=WIDTH - row.y) for row in honest])
    assert 0 < result.is_consistent.mean() < 0.5 and not result.is_used.any()
    assert set(result.code[result.is_consistent]) == {"lost-place"}


@pytest.mark.parametrize(("every", "is_told"), [(4, True), (6, False)])
def test_labels_off_their_places_are_told_from_a_fifth_on(honest: list[Row], every: int, is_told: bool) -> None:
    names = [pocket.id for pocket in plate().pockets]
    rows = [
        replace(row, label=names[(row.pocket + 1) % len(names)]) if k % every == 0 else row
        for k, row in enumerate(honest)
    ]
    result = screened(rows)
    assert bool(whole_file_findings(plate(), result)) is is_told
    assert result.is_used.sum() >= 0.7 * len(rows)


@pytest.mark.parametrize("unit", [1 / 25.4, 25.4, 1000.0])
def test_a_file_that_is_in_part_in_another_unit_is_refused(honest: list[Row], unit: float) -> None:
    """An inch is 25.4 mm (ISO 31-1:1992); 0.1 in for 2.5 mm. One slip is a reading's, a third is the file's."""
    some = [replace(row, thickness=row.thickness * unit) if k % 3 == 0 else row for k, row in enumerate(honest)]
    with pytest.raises(InputError, match=r"as if they were in (inches|millimetres|micrometres)"):
        screened(some)
    assert screened([replace(honest[0], thickness=honest[0].thickness * unit), *honest[1:]]).is_used[1:].all()


@pytest.mark.parametrize(
    "names, told, first",
    [
        ("thickness", "thicknesses", 0),
        ("thickness", "thicknesses", 40),
        ("z", "Z", 40),
        ("thickness z", "thicknesses and Z", 40),
    ],
)
def test_a_column_that_slipped_by_a_line_is_refused(honest: list[Row], names: str, told: str, first: int) -> None:
    """What was read at one place stands beside the next, from some line on: moved back, the scatter is the gauge's."""
    deeper = np.random.default_rng(5).uniform(0.0, 0.1, len(honest))  # the steps that roughing left, as measured
    floors = np.array([plate().pockets[row.pocket].floor_z + 0.5 for row in honest])
    read = table(honest)
    read = replace(read, thickness=read.thickness - deeper, z=floors - deeper) if "z" in names else read
    refuse_slipped(screen(plate(), read))
    for lines, way in ((1, "up"), (-1, "down")):
        moved = {}
        for name in names.split():
            column = getattr(read, name)
            moved[name] = np.concatenate([column[:first], np.roll(column[first:], lines)])
        with pytest.raises(InputError, match=f"on, moved {way} by a line against the places, the {told} scatter"):
            refuse_slipped(screen(plate(), replace(read, **moved)))


@pytest.mark.parametrize(("count", "is_told"), [(2, False), (12, False), (13, True), (20, True)])
def test_readings_that_lie_are_no_column_that_slipped(count: int, is_told: bool) -> None:
    """k rows that gain alike gain √k of their standard error, and 3.5 are asked for: 12 by chance, 13 surely."""
    own = np.zeros(60)
    own[np.linspace(5, 55, count).astype(int)] = 0.5
    assert (_steadier(own, np.zeros(60)) is not None) is is_told


def test_a_gauge_that_scatters_is_no_column_that_slipped(honest: list[Row]) -> None:
    """Noise moved by a line is noise (no trend in independent values)."""
    noise = np.random.default_rng(3).normal(0.0, 0.05, len(honest))
    refuse_slipped(screened([replace(row, thickness=row.thickness + e) for row, e in zip(honest, noise, strict=True)]))


def test_machine_coordinates_are_said_so(honest: list[Row]) -> None:
    result = screened([replace(row, x=row.x + 5000.0) for row in honest])
    assert "`correct --datums`" in whole_file_findings(plate(), result)[0].text
    assert not result.is_used.any()


def test_measured_floor_far_off_is_set_aside(honest: list[Row]) -> None:
    rows = table(honest)
    z = np.full(len(honest), np.nan)
    z[3] = 252.5
    readings = readings_from_arrays(rows.x, rows.y, rows.thickness, pocket=rows.pocket.tolist(), z=z)
    assert screen(plate(), readings).code[3] == "beyond-floor"


def test_slipped_decimal_point_of_a_measured_floor_is_named(honest: list[Row]) -> None:
    rows = table(honest)
    part = plate()
    # The plate moved after roughing: floor and underside together, so that Z carries the warp.
    rough = np.array([part.pocket(row.label).floor_z + 0.5 for row in honest])
    w = warp(rows.x, rows.y)
    thickness = rough + np.random.default_rng(1).normal(0, 0.01, len(honest))
    z = rough + w
    z[3] *= 10.0
    result = screen(part, readings_from_arrays(rows.x, rows.y, thickness, pocket=rows.pocket.tolist(), z=z))
    assert np.flatnonzero(result.code != "").tolist() == [3]
    assert result.code[3] == "beyond-floor"


def test_label_of_no_pocket_is_named(honest: list[Row]) -> None:
    rows = [replace(honest[0], label="Q99"), *honest[1:]]
    result = screened(rows)
    assert result.code[0] == "wrong-label"
    assert "no pocket of the part is called so" in result.reason[0]


def test_sloped_floor_is_read_along_its_normal() -> None:
    # t along the normal is t_z/√(1+p²+q²); a doubled one is named by that, at a slope of 0.3.
    square = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
    pocket = Pocket("A", square, (), 80.0, 80.0, Tolerance(-0.1, 0.1), 0.0, 0.5, (0.3, 0.0), 0.0)
    part = Part("invented", square, (pocket,))
    rng = np.random.default_rng(6)
    x, y = rng.uniform((20, 20), (280, 180), (30, 2)).T
    thickness = pocket.rough_z(x, y) / np.sqrt(1.09) + rng.normal(0, 0.01, 30)
    thickness[4] *= 2.0
    result = screen(part, readings_from_arrays(x, y, thickness))
    assert np.flatnonzero(result.code != "").tolist() == [4]
    assert result.code[4] == "double-echo"
    # 0.01·√1.09 of noise; five standard deviations.
    assert np.abs(np.delete(result.warp, 4)).max() < 0.055


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5])
def test_few_readings_are_screened_without_a_model(count: int, honest: list[Row]) -> None:
    result = screened(honest[:count])
    assert result.is_used.all()
    assert len(result.code) == count


def test_all_blank() -> None:
    result = screened([Row(50.0, 50.0, float("nan"), "", 0), Row(60.0, 50.0, 0.0, "", 0)])
    assert result.code.tolist() == ["blank", "blank"]


def test_unlabelled_places_outside_the_part_are_seen_as_swapped_or_off(honest: list[Row]) -> None:
    far = next(row for row in honest if row.x > WIDTH + 50)
    rows = [replace(far, x=far.y, y=far.x), replace(honest[1], x=LENGTH + 40.0), *honest]
    result = screen(plate(), table(rows, has_labels=False))
    assert result.code[:2].tolist() == ["swapped", "off-floor"]


def test_screening_scales_like_the_readings() -> None:
    # n log n: ten times the readings may take some ten times as long, not a hundred.
    from time import process_time

    part = plate()
    rng = np.random.default_rng(1)
    seconds = []
    for n in (2000, 20000):
        x, y = rng.uniform((0, 0), (LENGTH, WIDTH), (n, 2)).T
        readings = readings_from_arrays(x, y, 2.5 - warp(x, y))
        begin = process_time()
        screen(part, readings)
        seconds.append(process_time() - begin)
    assert seconds[1] < 30 * seconds[0]


def test_names_do_not_depend_on_where_the_zero_of_z_lies() -> None:
    # Where a drawing has its zero is a choice (common practice, no source): only differences of Z mean anything.
    part, rng = plate(), np.random.default_rng(4)
    rows = lie(part, honest_rows(part, 8, rng), 0.1, rng)
    z = np.array([part.pockets[row.pocket].floor_z + 0.5 for row in rows])
    z[::30] += 25.0  # a probe that hit a wall's top
    codes = []
    for zero in (0.0, 30.0, -400.0):
        lifted = [replace(one, floor_z=one.floor_z + zero, underside_z=one.underside_z + zero) for one in part.pockets]
        codes.append(screen(replace(part, pockets=tuple(lifted)), replace(table(rows), z=z + zero)).code.tolist())
    assert codes[0] == codes[1] == codes[2]
    assert {"beyond-floor", "double-echo", "inch"} <= set(codes[0])

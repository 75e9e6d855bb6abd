"""Plates cut otherwise than decided, on purpose: what is found follows from the arithmetic of the offsets alone.

Of a floor cut at ``dz'`` in place of ``dz`` the finished web is ``dz' - dz`` thicker than predicted (contract:
web = web + dz - w). Turned signs give -2 dz, offsets that were left out -dz, offsets applied twice +dz.
"""

from contextlib import nullcontext
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from finished_webs import finished_readings, small_record, unfitted

from floorfit.record import Record
from floorfit.verify import verify
from floorfit.verify.otherwise import cut_otherwise, not_as_predicted
from floorfit.verify.predicted import Prediction

#: Every floor of the invented job is a shift, so that its offset is one number.
OFFSETS = np.array([decision.offset_mm for decision in small_record().decisions])
#: Readings a floor in `finished_readings`.
EACH = 6
FLOOR = np.repeat(np.arange(9), EACH)


def cut_at(offsets, seed=7, *, is_fitted=False, **more):
    """Verify webs that were cut with other offsets than the job's."""
    readings = finished_readings(small_record(), per_pocket=EACH, seed=seed, **more)
    wrong = np.repeat(np.asarray(offsets) - OFFSETS, EACH)
    webs = replace(readings, thickness=readings.thickness + wrong)
    with nullcontext() if is_fitted else unfitted():
        found = verify(small_record(), webs)
    return found, [finding for finding in found.findings if finding.severity == "warning"]


@pytest.mark.parametrize(
    ("factor", "words"), [(-1.0, "sign of the offsets"), (0.0, "not been applied"), (2.0, "applied twice")]
)
@pytest.mark.parametrize("length", [0.0, 0.03])
def test_offsets_applied_otherwise_are_named_and_no_bias_is_offered(factor, words, length):
    found, told = cut_at(factor * OFFSETS + length)
    assert [one.code for one in told if one.code != "pocket-apart"] == ["applied-otherwise"]
    assert words in told[0].text
    assert words in found.withheld and found.offered_bias is None


def test_offsets_turned_on_a_plate_that_let_go_a_little_are_still_named():
    """Turned, and a fifth of the offsets' own form on top: nearer to -2 than to -1."""
    _, told = cut_at(-0.8 * OFFSETS)
    assert "sign of the offsets" in next(one.text for one in told if one.code == "applied-otherwise")


@pytest.mark.parametrize("factor", [0.5, 1.5, -2.0])
def test_other_multiples_of_the_offsets_have_no_name(factor):
    _, told = cut_at(factor * OFFSETS)
    assert not {"applied-otherwise", "offsets-exchanged"} & {one.code for one in told}
    assert "not-as-predicted" in {one.code for one in told}


def test_two_floors_with_each_others_offset_are_named():
    offsets = OFFSETS.copy()
    offsets[[0, 7]] = offsets[[7, 0]]
    assert abs(OFFSETS[0] - OFFSETS[7]) > 0.1
    _, told = cut_at(offsets)
    assert [one.place for one in told if one.code == "offsets-exchanged"] == ["pocket P1"]
    assert "P1 and P8" in next(one.text for one in told if one.code == "offsets-exchanged")


def test_two_floors_that_are_off_otherwise_have_not_got_each_others_offset():
    """Up and down by 0.06 mm, where the offsets differ by more than 0.1: eight deviations of a floor's mean."""
    way = np.sign(OFFSETS[7] - OFFSETS[0])
    _, told = cut_at(OFFSETS + 0.06 * way * (np.eye(9)[0] - np.eye(9)[7]))
    assert "offsets-exchanged" not in {one.code for one in told}


def test_an_exchange_is_not_told_where_other_floors_are_off_as_well():
    offsets = OFFSETS.copy()
    offsets[[0, 7]] = offsets[[7, 0]]
    offsets[4] += 0.13
    _, told = cut_at(offsets)
    assert "offsets-exchanged" not in {one.code for one in told}


def test_half_the_floors_cut_with_another_tool_length_are_not_as_predicted():
    """0.04 mm is four deviations of a reading; no web of these leaves its tolerance of 0.15 mm."""
    found, told = cut_at(OFFSETS - 0.04 * (np.arange(9) > 4), is_fitted=True)
    assert found.conforms
    assert "not-as-predicted" in {one.code for one in told}


@pytest.mark.parametrize("seed", range(30, 40))
def test_floors_cut_as_decided_raise_no_alarm(seed):
    """With the scatter of tool wear from floor to floor, a common bias, and a plate that let go a little more."""
    found, told = cut_at(
        OFFSETS, seed=seed, is_fitted=True, scatter=0.006, bias=0.012, moved=lambda x, y: 0.02 * ((x - 200) / 200) ** 2
    )
    assert found.conforms
    assert not {one.code for one in told} & {"applied-otherwise", "offsets-exchanged", "not-as-predicted"}


@cache
def tilted_record(floors=tuple(range(9))):
    """The job with some of its floors tilted, by 0.05 mm over their length and 0.03 over their width, either way."""
    document = small_record().model_dump()
    for k in floors:
        sign = -1 if k % 2 else 1
        document["decisions"][k].update(action="tilt", slope_x=0.05 / 120 * sign, slope_y=0.03 / 90)
    return Record.model_validate(document)


def tilt_at(record, readings):
    """Tilt of the job at the readings, about the floors' centroids, mm."""
    offset = [record.decisions[k].correction.at(x, y) for k, x, y in zip(FLOOR, readings.x, readings.y, strict=True)]
    return np.array(offset) - OFFSETS[FLOOR]


@pytest.mark.parametrize(
    ("multiple", "words"),
    [(-1.0, "tilts had not been"), (-2.0, "sign of the tilts"), (1.0, "applied twice"), (0.0, "")],
)
def test_tilts_applied_otherwise_are_named(multiple, words):
    """Of a floor cut with m times its tilt more, the web is m times the tilt thicker (contract)."""
    readings = finished_readings(tilted_record(), per_pocket=EACH)
    wrong = multiple * tilt_at(tilted_record(), readings)
    with unfitted():
        found = verify(tilted_record(), replace(readings, thickness=readings.thickness + wrong))
    told = [one.text for one in found.findings if one.code == "applied-otherwise"]
    assert bool(told) is bool(words) and words in "".join(told)
    assert (found.offered_bias is None) is bool(words)


@pytest.mark.parametrize(("floors", "is_proved"), [((4,), False), (tuple(range(9)), True)])
def test_a_tilt_across_the_line_of_its_readings_is_not_proved_by_them(floors, is_proved):
    """Along a line the web is the same whatever the tilt across it; that of eight floors that show theirs was right.

    Reversed across the line, a tilt of 0.28 mm over the width leaves the limits of 0.15 mm at the middle of its sides.
    """
    document = tilted_record(floors).model_dump()
    document["decisions"][4].update(slope_x=0.0, slope_y=-0.28 / 90)
    record = Record.model_validate(document)
    readings = finished_readings(record, per_pocket=EACH)
    mine = FLOOR == 4
    x = np.where(mine, 150 + 18.0 * (np.arange(len(FLOOR)) % EACH), readings.x)
    y = np.where(mine, 155.0, readings.y)
    prediction = Prediction.of(record)
    thickness = readings.thickness.copy()
    thickness[mine] = 2.0 + prediction.deviation(4, x[mine], y[mine]) + 0.005 * (-1.0) ** np.arange(EACH)
    floor = verify(record, replace(readings, x=x, y=y, thickness=thickness)).floors[4]
    assert (not floor.reason.startswith("read-in-part: it was cut with a tilt")) is is_proved


@pytest.mark.parametrize(
    ("partner", "words"),
    [(np.roll(np.arange(9), 1), "one down"), (np.roll(np.arange(9), -1), "one up"),
     (np.array([6, 7, 8, 3, 4, 5, 0, 1, 2]), "m")],
)  # fmt: skip
def test_offsets_given_to_other_floors_are_named(partner, words):
    """Each floor is off by what another one's offset is off its own: half a turn, or a list that slipped by a line."""
    found, told = cut_at(OFFSETS[partner])
    text = " ".join(one.text for one in told if one.code == "applied-otherwise")
    assert "other floors had got" in text and words in text
    assert found.offered_bias is None


# -- without a plate: stand-ins for a job and its readings, so that each threshold is met from both sides


def judged(offsets, gaps, *, u=0.010, each=6, bias_u=0.0, held=(), unused=(), aside=(), scatter=0.0):
    """Codes, places, texts and the reason why, of floors that are off by ``gaps`` at every reading, without noise.

    ``unused`` floors have readings that are not used, and ``aside`` are not among the steps; both are 0.5 mm off.
    """
    count = len(offsets)
    floor = np.repeat(np.arange(count), each)
    gap = np.asarray(gaps, float)[floor] + 0.5 * np.isin(floor, [*unused, *aside])
    gap += scatter * (-1.0) ** np.arange(len(floor))
    predicted = 0.3 * np.asarray(offsets, float)[floor] + 0.01
    decisions = [SimpleNamespace(correction=SimpleNamespace(at=lambda x, y, z=z: np.full(len(x), z))) for z in offsets]
    prediction = SimpleNamespace(
        is_held=lambda k: k in held,
        record=SimpleNamespace(decisions=decisions),
        part=SimpleNamespace(pockets=[SimpleNamespace(id=f"P{k + 1}") for k in range(count)]),
    )
    taken = SimpleNamespace(
        is_used=~np.isin(floor, unused), floor=floor, deviation=gap + predicted, predicted=predicted, gap=gap,
        points=np.zeros((len(floor), 2)),
        u=np.full(len(floor), u),
    )  # fmt: skip
    steps = {k: SimpleNamespace(bias=float(gaps[k]), bias_u=bias_u) for k in range(count) if k not in aside}
    told, why = cut_otherwise(prediction, taken, steps, "file")  # type: ignore[arg-type]
    return [one.code for one in told], " ".join(f"{one.place}: {one.text}" for one in told), why


LADDER = np.array([-0.10, -0.05, 0.0, 0.05, 0.10, 0.15])


@pytest.mark.parametrize("common", [0.0, 0.04, -0.04])
@pytest.mark.parametrize(
    ("multiple", "words"),
    [
        (-2.35, "sign"), (-1.65, "sign"), (-1.35, "not been applied"), (-0.65, "not been applied"),
        (0.65, "applied twice"), (1.35, "applied twice"),
        (-2.45, ""), (-1.55, ""), (-1.45, ""), (-0.55, ""), (0.0, ""), (0.55, ""), (1.45, ""),
    ],
)  # fmt: skip
def test_a_multiple_within_two_fifths_of_one_with_a_cause_has_that_cause(multiple, words, common):
    """The nearest of -2, -1 and 1, and no further from it than 0.4."""
    codes, text, why = judged(LADDER, multiple * LADDER + common)
    assert codes == (["applied-otherwise"] if words else [])
    assert words in text and words in why and bool(why) is bool(words)


def test_three_floors_tell_nothing_and_four_do():
    few = LADDER[[0, 2, 5]]
    assert judged(few, -few) == ([], "", "")
    four = LADDER[[0, 2, 4, 5]]
    assert judged(four, -four)[0] == ["applied-otherwise"]
    assert judged(four, -four, held=(1,)) == ([], "", "")


def test_held_unused_and_unplaced_readings_do_not_count():
    offsets = np.append(LADDER, [0.3, 0.3])
    gaps = np.append(-LADDER, [0.0, 0.0])
    assert judged(offsets, gaps, held=(6, 7))[0] == ["applied-otherwise"]
    assert judged(offsets, gaps)[0] == []
    assert judged(offsets[:7], gaps[:7], unused=(6,))[0] == ["applied-otherwise"]
    assert judged(offsets[:7], gaps[:7], aside=(6,))[0] == ["applied-otherwise"]


@pytest.mark.parametrize(("u", "is_told"), [(0.016, True), (0.018, False)])
def test_offsets_that_are_alike_to_three_deviations_of_a_reading_tell_nothing(u, is_told):
    """A range of 0.05 mm: 3.1 and 2.8 times a reading's uncertainty, and readings enough for the slope."""
    offsets = np.linspace(0.0, 0.05, 6)
    assert bool(judged(offsets, -offsets, u=u, each=60)[0]) is is_told


@pytest.mark.parametrize(("each", "is_told"), [(1, False), (2, True)])
def test_a_multiple_that_is_not_known_to_a_fifth_has_no_cause(each, is_told):
    """Least squares: u of the slope is u / sqrt(sum of squared offsets from their mean): 0.024 / (0.1 sqrt(each))."""
    offsets = np.array([0.0, 0.0, 0.1, 0.1])
    assert bool(judged(offsets, -2 * offsets, u=0.024, each=each)[0]) is is_told


@pytest.mark.parametrize(("scatter", "is_told"), [(0.5, True), (2.0, False)])
def test_readings_that_scatter_more_than_stated_tell_less(scatter, is_told):
    """As above, four readings a floor: u of the slope is 0.12, times sqrt(4/3) of the scatter in units of u (chi^2)."""
    offsets = np.array([0.0, 0.0, 0.1, 0.1])
    assert bool(judged(offsets, -2 * offsets, u=0.024, each=4, scatter=0.024 * scatter)[0]) is is_told


@pytest.mark.parametrize(("multiple", "is_told"), [(-0.75, False), (-0.9, True)])
def test_a_multiple_that_may_be_none_has_no_cause(multiple, is_told):
    """Four readings, two coefficients: Student's t of 95 % at 2 degrees is 4.303 (NIST TN 1297, table B.1).

    Times u = 0.01 / 0.0526 = 0.19 that is 0.82.
    """
    offsets = np.array([0.0, 0.0, 0.0526, 0.0526])
    assert bool(judged(offsets, multiple * offsets, each=1)[0]) is is_told


#: Twenty floors, whose offsets are told apart from a multiple by most of them being cut as decided.
MANY = np.tile([-0.15, -0.05, 0.05, 0.15], 5)


def exchanged(*pairs, add=(), offsets=MANY):
    """Gaps of floors that got each other's offset; then what is added to some."""
    gaps = np.zeros(len(offsets))
    for p, q in pairs:
        gaps[p], gaps[q] = offsets[q] - offsets[p], offsets[p] - offsets[q]
    for k, more in add:
        gaps[k] += more
    return gaps


def test_an_exchange_is_told_with_both_offsets_and_whatever_all_have_in_common():
    for common in (0.0, 0.05, -0.05):
        codes, text, why = judged(MANY, exchanged((1, 2)) + common)
        assert (codes, why) == (["offsets-exchanged"], "")
        assert text.startswith("pocket P2: pockets P2 and P3") and "(-0.050 and +0.050 mm)" in text


def test_floors_off_the_other_way_round_have_not_got_each_others_offset():
    assert judged(MANY, -exchanged((1, 2)))[0] == []


@pytest.mark.parametrize(("short", "is_told"), [(0.024, True), (0.026, False)])
@pytest.mark.parametrize("floor", [1, 2])
def test_an_exchange_fits_within_two_and_a_half_deviations_on_both_floors(floor, short, is_told):
    """The least scatter of a floor is 0.010 mm: 0.025 mm."""
    way = 1 if floor == 2 else -1
    assert bool(judged(MANY, exchanged((1, 2), add=[(floor, way * short)]))[0]) is is_told


@pytest.mark.parametrize(("apart", "bias_u", "is_told"), [(0.041, 0.0, True), (0.039, 0.0, False),
                                                          (0.092, 0.02, True), (0.087, 0.02, False)])  # fmt: skip
def test_floors_are_off_beyond_four_deviations_of_their_mean(apart, bias_u, is_told):
    """0.010 mm of scatter and the mean's own uncertainty, in quadrature: 0.0224 mm with 0.02."""
    offsets = MANY.copy()
    offsets[2] = offsets[1] + apart
    gaps = np.zeros(len(MANY))
    gaps[1], gaps[2] = apart, -apart
    assert bool(judged(offsets, gaps, bias_u=bias_u)[0]) is is_told


def test_up_to_three_exchanges_are_told_and_four_are_chance():
    offsets = np.linspace(-0.2, 0.2, 20)
    pairs = [(0, 5), (1, 8), (2, 11), (3, 15)]
    assert judged(offsets, exchanged(*pairs[:3], offsets=offsets))[0] == ["offsets-exchanged"] * 3
    assert judged(offsets, exchanged(*pairs, offsets=offsets))[0] == []


def test_a_third_floor_that_is_off_makes_a_pair_chance():
    assert judged(MANY, exchanged((1, 2), add=[(9, 0.07)]))[0] == []


@pytest.mark.parametrize(
    ("total", "most", "is_told"),
    [(20, 0.849, True), (19, 0.849, False), (20, 0.85, False), (500, 0.5, True), (500, 0.9, False)],
)
def test_readings_out_of_their_intervals_are_told_from_twenty_on(total, most, is_told):
    intervals = SimpleNamespace(total=total, inside_without_bias=11)
    told = not_as_predicted(intervals, (0.2, most), "file")  # type: ignore[arg-type]
    assert [one.code for one in told] == ["not-as-predicted"] * is_told
    assert all(f"11 of {total} readings" in one.text for one in told)


def test_a_share_that_is_not_known_is_not_told():
    nothing = SimpleNamespace(total=0, inside_without_bias=0)
    assert not_as_predicted(nothing, (float("nan"), float("nan")), "file") == []  # type: ignore[arg-type]

"""Readings of finished webs that stand elsewhere than they were taken, were copied, or leave most of a floor out."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from finished_webs import finished_readings, places, small_part, small_prediction, small_record, taken, unfitted

from floorfit.readings.observations import readings_from_arrays
from floorfit.verify import verify
from floorfit.verify.misfiled import of_other_plate, read_in_part, turned

#: Sides of the invented plate, mm.
LENGTH, WIDTH = 400.0, 310.0
GOOD = finished_readings(small_record())
#: Floor of each reading: six on each, in the part's order.
FLOOR = np.repeat(np.arange(9), 6)


def codes(readings):
    with unfitted():
        return {one.code for one in verify(small_record(), readings).findings}


def told_turned(readings):
    """What is told of how the file stands."""
    return turned(small_prediction(), readings, taken(readings))


@cache
def twelve(seed):
    """Twelve readings on each floor."""
    return finished_readings(small_record(), per_pocket=12, seed=seed)


@cache
def verified():
    """The good readings, verified once."""
    return verify(small_record(), GOOD)


@pytest.mark.parametrize("way", [(-1, -1), (1, -1)])
@pytest.mark.parametrize("seed", [3, 5, 9])
def test_a_file_that_stands_the_other_way_round_is_told(way, seed):
    """The warp falls along Y by 0.12 mm and is even in X: turned and mirrored in Y are one, and X alone is nothing."""
    readings = twelve(seed)
    x = readings.x if way[0] > 0 else LENGTH - readings.x
    y = readings.y if way[1] > 0 else WIDTH - readings.y
    (told,) = told_turned(replace(readings, x=x, y=y))
    assert told.code == "turned" and ("turned by" in told.text or "mirrored in Y" in told.text)
    assert not told_turned(readings)


def test_how_the_file_stands_is_told_by_verify():
    readings = twelve(3)
    assert "turned" in codes(replace(readings, y=WIDTH - readings.y)) and "turned" not in codes(readings)


def test_webs_cut_otherwise_are_not_taken_for_a_turned_file():
    offsets = np.array([one.offset_mm for one in small_record().decisions])
    for factor in (-2.0, -1.0, 1.0):
        assert not told_turned(replace(GOOD, thickness=GOOD.thickness + factor * offsets[FLOOR]))


def test_few_readings_tell_nothing_of_how_the_file_stands():
    few = finished_readings(small_record(), per_pocket=2)
    assert not told_turned(replace(few, y=WIDTH - few.y))


def test_values_copied_from_one_floor_to_another_prove_neither():
    """Six values to a micrometre, the same in the same order: a gauge that scatters by 0.010 mm repeats none of them.

    By chance: (1 / 50 values) to the sixth, for 36 pairs of floors.
    """
    thickness = np.round(GOOD.thickness, 3)
    thickness[:6] = thickness[6:12]
    found = verify(small_record(), replace(GOOD, thickness=thickness))
    assert [one.verdict for one in found.floors] == ["not-read", "not-read"] + ["conform"] * 7
    assert "copied: the same values in the same order as on P2" in found.readings.reason[0]
    assert "on P1" in found.readings.reason[6] and not found.conforms


def test_values_that_a_coarse_gauge_repeats_are_no_copies():
    """To 0.05 mm there are five values or so, and floors repeat them by chance."""
    found = verify(small_record(), replace(GOOD, thickness=np.round(GOOD.thickness / 0.05) * 0.05))
    assert not any("copied" in words for words in found.readings.reason)


def test_a_file_of_one_value_alone_proves_nothing():
    found = verify(small_record(), replace(GOOD, thickness=np.full(len(GOOD.x), 2.0)))
    assert {one.verdict for one in found.floors} == {"not-read"} and not found.conforms
    assert "all 54 readings are 2 mm" in found.readings.reason[0]


def read_at_one_end(number, share):
    """The good readings, those of the first floor so many, up to a share of its length."""
    x, y = GOOD.x.copy(), GOOD.y.copy()
    x[:6] = 10.0 + 120 * share * np.linspace(0.4, 1.0, 6)
    y[:6] = 10.0 + 90 * np.array([0.1, 0.9, 0.2, 0.8, 0.3, 0.5])
    kept = np.r_[6 - number : 54]
    return readings_from_arrays(x[kept], y[kept], GOOD.thickness[kept])


@pytest.mark.parametrize(
    ("number", "share", "is_told", "is_proved"),
    [(6, 0.2, True, False), (6, 0.32, True, False), (6, 0.35, True, True), (6, 0.49, True, True),
     (6, 0.51, False, True), (4, 0.2, True, False), (4, 0.32, True, False), (4, 0.35, False, True),
     (1, 0.32, True, False), (1, 0.35, False, True), (1, 0.65, False, True), (1, 0.68, True, False)],
)  # fmt: skip
def test_a_floor_that_is_read_at_one_end_alone_is_told_and_left_unproved(number, share, is_told, is_proved):
    """What lies beyond its readings may be cut 0.4 mm deeper, and they are the same."""
    told = read_in_part(small_part(), taken(read_at_one_end(number, share)))
    assert set(told) == {0} if is_told else not told
    assert any(is_so for _, is_so in told.values()) is not is_proved


@pytest.mark.parametrize(
    ("number", "share", "is_told", "is_proved"),
    [(6, 0.32, True, False), (6, 0.35, True, True), (4, 0.35, False, True), (1, 0.68, True, False)],
)
def test_a_floor_that_is_left_unproved_is_undecided_and_the_part_does_not_conform(number, share, is_told, is_proved):
    found = verify(small_record(), read_at_one_end(number, share))
    assert ["pocket P1"] * is_told == [one.place for one in found.findings if one.code == "read-in-part"]
    assert found.floors[0].verdict == ("conform" if is_proved else "undecided")
    assert found.conforms is is_proved and found.floors[0].reason.startswith("read-in-part:") is not is_proved


@pytest.mark.parametrize("per", [1, 2, 6])
def test_floors_read_all_over_or_hardly_are_not_told(per):
    """One or two readings a floor are few wherever they stand: the others of the plate carry them."""
    x, y, floor = places(small_part(), per, 7)
    u, v = {1: ([0.5], [0.5]), 2: ([0.2, 0.8], [0.2, 0.8])}.get(per, ([0.2, 0.5, 0.8] * 2, [0.2] * 3 + [0.8] * 3))
    boxes = np.array([pocket.polygon.bounds for pocket in small_part().pockets])[floor]
    x = boxes[:, 0] + np.tile(u, 9) * (boxes[:, 2] - boxes[:, 0])
    y = boxes[:, 1] + np.tile(v, 9) * (boxes[:, 3] - boxes[:, 1])
    thickness = 2.0 + np.random.default_rng(1).normal(0.0, 0.01, len(x))
    assert not read_in_part(small_part(), taken(readings_from_arrays(x, y, thickness)))


def another_plate(x, y):
    """Deviation of webs that bend otherwise, each floor cut by its own best shift."""
    w = 0.08 * np.sin(x / 40.0) * np.cos(y / 30.0)
    return -(w - (np.bincount(FLOOR, w) / np.bincount(FLOOR))[FLOOR])


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("bent", [another_plate, lambda x, y: 0.0 * x])
def test_webs_that_do_not_bend_as_predicted_prove_no_floor(bent, seed):
    """Another plate's webs, and nominal ones with noise: within their limits of 0.15 all the same.

    The slope of the least squares line of what is not predicted on what is, is 0 (Gauss & Markov).
    """
    noise = np.random.default_rng(seed).normal(0.0, 0.01, len(GOOD))
    made_up = replace(GOOD, thickness=2.0 + bent(GOOD.x, GOOD.y) + noise)
    found = verify(small_record(), made_up)
    assert "conform" not in {one.verdict for one in found.floors} and not found.conforms
    assert "other-plate" in {one.code for one in found.findings} and found.withheld == "not this plate's webs"
    assert sum(one.reason.startswith("other-plate: along the floors") for one in found.floors) > 3


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_webs_of_the_plate_are_proved_however_the_gauge_scatters(seed, noise):
    good = finished_readings(small_record(), bias=0.01, seed=20 + seed)
    worse = np.random.default_rng(seed).normal(0.0, noise, len(good)) if noise else 0.0
    assert not of_other_plate(small_prediction(), taken(replace(good, thickness=good.thickness + worse)))


def test_a_plate_that_moved_is_no_other_plate():
    moved = finished_readings(small_record(), moved=lambda x, y: 0.2 * ((x - 200) / 200) ** 2)
    assert {"moved", "other-plate"} & codes(moved) == {"moved"}


def predicted(digits):
    """What the job predicts at the places, as a gauge with so many decimals would show it."""
    return np.round(2.0 + verified().readings.predicted, digits)


def test_predicted_values_to_the_last_digit_prove_nothing():
    """With a scatter of 0.003 mm the predicted thousandth comes with a chance of 0.001 / (√(2π) 0.003) = 0.13."""
    found = verify(small_record(), replace(GOOD, thickness=predicted(3)))
    assert {one.verdict for one in found.floors} == {"not-read"}
    assert found.readings.reason[0].startswith("copied: each value is the predicted one")
    one_floor = np.where(FLOOR == 4, predicted(3), np.round(GOOD.thickness, 3))
    verdicts = [one.verdict for one in verify(small_record(), replace(GOOD, thickness=one_floor)).floors]
    assert verdicts[4] == "not-read" and verdicts.count("conform") == 8


def test_hundredths_that_are_predicted_may_be_read():
    """The chance of a hundredth is 1 at a scatter of 0.003 mm: nothing tells."""
    assert verify(small_record(), replace(GOOD, thickness=predicted(2))).conforms


def test_one_value_on_each_floor_is_no_reading():
    level = 2.0 + 0.01 * (np.arange(9) % 3)
    found = verify(small_record(), replace(GOOD, thickness=level[FLOOR]))
    assert {one.verdict for one in found.floors} == {"not-read"} and "all one value" in found.readings.reason[0]


def _follows(own: np.ndarray, predicted: np.ndarray, u: float) -> str:
    """What is said of ten floors with as many readings each."""
    prediction = SimpleNamespace(part=SimpleNamespace(pockets=range(10)), is_held=lambda k: False)
    readings = SimpleNamespace(
        is_used=np.ones(len(own), bool), predicted=predicted, deviation=own,
        floor=np.repeat(np.arange(10), len(own) // 10),
        u=np.full(len(own), u),
    )  # fmt: skip
    return of_other_plate(prediction, readings)  # type: ignore[arg-type]


def test_scatter_of_the_readings_takes_nothing_from_what_they_follow():
    """The slope of y on an x without error is not biased by errors of y (Gauss-Markov; W. A. Fuller 1987, 1.1)."""
    rng = np.random.default_rng(8)
    predicted = 0.02 * rng.standard_normal(400)
    assert _follows(predicted + 0.02 * rng.standard_normal(400), predicted, 0.02) == ""
    assert "another plate's" in _follows(0.02 * rng.standard_normal(400), predicted, 0.02)


def test_readings_that_scatter_less_than_stated_are_as_uncertain_as_stated():
    """u = 1/√Σ(x/u)² of a slope, here 0.1: that 0.65 of it is followed is 3.5 of it from 1; half of that u, seven."""
    rng = np.random.default_rng(9)
    predicted = rng.standard_normal((10, 10))
    predicted = (predicted - predicted.mean(axis=1, keepdims=True)).ravel()
    u = 0.1 * float(np.sqrt((predicted**2).sum()))
    assert _follows(0.65 * predicted, predicted, u) == "" and _follows(0.65 * predicted, predicted, u / 2) != ""


def test_a_plate_that_follows_four_fifths_may_be_the_one_and_three_fifths_not_and_few_readings_say_nothing():
    """The limit of 0.7 and the 20 degrees of freedom are the module's own choice; the slope is arithmetic."""
    predicted = np.tile([-0.03, 0.0, 0.01, 0.02], 10)
    assert _follows(0.8 * predicted, predicted, 1e-4) == "" and "follow 0.60" in _follows(
        0.6 * predicted, predicted, 1e-4
    )
    few = np.tile([-0.02, 0.02], 10)
    assert _follows(0.0 * few, few, 1e-4) == "" and _follows(0.0 * predicted, predicted, 1e-4) != ""


def test_labels_are_read_as_those_of_the_job_were():
    """The labels say which floor, in whatever spelling: the same webs give the same verdicts."""
    part = small_part()
    names = np.array([part.pockets[k].id for k in FLOOR])
    verdicts = [one.verdict for one in verified().floors]
    for labels, code in (
        (np.char.replace(names, "P", "p0"), "labels-respelt"),
        (np.char.replace(names, "P", ""), "labels-by-place"),
    ):
        found = verify(small_record(), replace(GOOD, pocket=labels))
        assert [one.verdict for one in found.floors] == verdicts and code in {one.code for one in found.findings}
    ids = {name.replace("P", "b"): name for name in np.unique(names).tolist()}
    found = verify(small_record(), replace(GOOD, pocket=np.char.replace(names, "P", "b")), ids=ids)
    assert [one.verdict for one in found.floors] == verdicts and "labels-by-place" not in {
        one.code for one in found.findings
    }


def test_many_places_off_their_floors_are_no_proof():
    """A third of the labelled readings lies elsewhere: nobody knows where those were taken that prove all floors."""
    many = finished_readings(small_record(), per_pocket=12)
    names = np.array([small_part().pockets[k].id for k in np.repeat(np.arange(9), 12)])
    off = np.arange(len(names)) % 3 == 0
    found = verify(small_record(), replace(many, pocket=names, x=many.x + 4000.0 * off))
    assert "off-their-floors" in {one.code for one in found.findings}
    assert {one.verdict for one in found.floors} == {"conform"} and not found.conforms
    assert verify(small_record(), replace(many, pocket=names)).conforms


def test_places_that_are_shared_by_rows_do_not_end_it():
    """Places rounded to 100 mm: several rows at one, and all of them looked at turned as well."""
    rounded = replace(GOOD, x=GOOD.x.round(-2), y=GOOD.y.round(-2), thickness=GOOD.thickness + 0.08 * (FLOOR - 4))
    assert not verify(small_record(), rounded).conforms

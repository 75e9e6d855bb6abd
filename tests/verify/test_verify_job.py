import re
from dataclasses import replace

import numpy as np
import pytest
from finished_webs import finished_readings, small_part, small_record
from scipy.stats import norm

from floorfit.errors import InputError
from floorfit.part.model import Tolerance
from floorfit.readings.gauge import calibrate
from floorfit.readings.gauge_file import gauge_to_document
from floorfit.readings.observations import readings_from_arrays
from floorfit.readings.step_blocks import blocks_from_arrays
from floorfit.verify import verify
from floorfit.verify.afterwards import verification_answers
from floorfit.verify.predicted import Prediction
from floorfit.verify.webs import chance_at


def test_known_bias_is_found_and_webs_conform() -> None:
    found = verify(small_record(), finished_readings(small_record(), bias=0.015))
    low, high = found.bias.limits
    # the fit's own error, common to all pockets, adds to the readings' limits: 0.004 mm is two of its deviations
    assert low - 0.004 <= 0.015 <= high + 0.004
    assert found.conforms and found.movement.state == "none"
    assert found.offered_bias == pytest.approx(found.bias.value)
    # Said with its expanded uncertainty, U = t u (JCGM 100:2008, G.3.2), to two digits.
    said = re.search(r"Common bias (\S+) ± (\S+) mm", verification_answers(found)[0])
    assert said is not None
    assert float(said[2]) == pytest.approx(found.bias.factor * found.bias.u, rel=0.05)
    assert float(said[1]) == pytest.approx(found.bias.value, abs=0.05 * float(said[2]))
    assert all(floor.verdict == "conform" for floor in found.floors)


def test_webs_are_read_with_the_gauge_of_the_job() -> None:
    """A gauge that shows t / 0.99 − 0.02 has the line 0.99 (reading + 0.02): put in, it takes its own error out."""
    gauge = calibrate(blocks_from_arrays([1.5, 3.0], [1.5 / 0.99 - 0.02, 3.0 / 0.99 - 0.02]), reading_u_mm=0.0)
    record = small_record().model_copy(update={"gauge": gauge_to_document(gauge)})
    true = finished_readings(record)
    shown = replace(true, thickness=true.thickness / 0.99 - 0.02)
    raw, calibrated = verify(record, shown), verify(record, shown, gauge=gauge)
    assert calibrated.bias.value == pytest.approx(verify(small_record(), true).bias.value, abs=1e-6)
    assert calibrated.conforms and calibrated.offered_bias is not None
    # Without it the bias is the gauge's, and no offset is to be changed by it.
    assert "gauge-not-given" in {one.code for one in raw.findings} and raw.offered_bias is None
    assert "gauge-not-given" not in {one.code for one in verify(small_record(), true).findings}


def test_nothing_wrong_keeps_the_intervals() -> None:
    found = verify(small_record(), finished_readings(small_record()))
    low, high = found.intervals.limits
    assert low < 0.95 < high or found.intervals.share >= 0.95
    assert found.intervals.total == int(found.readings.is_used.sum())


def test_part_finished_plate_names_what_is_not_read() -> None:
    found = verify(small_record(), finished_readings(small_record(), bias=0.02, pockets=[0, 1, 4]))
    assert not found.conforms
    assert [floor.verdict for floor in found.floors].count("not-read") == 6
    assert [found.floors[k].verdict for k in (0, 1, 4)] == ["conform"] * 3
    assert found.sentence == "3 of 9 pockets verified to conform; 6 not read: P3, P4, P6, P7, P8, P9."
    first, *rest = (replace(floor, verdict="not-read") for floor in found.floors)
    told = replace(found, floors=(replace(first, verdict="nonconform"), *rest)).sentence
    words = "1 do not conform: P1; 8 not read: P2, P3, P4, P5, P6, P7 and 2 more."
    assert told == f"0 of 9 pockets verified to conform; {words}"
    assert found.offered_bias == pytest.approx(0.02, abs=0.012)  # three pockets: 3 · 0.01/√18, and the fit's error


def test_bias_applied_before_is_part_of_what_is_offered_next() -> None:
    record = small_record(0.03)
    # the job took 0.03 off; if the tool really leaves 0.05, the webs are 0.02 thicker than predicted
    found = verify(record, finished_readings(record, bias=0.05))
    assert found.bias.value == pytest.approx(0.02, abs=0.008)
    assert found.offered_bias == pytest.approx(0.05, abs=0.008)


def test_moved_plate_is_measured_again_and_no_bias_is_offered() -> None:
    readings = finished_readings(small_record(), moved=lambda x, y: 0.2 * ((x - 200) / 200) ** 2)
    found = verify(small_record(), readings)
    assert found.movement.state == "measure-again" and found.offered_bias is None
    assert "moved" in {finding.code for finding in found.findings}
    assert {found.floors[k].verdict for k in (0, 2, 3, 5, 6, 8)} != {"conform"}


def test_web_far_out_is_nonconform_however_it_came() -> None:
    readings = finished_readings(small_record())
    thickness = readings.thickness.copy()
    thickness[12:18] -= 0.25  # the third floor, cut 0.25 too deep
    found = verify(small_record(), replace(readings, thickness=thickness))
    assert found.floors[2].verdict == "nonconform" and found.floors[2].is_apart
    assert found.floors[2].bias == pytest.approx(-0.25, abs=0.02)
    assert abs(found.bias.value) < 0.01  # the others are not bent by it
    assert [floor.verdict for floor in found.floors].count("conform") == 8


def test_single_wild_reading_is_set_aside_and_stops_conform() -> None:
    readings = finished_readings(small_record())
    thickness = readings.thickness.copy()
    thickness[3] += 0.4
    found = verify(small_record(), replace(readings, thickness=thickness))
    assert found.readings.reason[3].startswith("outlier:") and not found.readings.is_used[3]
    assert found.readings.verdict[3] == "nonconform"
    assert found.floors[0].verdict == "undecided" and found.floors[0].reason.startswith("reading-outside:")


@pytest.mark.parametrize("kind", ["half", "tilt", "corner"])
def test_floor_that_is_not_cut_evenly_is_not_proved(kind: str) -> None:
    # The truth is stated: the middle floor is cut deeper, by up to 0.26 under a limit of -0.15, where the others are
    # cut as decided. No step of the floor, nor a smooth field, is like that.
    readings = finished_readings(small_record())
    mine = slice(24, 30)
    along, across = (readings.x[mine] - 140) / 120, (readings.y[mine] - 110) / 90
    off = {
        "half": np.where(along > 0.5, -0.16, 0.0),
        "tilt": 0.26 * (0.5 - along) - 0.05,
        "corner": -0.26 * np.clip(1 - (1 - along + 1 - across) / 0.8, 0, 1),
    }[kind]
    thickness = readings.thickness.copy()
    thickness[mine] += off
    found = verify(small_record(), replace(readings, thickness=thickness))
    assert found.floors[4].verdict != "conform", found.floors[4]
    assert [floor.verdict for floor in found.floors].count("conform") == 8


@pytest.mark.parametrize("seed", range(5))
def test_floors_cut_unevenly_are_not_proved_where_many_are(seed: int) -> None:
    # Six of nine floors lean by 0.3 mm over their length, up or down: 0.15 at their ends, beside 0.06 of warp, under a
    # limit of 0.15. Their own scatter, 0.08 mm, is no gauge's, however many floors have it.
    readings = finished_readings(small_record(), seed=seed)
    floor = np.repeat(np.arange(9), 6)
    along = (readings.x - 10 - 130 * (floor % 3) - 60) / 120
    lean = 0.3 * np.array([1, -1, 1, 0, 0, 0, -1, 1, -1])[floor] * along
    verdicts = [
        one.verdict for one in verify(small_record(), replace(readings, thickness=readings.thickness + lean)).floors
    ]
    assert "conform" not in verdicts[:3] + verdicts[6:]


@pytest.mark.parametrize("seed", range(5))
def test_a_floor_that_leans_is_not_proved_beyond_its_readings(seed: int) -> None:
    # The middle floor leans by 0.16 mm along and 0.16 across: its readings, 30 mm from the walls, are within 0.15 mm,
    # and its corner is out by arithmetic: -0.16 beside the warp's own 0.03 and less.
    readings = finished_readings(small_record(), seed=seed, per_pocket=8)
    mine = np.repeat(np.arange(9), 8) == 4
    x, y, thickness = readings.x.copy(), readings.y.copy(), readings.thickness.copy()
    x[mine], y[mine] = 140 + np.tile([30.0, 60.0, 90.0, 60.0], 2), 110 + np.repeat([25.0, 65.0], 4)
    lean = 0.16 * (x[mine] - 200) / 120 + 0.16 * (y[mine] - 155) / 90
    noise = np.random.default_rng(seed).normal(0.0, 0.01, 8)
    thickness[mine] = 2.0 + Prediction.of(small_record()).deviation(4, x[mine], y[mine]) + lean + noise
    floor = verify(small_record(), replace(readings, x=x, y=y, thickness=thickness)).floors[4]
    assert floor.verdict != "conform", floor


def test_even_floors_are_called_uneven_as_seldom_as_stated() -> None:
    # 0.001 of good floors by chance (chi-squared), and of those only where limits are near: of 135 floors 1 at most
    found = [verify(small_record(), finished_readings(small_record(), seed=seed)) for seed in range(100, 115)]
    assert sum(floor.reason.startswith("uneven") for one in found for floor in one.floors) <= 1


def test_blank_rib_and_wall_readings_are_named() -> None:
    readings = readings_from_arrays([50, 135, 11, 70, 90, 60], [50, 50, 50, 60, 30, 80], [np.nan, 2, 2, 2, 2.01, 2])
    found = verify(small_record(), readings)
    codes = [reason.split(":")[0] for reason in found.readings.reason]
    assert codes == ["blank", "off-floor", "near-wall", "", "", ""]
    assert found.readings.verdict[0] == ""


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_readings_for_a_surface_still_get_an_answer(count: int) -> None:
    x, y = np.array([50.0, 90.0])[:count], np.array([40.0, 70.0])[:count]
    found = verify(small_record(), readings_from_arrays(x, y, np.full(count, 1.5)))
    assert found.floors[0].verdict == ("nonconform" if count else "not-read")
    assert np.isfinite(found.bias.value) == bool(count)


def test_probability_at_a_reading() -> None:
    # JCGM 106:2012, 7.4: Φ((T_U − y)/u) − Φ((T_L − y)/u), by scipy.stats
    tolerance = Tolerance(-0.1, 0.1)
    got = chance_at(np.array([0.0, 0.095, 0.2]), np.full(3, 0.01), tolerance)
    expected = [norm.cdf((0.1 - d) / 0.01) - norm.cdf((-0.1 - d) / 0.01) for d in (0.0, 0.095, 0.2)]
    assert got == pytest.approx(expected, rel=1e-12)
    assert chance_at(np.array([5.0]), np.full(1, 0.01), Tolerance(-0.1, None)) == pytest.approx([1.0])


def test_other_part_is_refused() -> None:
    with pytest.raises(InputError, match="pockets differ from those of the job"):
        verify(small_record(), finished_readings(small_record()), part=small_part(2, 2))

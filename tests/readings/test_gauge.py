"""The gauge: calibration and its use, against published relations, NIST data and the uncertainties package."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from uncertainties import ufloat, umath

from floorfit.errors import InputError
from floorfit.readings.gauge import Gauge, calibrate
from floorfit.readings.gauge_applied import apply_gauge
from floorfit.readings.gauge_file import read_gauge, write_gauge
from floorfit.readings.observations import readings_from_arrays
from floorfit.readings.step_blocks import Blocks, blocks_from_arrays
from floorfit.result import UNSETTLED

# NIST StRD, linear regression, data set Norris: 36 pairs of y and x; certified values below.
NORRIS = """0.1 0.2;338.8 337.4;118.1 118.2;888.0 884.6;9.2 10.1;228.1 226.5;668.5 666.3;998.5 996.3;449.1 448.6;
778.9 777.0;559.2 558.2;0.3 0.4;0.1 0.6;778.1 775.5;668.8 666.9;339.3 338.0;448.9 447.5;10.8 11.6;557.7 556.0;
228.3 228.1;998.0 995.8;888.8 887.6;119.6 120.2;0.3 0.3;0.6 0.3;557.6 556.8;339.3 339.1;888.0 887.2;998.5 999.0;
778.9 779.0;10.2 11.1;117.6 118.3;228.9 229.2;668.4 669.1;449.2 448.9;0.2 0.5"""


def two_blocks() -> Gauge:
    return calibrate(blocks_from_arrays([1.0, 5.0], [1.010, 5.030]))


def test_two_points_give_gain_and_zero() -> None:
    # By hand: gain 4/4.02, zero 1 − 1.010·gain.
    gauge = two_blocks()
    assert gauge.method == "two-point"
    assert gauge.scale == pytest.approx(0.995024875622, abs=1e-12)
    assert gauge.zero == pytest.approx(-0.00497512437811, abs=1e-13)
    assert gauge.thickness(2.034) == pytest.approx(2.01890547264, abs=1e-11)
    assert gauge.velocity_setting(6.35) == pytest.approx(6.31840796, abs=1e-8)


def test_one_point_leaves_an_error_at_the_thin_end_within_its_stated_zero() -> None:
    # By hand: 1.010·(5/5.030) − 1 = +0.003976 mm at 1 mm.
    gauge = calibrate(blocks_from_arrays([5.0], [5.030]), reading_u_mm=0.0)
    left = float(gauge.thickness(1.010)) - 1.0
    assert left == pytest.approx(0.003976, abs=1e-6)
    assert left < 2.0 * float(gauge.common_u(1.010))
    # At the block itself the zero does not matter: the display step and the block remain.
    assert float(gauge.common_u(5.030)) < 0.0035


def norris() -> tuple[np.ndarray, np.ndarray]:
    pairs = np.array([row.split() for row in NORRIS.replace("\n", "").split(";")], float)
    return pairs[:, 1], pairs[:, 0]


def test_line_meets_certified_values_of_nist() -> None:
    x, y = norris()
    # As block readings: NIST's y is the stated thickness, x the reading. Digits certified: 15.
    scale, zero = _line_of(x, y)
    assert scale == pytest.approx(1.00211681802045, rel=1e-12)
    assert zero == pytest.approx(-0.262323073774029, rel=1e-10)


def _line_of(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    from floorfit.readings.gauge import _line

    scale, zero, _ = _line(x, y, False)
    return scale, zero


def test_residual_scatter_and_covariance_meet_certified_values_of_nist() -> None:
    from floorfit.readings.gauge import _line, _scatter

    x, y = norris()
    scale, zero, A = _line(x, y, False)
    sd, dof = _scatter(y - scale * x - zero, "line", 1e-9)
    assert (sd, dof) == (pytest.approx(0.884796396144373, rel=1e-11), 34)
    deviations = sd * np.sqrt(np.diag(A @ A.T))
    # Certified: 0.429796848199937E-03 for the slope, 0.232818234301152 for the zero.
    assert deviations == pytest.approx([0.429796848199937e-03, 0.232818234301152], rel=1e-11)


@pytest.mark.parametrize(("velocity", "tof"), [(6.35, 0.6299212598), (6.30, 0.6349206349), (6.42, 0.6230529595)])
def test_two_millimetres_by_time_of_flight(velocity: float, tof: float) -> None:
    # t = v·TOF/2 (ASTM E797, 4.1); times by hand.
    true = np.array([1.0, 2.0, 3.0, 5.0])
    gauge = calibrate(blocks_from_arrays(true, tof=2.0 * true / velocity))
    assert gauge.scale == pytest.approx(velocity, rel=1e-12)
    readings = readings_from_arrays([0.0], [0.0], [np.nan], tof=[tof])
    assert apply_gauge(gauge, readings).thickness[0] == pytest.approx(2.0, abs=1e-9)


def test_delay_shows_as_zero_time() -> None:
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, tof=2.0 * true / 6.35 + 0.011))
    assert gauge.zero_time_us == pytest.approx(0.011, abs=1e-12)


def test_couplant_left_out_of_the_zero_is_what_the_zero_takes_up() -> None:
    # 0.05 mm of glycerin (1.92 mm/µs) reads 0.05·6.35/1.92 = +0.16536458 mm too thick at 6.35 mm/µs.
    extra = 2.0 * 0.05 / 1.92
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, tof=2.0 * true / 6.35 + extra))
    assert -gauge.zero == pytest.approx(0.16536458, abs=1e-8)


def test_warm_part_read_on_a_gauge_set_cold() -> None:
    # Read uncorrected, 2.000 mm at ΔT = +10 °C with k = −0.00018 shows 2/(1 + kΔT) = 2.00360649169.
    true = np.array([1.0, 2.0, 4.0])
    blocks = blocks_from_arrays(true, true, temperature=[20.0] * 3)
    gauge = calibrate(blocks, k_per_c=-0.00018)
    assert gauge.thickness(2.00360649169, 30.0) == pytest.approx(2.0, abs=1e-11)
    # Without a temperature nothing is corrected.
    assert gauge.thickness(2.0) == pytest.approx(2.0, abs=1e-12)


def test_velocity_of_another_alloy_reads_thin() -> None:
    # Set to 6.320 on metal of 6.375: 2.000 mm reads 1.98274509804 (hand calculation), and calibration undoes it.
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, true * 6.320 / 6.375))
    assert gauge.thickness(1.98274509804) == pytest.approx(2.0, abs=1e-11)


def test_common_uncertainty_agrees_with_an_independent_package() -> None:
    true, read, u_block, sd = [1.0, 5.0], [1.010, 5.030], 0.002, 0.01 / np.sqrt(12.0)
    gauge = calibrate(blocks_from_arrays(true, read, u=[u_block, u_block]), reading_u_mm=sd)
    b = [ufloat(t, u_block) for t in true]
    r = [ufloat(x, sd) for x in read]
    x = 2.034
    expected = b[0] + (b[1] - b[0]) * (x - r[0]) / (r[1] - r[0])
    assert gauge.thickness(x) == pytest.approx(expected.nominal_value, rel=1e-12)
    # Scatter enters in Y, not X, of the line: the two differ by the gain, 0.5 %.
    assert gauge.common_u(x) == pytest.approx(expected.std_dev, rel=0.01)


def test_temperature_uncertainty_agrees_with_an_independent_package() -> None:
    true = np.linspace(1.0, 5.0, 40)
    blocks = blocks_from_arrays(true, true, temperature=[20.0] * 40, u=[1e-9] * 40)
    gauge = calibrate(blocks, k_per_c=-0.000165, k_u_per_c=0.00001, resolution_mm=1e-9)
    factor = 1 + ufloat(-0.000165, 0.00001) * (ufloat(35.0, 1.0) - 20.0)
    expected = 2.0 * umath.exp(umath.log(factor))
    assert gauge.common_u(2.0, 35.0) == pytest.approx(expected.std_dev, rel=0.01)


def test_common_uncertainty_covers_what_calibration_gets_wrong() -> None:
    # 400 calibrations with known noise: the standard uncertainty must be that of the errors found (7 % is 2 sd).
    rng = np.random.default_rng(5)
    true = np.repeat([1.0, 2.0, 3.0, 5.0], 3)
    errors, stated = [], []
    for _ in range(400):
        blocks = blocks_from_arrays(true, true + rng.normal(0.0, 0.01, 12), u=[1e-6] * 12)
        gauge = calibrate(blocks, resolution_mm=1e-6)
        errors.append(float(gauge.thickness(2.5)) - 2.5)
        stated.append(float(gauge.common_u(2.5)))
    assert np.std(errors) == pytest.approx(np.sqrt(np.mean(np.square(stated))), rel=0.1)


def test_blank_zero_and_negative_readings_stay_for_the_screening() -> None:
    readings = readings_from_arrays([0.0] * 4, [0.0] * 4, [np.nan, 0.0, -1.0, 2.034])
    applied = apply_gauge(two_blocks(), readings)
    assert np.isnan(applied.thickness[0])
    assert applied.thickness[1:3].tolist() == [0.0, -1.0]
    assert np.isnan(applied.u_common[:3]).all()


def test_readings_outside_the_blocks_are_said_so() -> None:
    readings = readings_from_arrays([0.0] * 4, [0.0] * 4, [0.5, 2.0, 3.0, 7.0])
    (finding,) = apply_gauge(two_blocks(), readings).findings
    assert finding.code == "outside-blocks"
    assert "lines 1, 4" in finding.text


def test_gauge_of_the_other_kind_is_refused() -> None:
    gauge = calibrate(blocks_from_arrays([1.0, 5.0], tof=[0.32, 1.58]))
    with pytest.raises(InputError, match="calibrated for tof_us, and no row has one"):
        apply_gauge(gauge, readings_from_arrays([0.0], [0.0], [2.0]))


@pytest.mark.parametrize(
    ("blocks", "arguments", "message"),
    [
        (blocks_from_arrays([1.0, 5.0], [1.0, 5.0]), {"web_range": (0.8, 3.0)}, "thinner than the thinnest"),
        (blocks_from_arrays([1.0, 5.0], [1.0, 5.0]), {"web_range": (1.5, 5.5)}, "thicker than the thickest"),
        (blocks_from_arrays([1.0], [1.0]), {"method": "two-point"}, "1 different thicknesses came"),
        (blocks_from_arrays([1.0, 2.0, 3.0], [1.0, 2.0, 3.0]), {"method": "one-point"}, "one-point method takes 1"),
        (blocks_from_arrays([1.0, 2.0, 3.0], [2.0, 2.0, 3.0]), {}, "the second echo"),
        (blocks_from_arrays([1.0, 2.0, 3.0], [1.0, 2.0, 3.0 / 25.4]), {}, "inches"),
        (blocks_from_arrays([1.0, 2.0], [1.0, np.nan]), {}, "a value above 0 was expected"),
        (blocks_from_arrays([], []), {}, "no readings came"),
    ],
)
def test_bad_blocks_are_refused(blocks: Blocks, arguments: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        calibrate(blocks, **arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["k_per_c", "k_u_per_c", "resolution_mm", "zero_u_mm", "reading_u_mm"])
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -165.0])  # −165 is ppm for each °C
def test_a_setting_out_of_its_range_is_refused(name: str, value: float) -> None:
    with pytest.raises(InputError, match=rf"calibrate, {name}: {value!r} came, a number"):
        calibrate(blocks_from_arrays([1.0, 5.0], [1.0, 5.0]), **{name: value})  # type: ignore[arg-type]


def test_block_arrays_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="differ in length"):
        blocks_from_arrays([1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="give reading or tof"):
        blocks_from_arrays([1.0])


def test_far_gauge_is_said_so() -> None:
    gauge = calibrate(blocks_from_arrays([1.0, 2.0, 4.0], [1.2, 2.4, 4.8]))
    assert [finding.code for finding in gauge.findings] == ["far-scale"]


@pytest.mark.parametrize("gain", [1.0, 1.02, 0.97])
@pytest.mark.parametrize("thin", [0.5, 0.7, 1.27, 2.54])
def test_a_reading_of_the_outer_blocks_themselves_lies_within_them(thin: float, gain: float) -> None:
    # The line goes through both blocks (two points make a line), but for rounding.
    for zero, thick in ((0.0, 4.0), (0.01, 5.08), (-0.03, 6.35)):
        shown = [thin * gain + zero, thick * gain + zero]
        gauge = calibrate(blocks_from_arrays([thin, thick], shown))
        assert apply_gauge(gauge, readings_from_arrays([0.0] * 2, [0.0] * 2, shown)).findings == ()


def test_blocks_as_thick_as_the_webs_reach_round_them() -> None:
    # 2.3 − 0.3 and 1.7 + 0.5 + 2.8: webs of 2 and 5 mm, which in binary are a little less and a little more or so.
    blocks = blocks_from_arrays([2.0, 5.0], [2.0, 5.0])
    for web_range in ((2.3 - 0.3, 5.0), (2.0, 4.7 + 0.1 + 0.1 + 0.1)):
        assert web_range != (2.0, 5.0)
        assert calibrate(blocks, web_range=web_range).true_min == 2.0


def test_thermometer_counts_at_the_temperature_of_the_blocks_too() -> None:
    # Nothing jumps there: the uncertainty is that of the limit from either side, and more than without a temperature,
    # where nothing is corrected. Variance of scale·x·k·ΔT at ΔT = 0: (x k u_T)² (JCGM 100:2008, 5.1.2), u_T = 1 °C.
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, true, temperature=[20.0] * 3))
    unknown, at, beside = (float(gauge.common_u(2.0, t)) for t in (np.nan, 20.0, 20.0 + 1e-9))
    assert at == pytest.approx(beside, rel=1e-9)
    assert at**2 - unknown**2 == pytest.approx((2.0 * 0.000165 * 1.0) ** 2, rel=1e-6)


def test_readings_far_from_all_blocks_are_said_so() -> None:
    """Webs of 2 mm on blocks from 5 mm up: blocks are to reach round what is read (ASTM E797, 8, seen in outline)."""
    gauge = calibrate(blocks_from_arrays([5.0, 10.0, 20.0], [5.0, 10.0, 20.0]))
    for web, code in ((2.0, "far-blocks"), (3.7, "far-blocks"), (4.0, "outside-blocks")):
        (finding,) = apply_gauge(gauge, readings_from_arrays([0.0] * 3, [0.0] * 3, [web] * 3)).findings
        assert finding.code == code


@pytest.mark.parametrize(
    ("velocity", "codes"), [(5.90, ["far-velocity"]), (6.30, []), (6.38, []), (0.63, ["far-velocity"])]
)
def test_blocks_of_steel_are_told_with_the_readings_too(velocity: float, codes: list[str]) -> None:
    """Aluminium 6.30 mm/µs (ASTM E494, table X3.1), 2024-T4 6.375 (reference values U2); steel 5.9, from memory."""
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, tof=2 * true / velocity))
    readings = replace(readings_from_arrays([0.0], [0.0], [np.nan]), tof=np.array([2 * 2.0 / velocity]))
    assert [one.code for one in apply_gauge(gauge, readings).findings] == codes
    assert [one.code for one in gauge.findings] == codes


def test_calibration_of_another_gauge_is_refused_and_an_old_one_told() -> None:
    own = {"gauge": "UT-7", "read_at": "2031-01-02", "gauge_due": "2031-12-31"}
    gauge = replace(two_blocks(), identity=own)

    def codes(**facts: str) -> list[str]:
        readings = replace(readings_from_arrays([0.0], [0.0], [2.0]), identity=facts)
        return [one.code for one in apply_gauge(gauge, readings).findings]

    with pytest.raises(InputError, match='gauge "UT-3" was read with, the calibration is of "UT-7"'):
        codes(gauge="UT-3")
    assert codes(gauge="ut-7", read_at="2031-01-31") == []
    assert codes(read_at="2031-02-03") == ["old-calibration"]  # 32 days
    assert codes(read_at="2032-01-01") == ["gauge-overdue", "old-calibration"]


@pytest.mark.parametrize(("far", "code"), [(4, "outside-blocks"), (6, "far-blocks")])
def test_far_blocks_are_those_of_most_readings(far: int, code: str) -> None:
    """Most: more than half, of the word. The others lie on the blocks."""
    gauge = calibrate(blocks_from_arrays([5.0, 10.0, 20.0], [5.0, 10.0, 20.0]))
    webs = [2.0] * far + [6.0] * (10 - far)
    (finding,) = apply_gauge(gauge, readings_from_arrays([0.0] * 10, [0.0] * 10, webs)).findings
    assert finding.code == code


@pytest.mark.parametrize(("velocity", "is_told"), [(6.07, False), (6.42, False), (3.15, True), (12.6, True)])
def test_velocities_of_light_metals_pass_and_paths_counted_once_or_four_times_do_not(velocity: float, is_told: bool):
    """Titanium 6.07 (ASTM E494, table X3.1), rolled aluminium 6.42 mm/µs (CRC Handbook): both from memory.

    Times there alone, or there and back twice, make half or twice the velocity (ASTM E797, 4.1).
    """
    true = np.array([1.0, 2.0, 4.0])
    gauge = calibrate(blocks_from_arrays(true, tof=2 * true / velocity))
    assert ["far-velocity" in one.code for one in gauge.findings] == [True] * is_told


def test_what_the_blocks_say_against_the_gauge_is_told_with_the_readings_too(tmp_path: Path) -> None:
    """A line of least squares leaves residuals that sum to zero; a second set 0.1 mm higher scatters by 0.07.

    Steel 5.9 and aluminium 6.32 mm/µs: 0.93 on a gauge that is set for aluminium (from memory).
    """
    true = np.repeat([1.0, 2.0, 3.0, 4.0, 6.0], 2)
    wrong = true + np.where(true == 2.0, 0.1, 0.0)
    drifted = true + 0.1 * (np.arange(10) % 2)
    for shown, codes in (
        (true, []),
        (true / 0.97, []),
        (wrong, ["large-residual"]),
        (drifted, ["scattered-blocks"]),
        (true * 6.32 / 5.9, ["far-scale"]),
        (true * 1000.0, ["far-scale"]),
    ):
        gauge = calibrate(blocks_from_arrays(true, shown))
        write_gauge(gauge, tmp_path / "gauge.json")
        readings = readings_from_arrays([0.0], [0.0], [float(np.median(shown))])
        for one in (gauge, read_gauge(tmp_path / "gauge.json")):
            assert [finding.code for finding in apply_gauge(one, readings).findings] == codes
        assert not set(codes) - set(UNSETTLED)


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        ([6.0, 4.0, 3.0, 2.0, 1.0], "the steps 1, 2, 4, 6 mm stand in another order"),
        ([1.0, 3.0, 2.0, 4.0, 6.0], "the steps 2, 3 mm stand in another order"),
        ([1.0, 1.0, 2.0, 3.0, 4.0], "from the step 1 to 2 mm the readings do not rise"),
        ([1.0, 2.0, 6.0, 4.0, 6.0], "the reading of 3 mm is 2 times what the others say"),
    ],
)
def test_readings_that_stand_at_other_steps_are_refused(shown: list[float], words: str) -> None:
    """A thicker step takes sound longer: readings rise with the steps, whatever gain and zero (ASTM E797, 4.1)."""
    steps = [1.0, 2.0, 3.0, 4.0, 6.0]
    for gain, zero in ((1.0, 0.0), (0.98, 0.02)):
        with pytest.raises(InputError, match=re.escape(words)):
            calibrate(blocks_from_arrays(steps, gain * np.array(shown) + zero))
    rng = np.random.default_rng(4)
    for _ in range(50):
        calibrate(
            blocks_from_arrays([1.0, 1.05, 1.1, 2.0], np.array([1.0, 1.05, 1.1, 2.0]) + 0.01 * rng.normal(size=4))
        )
        calibrate(blocks_from_arrays(steps, tof=(2 * np.array(steps) / 6.32 + 1.5)))


def test_blocks_in_another_unit_are_named_as_such() -> None:
    """25.4 mm to the inch (ISO 80000-3)."""
    for by, unit in ((1 / 25.4, "inches"), (1000 / 25.4, "thousandths of an inch"), (1000.0, "micrometres")):
        blocks = blocks_from_arrays(np.array([1.0, 6.0]) * by, np.array([1.0, 6.0]) * by)
        with pytest.raises(InputError, match=f"They look as if in {unit}"):
            calibrate(blocks, web_range=(1.5, 4.0))


def test_a_calibration_long_after_the_readings_is_told() -> None:
    gauge = replace(two_blocks(), identity={"read_at": "2031-03-05"})
    for day, codes in (("2031-02-02", []), ("2031-02-01", ["old-calibration"])):  # 31 and 32 days (ISO 8601 calendar)
        readings = replace(readings_from_arrays([0.0], [0.0], [2.0]), identity={"read_at": day})
        found = apply_gauge(gauge, readings).findings
        assert [one.code for one in found] == codes
    assert "32 days after the readings" in found[0].text

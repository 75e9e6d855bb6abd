"""The part frame against an independent solver and exact motions."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from floorfit.errors import InputError
from floorfit.readings.datum import Datums, Frame, datum_findings, fit_frame, read_datums, readings_to_part, same_shape
from floorfit.readings.observations import readings_from_arrays

POINTS = np.array([[0, 0, 0], [1200, 0, 3], [1200, 500, 0], [0, 500, 12], [600, 250, 2.0]], float)
TURN = Rotation.from_euler("zyx", [33.0, 1.2, -0.7], degrees=True)
ORIGIN = np.array([412.5, -87.25, 133.0])


def machine(points: np.ndarray) -> np.ndarray:
    return TURN.apply(points) + ORIGIN


def test_exact_motion_is_recovered() -> None:
    frame = fit_frame(POINTS, machine(POINTS))
    rng = np.random.default_rng(1)
    places = rng.uniform((0, 0, -5), (1200, 500, 40), (50, 3))
    back = np.column_stack(frame.to_part(*machine(places).T))
    # 1e-9 mm: float64 on coordinates of about a metre.
    assert back == pytest.approx(places, abs=1e-9)
    assert frame.rms < 1e-9
    assert frame.tilt_deg == pytest.approx(np.degrees(np.arccos(TURN.as_matrix()[2, 2])), abs=1e-9)


def test_noisy_datums_agree_with_an_independent_solver() -> None:
    rng = np.random.default_rng(2)
    measured = machine(POINTS) + rng.normal(0, 0.02, POINTS.shape)
    a, b = POINTS - POINTS.mean(axis=0), measured - measured.mean(axis=0)
    expected, _ = Rotation.align_vectors(a, b)
    frame = fit_frame(POINTS, measured)
    assert frame.rotation == pytest.approx(expected.as_matrix(), abs=1e-9)


def test_three_datums_are_enough() -> None:
    frame = fit_frame(POINTS[:3], machine(POINTS[:3]))
    assert np.column_stack(frame.to_part(*machine(POINTS).T)) == pytest.approx(POINTS, abs=1e-9)


def test_residuals_are_measured_less_nominal_in_the_part_frame() -> None:
    measured = machine(POINTS)
    measured[2] += TURN.apply([0.3, 0.0, 0.0])
    frame = fit_frame(POINTS, measured)
    assert frame.residuals.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    assert int(np.argmax(np.abs(frame.residuals[:, 0]))) == 2


def test_thermal_growth_in_plan() -> None:
    # 23.5e-6/K: 4 m at 5 K above 20 °C is 0.470 mm longer (hand calculation).
    nominal = np.array([[0, 0, 0], [4000, 0, 0], [0, 1000, 0]], float)
    grown = nominal * (1 + 5 * 23.5e-6)
    assert grown[1, 0] - 4000 == pytest.approx(0.470, abs=1e-9)
    frame = fit_frame(nominal, grown, temperature_rise_k=5.0)
    assert frame.to_part(4000.470, 0.0, 0.0)[0] == pytest.approx(4000.0, abs=1e-9)
    assert frame.rms < 1e-9
    assert fit_frame(nominal, grown).rms > 0.1


def test_unmeasured_height_is_kept_and_places_are_found_all_the_same() -> None:
    frame = fit_frame(POINTS, machine(POINTS))
    x, y, z = machine(np.array([[700.0, 120.0, 0.0]])).T
    px, py, pz = frame.to_part(x, y, np.full_like(z, np.nan))
    assert (px[0], py[0]) == (pytest.approx(700.0, abs=1e-9), pytest.approx(120.0, abs=1e-9))
    assert np.isnan(pz[0])


def test_readings_move_and_keep_the_rest() -> None:
    frame = fit_frame(POINTS, machine(POINTS))
    x, y, z = machine(POINTS).T
    readings = readings_from_arrays(x, y, [2.0] * 5, z=z, pocket=list("ABCDE"))
    moved = readings_to_part(frame, readings)
    assert np.column_stack([moved.x, moved.y, moved.z]) == pytest.approx(POINTS, abs=1e-9)
    assert moved.pocket.tolist() == list("ABCDE")


MIRRORED = POINTS * [-1, 1, 1]
SWAPPED = POINTS[:, [1, 0, 2]]
FLAT = POINTS * [1, 1, 0]
#: The third datum measured 2 mm off.
ONE_OFF = np.zeros((5, 3))
ONE_OFF[2, 0] = 2.0


@pytest.mark.parametrize(
    ("nominal", "measured", "message"),
    [
        (POINTS, machine(MIRRORED), "mirror image"),
        (POINTS, machine(SWAPPED), "mirror image"),
        (FLAT, machine(FLAT[:, [1, 0, 2]]), "upside down"),
        (POINTS, machine(POINTS) + ONE_OFF, "point 3 is 1"),
        (POINTS[:2], machine(POINTS[:2]), "2 datum points came"),
        (POINTS[[0, 0, 0]], machine(POINTS[[0, 0, 0]]), "lie on a line"),
        (np.outer(np.arange(4.0), [100, 30, 1]), machine(np.outer(np.arange(4.0), [100, 30, 1])), "lie on a line"),
        (POINTS, Rotation.from_euler("x", 12, degrees=True).apply(POINTS), "12.00° off the machine's"),
        (POINTS, POINTS * np.nan, "measured coordinate is not a number"),
        (POINTS[:, :2], POINTS[:, :2], "must both be"),
    ],
)
def test_bad_datums_are_refused_with_the_reason(nominal: np.ndarray, measured: np.ndarray, message: str) -> None:
    with pytest.raises(InputError, match=message):
        fit_frame(nominal, measured)


def test_limit_is_settable() -> None:
    assert isinstance(fit_frame(POINTS, machine(POINTS) + ONE_OFF, limit_mm=3.0), Frame)


def test_datums_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "datums.csv"
    path.write_text(
        "name;x_in;y_in;z_in;measured_x_in;measured_y_in;measured_z_in\n"
        "A;0;0;0;1;2;3\nB;10;0;0;11;2;3\n;0;5;0;1;7;3,5\n",
        encoding="utf-8",
    )
    datums = read_datums(path)
    assert datums.names == ("A", "B", "line 4")
    assert datums.measured[2].tolist() == pytest.approx([25.4, 177.8, 88.9])
    assert isinstance(datums, Datums)


def test_datums_file_without_a_column_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "datums.csv"
    path.write_text("name,x_mm,y_mm,z_mm,measured_x_mm,measured_y_mm\nA,0,0,0,1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"datums\.csv, line 1: the column measured_z_mm .* is missing"):
        read_datums(path)


CORNERS = np.array([[0, 0, 0], [1000, 0, 0], [1000, 400, 0], [0, 400, 0], [500, 200, 5]], float)


def test_a_rigid_move_between_clampings_keeps_the_shape():
    """A rigid move has no strain (definition); scipy's rotation is the reference."""
    from scipy.spatial.transform import Rotation

    moved = Rotation.from_euler("xyz", [0.02, -0.01, 0.3], degrees=True).apply(CORNERS) + np.array([3.0, -2.0, 0.4])
    move = same_shape(Datums(CORNERS, moved, tuple("abcde")))
    assert move.rms < 1e-9


@pytest.mark.parametrize("corner", range(4))
def test_a_twist_between_clampings_is_refused(corner: int):
    """One corner of a rectangle lifted by h leaves ± h/4 at all four after the best plane (closed form)."""
    twisted = CORNERS[:4].copy()
    twisted[corner, 2] += 0.12
    with pytest.raises(InputError, match="another shape") as caught:
        same_shape(Datums(CORNERS[:4], twisted, tuple("abcd")))
    assert "0.030 mm off" in str(caught.value)
    twisted[corner, 2] -= 0.06
    assert same_shape(Datums(CORNERS[:4], twisted, tuple("abcd"))).rms == pytest.approx(0.015, abs=1e-4)


def test_three_points_show_no_change_of_shape():
    with pytest.raises(InputError, match="three fit whatever the shape"):
        same_shape(Datums(CORNERS[:3], CORNERS[:3], tuple("abc")))


@pytest.mark.parametrize("limit", [float("nan"), 0.0, -0.5, float("inf")])
def test_a_limit_that_is_none_is_refused(limit: float) -> None:
    # No distance is greater than NaN: any datum would do.
    with pytest.raises(InputError, match=r"limit_mm: .* a number above 0 was expected"):
        fit_frame(POINTS, machine(POINTS) + ONE_OFF, limit_mm=limit)
    with pytest.raises(InputError, match=r"limit_mm: .* a number above 0 was expected"):
        same_shape(Datums(CORNERS, CORNERS, tuple("abcde")), limit)


CORNERS = np.array([[0, 0, 40], [1200, 0, 40], [1200, 500, 40], [0, 500, 40.0]])


def told(frame: Frame, warp: float = 0.0, bounds: tuple[float, float, float, float] = (0, 0, 1200, 500)) -> list[str]:
    """Codes for a plate that is a saddle, ``warp`` mm high at its corners, known to 0.01 mm there."""

    def saddle(at: np.ndarray) -> np.ndarray:
        return warp * (at[:, 0] / 600 - 1) * (at[:, 1] / 250 - 1)

    found = datum_findings(frame, bounds, saddle, lambda at: np.full(len(at), 0.01))
    return [one.code for one in found]


def lifted(off: list[float]) -> Frame:
    return fit_frame(CORNERS, machine(CORNERS + np.column_stack([np.zeros((4, 2)), off])))


@pytest.mark.parametrize(
    ("mistyped", "codes"), [(0.0, []), (0.1, []), (0.34, []), (0.4, ["datums-off"]), (0.9, ["datums-off"])]
)
def test_a_mistyped_z_is_shared_out_over_four_corners(mistyped: float, codes: list[str]) -> None:
    """A plane of least squares takes three quarters of it: at each corner a quarter is left, with changing signs."""
    frame = lifted([0.0, 0.0, mistyped, 0.0])
    assert frame.residuals[:, 2] == pytest.approx(mistyped / 4 * np.array([1, -1, 1, -1]), abs=1e-3)
    assert told(frame) == codes


def test_datums_on_a_bent_plate_are_not_doubted() -> None:
    """A saddle is no plane: its four corners stand off any plane by its height, and the readings say so too."""
    frame = lifted([0.2, -0.2, 0.2, -0.2])
    assert told(frame, 0.2) == [] and told(frame, 0.0) == ["datums-off"]
    assert told(lifted([0.2, -0.2, 0.7, -0.2]), 0.2) == ["datums-off"]


def test_what_nothing_can_tell_is_said() -> None:
    assert told(fit_frame(CORNERS[:3], machine(CORNERS[:3]))) == ["datums-unchecked"]
    assert told(lifted([0.2, -0.2, 0.2, -0.2]), bounds=(10, 10, 1190, 490)) == ["datums-unchecked"]
    assert told(lifted([0.0] * 4), bounds=(10, 10, 1190, 490)) == []


@pytest.mark.parametrize("bounds", [(0, 0, 1190, 500), (0, 0, 1200, 490), (10, 0, 1200, 500), (0, 10, 1200, 500)])
def test_one_side_beyond_the_part_is_enough_that_nothing_can_tell(bounds):
    assert told(lifted([0.2, -0.2, 0.2, -0.2]), 0.2, bounds) == ["datums-unchecked"]


def test_a_height_that_all_datums_share_is_no_doubt_of_one():
    """A rigid frame takes up what all points share: residuals of least squares with a constant add up to nothing."""
    frame = lifted([0.2, -0.2, 0.2, -0.2])

    def high_saddle(at):
        return 0.5 + 0.2 * (at[:, 0] / 600 - 1) * (at[:, 1] / 250 - 1)

    assert datum_findings(frame, (0, 0, 1200, 500), high_saddle, lambda at: np.full(len(at), 0.01)) == ()


@pytest.mark.parametrize(
    ("points", "codes"),
    [
        ([(10, 10), (1190, 10), (1190, 490)], ["datums-unchecked"]),
        ([(300, 125), (900, 125), (900, 375), (300, 375)], []),
        ([(10, 10), (600, 20), (1190, 10), (300, 11)], ["datums-narrow"]),
        ([(10, 10), (60, 10), (60, 60), (10, 60)], ["datums-narrow"]),
    ],
)
def test_points_from_which_the_far_corner_is_not_known_are_told(
    points: list[tuple[int, int]], codes: list[str]
) -> None:
    """Scatter of the height at the far corner, by drawing: what is told is beyond 0.03 mm, what is not below."""
    nominal = np.column_stack([np.array(points, float), np.zeros(len(points))])
    assert told(fit_frame(nominal, machine(nominal))) == codes
    rng, far = np.random.default_rng(8), np.array([[1200.0, 500.0, 0.0]])
    noise = rng.normal(0, 0.005, (300, len(points)))
    heights = [
        fit_frame(nominal, machine(nominal + np.column_stack([np.zeros((len(points), 2)), off]))).to_part(
            *machine(far).T
        )[2][0]
        for off in noise
    ]
    assert (np.std(heights) > 0.03) == ("datums-narrow" in codes)


@pytest.mark.parametrize("ratio", [25.4, 1 / 25.4, 1000.0, 0.1])
def test_datums_in_another_unit_are_named_as_such(ratio: float) -> None:
    """25.4 mm to the inch (ISO 80000-3); metre and micrometre are powers of ten."""
    with pytest.raises(InputError, match="they are in another unit"):
        fit_frame(POINTS, machine(POINTS) * ratio)

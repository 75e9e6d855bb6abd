"""The fit against scipy's dense thin-plate spline, published numbers, and what must not change."""

from __future__ import annotations

import numpy as np
import pytest
from reference_values import SEVEN, SEVEN_FITS, SEVEN_PLACES, SEVEN_PLANE
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay
from zoo import ANSWERED, BOX, REFUSED, Case, scatter

from floorfit.errors import NumericalError
from floorfit.surface import Fit, choose_cell, fit_surface

EIGHT_PI = 8 * np.pi
SPREAD = scatter(150)
PLACES = np.random.default_rng(5).uniform([20, 20], [1180, 480], (300, 2))


def fixed(points: np.ndarray, values: np.ndarray, bounds: tuple, smoothing: float, u: float = 1.0, **more) -> Fit:
    """Fit at a given λ of Σ (z − f)² + λ J, as a plain least-squares spline."""
    return fit_surface(points, values, u, bounds=bounds, smoothing=smoothing / u**2, robust=False, samples=2, **more)


def in_hull(points: np.ndarray, count: int, bounds: tuple) -> np.ndarray:
    places = np.random.default_rng(2).uniform(bounds[:2], bounds[2:], (count, 2))
    return places[Delaunay(points).find_simplex(places) >= 0]


@pytest.mark.parametrize(("count", "smoothing"), [(250, 3.0), (500, 3000.0), (1000, 10.0)])
def test_agrees_with_the_dense_thin_plate_spline(count: int, smoothing: float) -> None:
    # Independent code: scipy RBFInterpolator, kernel r² log r, 2000 x 1200 mm plate. λ = 3 mm² all but interpolates
    # the noise of 0.010 mm (243 effective parameters of 250), 10 mm² keeps 790 of 1,000; cells of 8 to 16 mm, as
    # chosen by itself. What is left comes from the logarithm at each reading, which no cell holds, and falls with the
    # cell's square. Below 10 mm² the 3 µm depends on the draw: other draws at 3 mm² have 3.6 µm in one place.
    bounds = (0.0, 0.0, 2000.0, 1200.0)
    rng = np.random.default_rng(1)
    points = rng.uniform(bounds[:2], bounds[2:], (count, 2))
    u, v = (points[:, 0] - 1000) / 1000, (points[:, 1] - 600) / 600
    values = 0.6 * u**2 + 0.2 * v**2 + 0.1 * np.sin(3 * u) * v + rng.normal(0, 0.010, count)
    fit = fixed(points, values, bounds, smoothing)
    places = in_hull(points, 3000, bounds)
    dense = RBFInterpolator(points, values, kernel="thin_plate_spline", smoothing=EIGHT_PI * smoothing)(places)
    miss = abs(fit.surface.at(*places.T) - dense)
    assert np.sqrt(np.mean(miss**2)) < 0.001
    assert miss.max() < 0.003


@pytest.mark.parametrize("smoothing", [0.5, 5.0])
def test_seven_points(smoothing: float) -> None:
    known = SEVEN_FITS[smoothing]
    fit = fixed(SEVEN[:, :2], SEVEN[:, 2], (0, 0, 8.5, 5), smoothing / EIGHT_PI)
    # Cells of 0.1 on readings 3 apart; a margin of three lengths instead of the whole plane leaves 0.0005 of 0.7.
    assert fit.surface.at(*SEVEN_PLACES.T) == pytest.approx(known["at"], abs=6e-4)
    assert fit.effective_parameters == pytest.approx(known["edf"], abs=0.015)
    if known["loo"] is not None:  # a leave-one-out fit predicts outside its hull, where the margin counts more
        assert fit.loo.residual == pytest.approx(known["loo"], abs=0.008)


def test_leave_one_out_is_what_leaving_out_gives() -> None:
    # Craven & Wahba 1979: (z − f)/(1 − h), from one fit; here against the fits themselves, to the solver's rounding.
    points, values = SEVEN[:, :2], SEVEN[:, 2]
    whole = fixed(points, values, (0, 0, 8.5, 5), 0.02)
    kept = np.arange(7) != 4
    without = fixed(points[kept], values[kept], (0, 0, 8.5, 5), 0.02)
    assert whole.loo.residual[4] == pytest.approx(values[4] - float(without.surface.at(*points[4])), abs=1e-6)
    assert whole.loo.deviation[4] ** 2 == pytest.approx(1 + float(without.posterior.std_at(*points[4])) ** 2, rel=1e-6)


def test_four_corners_in_closed_form() -> None:
    # Unit square, z = 0, 0, 0, 1: edf = 4 − λ_K/(λ_K + ln 2) (derivation: the projected kernel's one eigenvalue ln 2).
    square = np.array([[0, 0], [1, 0], [0, 1], [1, 1]], float)
    fit = fixed(square, np.array([0, 0, 0, 1.0]), (0, 0, 1, 1), 0.1 / EIGHT_PI)
    # 1 % of the one free parameter: the bounded domain.
    assert fit.effective_parameters == pytest.approx(4 - 0.1 / (0.1 + np.log(2)), abs=0.01)
    assert float(fit.surface.at(0.5, 0.5)) == pytest.approx(0.25, abs=1e-9)  # by symmetry
    weight = 0.31520001095320698529 * 0.1  # residuals are λ w, signs + − − +
    # 0.0025 of a height of 1: the margin of three lengths instead of the whole plane, at the outline's own corners.
    assert fit.residuals * [1, -1, -1, 1] == pytest.approx([weight] * 4, abs=0.0025)


def test_no_smoothing_interpolates_and_endless_smoothing_is_the_least_squares_plane() -> None:
    points, values = SEVEN[:, :2], SEVEN[:, 2]
    interpolating = fixed(points, values, (0, 0, 8.5, 5), 1e-7)
    assert abs(interpolating.residuals).max() < 1e-5  # λ_K w with w < 0.05
    assert interpolating.effective_parameters == pytest.approx(7, abs=1e-3)
    plane = fixed(points, values, (0, 0, 8.5, 5), 1e6)
    x, y = SEVEN_PLACES.T
    # The bend left is of the order of 1/λ.
    assert plane.surface.at(x, y) == pytest.approx(SEVEN_PLANE[0] + SEVEN_PLANE[1] * x + SEVEN_PLANE[2] * y, abs=1e-4)
    # Null space of dimension 3; λ S is 1e6 times N here, which leaves the trace ten digits of sixteen, less the
    # condition of the energy itself.
    assert plane.effective_parameters == pytest.approx(3, abs=0.05)


@pytest.fixture(scope="module")
def plain() -> Fit:
    return fit_surface(*SPREAD, 0.010, bounds=BOX)


def _mapped(matrix: list[list[float]], shift: list[float], bounds: tuple) -> tuple[Fit, np.ndarray]:
    points = SPREAD[0] @ np.array(matrix).T + shift
    return fit_surface(points, SPREAD[1], 0.010, bounds=bounds), PLACES @ np.array(matrix).T + shift


@pytest.mark.parametrize(
    ("matrix", "shift", "bounds"),
    [
        ([[1, 0], [0, 1]], [1e6, -2e6], (1e6, -2e6, 1e6 + 1200, -2e6 + 500)),
        ([[0, -1], [1, 0]], [500, 0], (0, 0, 500, 1200)),
    ],
    ids=["far from the origin", "turned by 90 degrees"],
)
def test_frame_does_not_matter(plain: Fit, matrix: list[list[float]], shift: list[float], bounds: tuple) -> None:
    fit, places = _mapped(matrix, shift, bounds)
    # 1e-16 of 2e6 mm is lost of each place; the search for λ stops at the same steps but for that. 1e-5 mm is a
    # hundredth of the smallest figure anybody reads.
    assert abs(fit.surface.at(*places.T) - plain.surface.at(*PLACES.T)).max() < 1e-5
    assert abs(fit.posterior.std_at(*places.T) - plain.posterior.std_at(*PLACES.T)).max() < 1e-5


def test_added_plane_comes_out_again(plain: Fit) -> None:
    slope = np.array([1e-3, -2e-3])
    fit = fit_surface(SPREAD[0], SPREAD[1] + 1 + SPREAD[0] @ slope, 0.010, bounds=BOX)
    assert abs(fit.surface.at(*PLACES.T) - 1 - PLACES @ slope - plain.surface.at(*PLACES.T)).max() < 1e-5


def test_inches_give_the_same_surface() -> None:
    # Σ (w/u)² + λ J: with every length divided by 25.4, J = ∬ w_xx² is unchanged, so λ is too.
    in_mm = fixed(*SPREAD, BOX, 100.0, 0.010).surface.at(*PLACES.T)
    inch = tuple(np.array(BOX) / 25.4)
    fit = fit_surface(
        SPREAD[0] / 25.4, SPREAD[1] / 25.4, 0.010 / 25.4, bounds=inch, smoothing=1e6, robust=False, samples=2
    )
    assert abs(fit.surface.at(*(PLACES / 25.4).T) * 25.4 - in_mm).max() < 1e-8


def test_other_scale_needs_lambda_times_its_square() -> None:
    # Plan lengths times c alone: λ → c² λ (the extra r² ln c of the kernel is cancelled by the side conditions).
    first = fixed(SEVEN[:, :2], SEVEN[:, 2], (0, 0, 8.5, 5), 0.02)
    second = fixed(SEVEN[:, :2] * 25.4, SEVEN[:, 2], (0, 0, 8.5 * 25.4, 5 * 25.4), 0.02 * 25.4**2)
    places = SEVEN_PLACES
    assert second.surface.at(*(places * 25.4).T) == pytest.approx(first.surface.at(*places.T), abs=1e-9)


@pytest.mark.parametrize(
    ("length", "width", "count", "cell"),
    [(8000.0, 200.0, 60, None), (8000.0, 80.0, 60, None), (4000.0, 600.0, 150, 10.0)],
    ids=["spar", "stringer", "finer cells than double precision carries"],
)
def test_slender_and_stiff_plates_do_not_drown_in_rounding(
    length: float, width: float, count: int, cell: float | None
) -> None:
    # A mirrored plate has the mirrored surface, yet the factor begins at its other end: what differs is rounding. A
    # tilt across by 1 mm must come back whole besides, to a few hundredths of the readings' noise of 0.010 mm.
    rng = np.random.default_rng(4)
    box = (0.0, 0.0, length, width)
    points = rng.uniform([0, 0], [length, width], (count, 2))
    x, y = points.T / [[length], [width]]
    values = 0.3 * x**2 + 0.1 * np.sin(6 * x + y) + y + rng.normal(0, 0.010, count)
    places = rng.uniform([0, 0], [length, width], (300, 2))
    mirror, turned = np.array([length, 0.0]), np.array([-1.0, 1.0])
    one = fit_surface(points, values, 0.010, bounds=box, cell_mm=cell, samples=2)
    other = fit_surface(mirror + turned * points, values, 0.010, bounds=box, cell_mm=cell, samples=2)
    back = mirror + turned * places
    assert one.surface.at(*places.T) == pytest.approx(other.surface.at(*back.T), abs=1e-3)
    assert one.posterior.std_at(*places.T) == pytest.approx(other.posterior.std_at(*back.T), rel=0.01)


@pytest.mark.parametrize("smoothing", [None, 1e-2, 1e12], ids=["chosen", "least", "most"])
def test_plane_is_exact_for_every_smoothing(smoothing: float | None) -> None:
    points = SPREAD[0]
    fit = fit_surface(points, 1 + points @ [1e-3, -2e-3], 0.010, bounds=BOX, smoothing=smoothing, samples=2)
    assert abs(fit.surface.at(*PLACES.T) - 1 - PLACES @ [1e-3, -2e-3]).max() < 1e-9
    assert np.array_equal(fit.weights, np.ones(150))


def test_same_input_same_numbers_other_seed_other_samples(plain: Fit) -> None:
    again = fit_surface(*SPREAD, 0.010, bounds=BOX)
    assert np.array_equal(again.surface.coefficients, plain.surface.coefficients)
    assert np.array_equal(again.posterior.samples_at(PLACES[:2]), plain.posterior.samples_at(PLACES[:2]))
    other = fit_surface(*SPREAD, 0.010, bounds=BOX, seed=2)
    assert np.array_equal(other.surface.coefficients, plain.surface.coefficients)
    assert not np.array_equal(other.posterior.samples_at(PLACES[:2]), plain.posterior.samples_at(PLACES[:2]))


def test_variance_split_adds_up(plain: Fit) -> None:
    place = np.array([[600.0, 250.0]])
    noise, between, _ = plain.variance_split([place])
    fine = fixed(*SPREAD, BOX, plain.smoothing * 1e-4, 0.010, smooth_length_mm=plain.smooth_length)
    # φ vᵀ(N + λS)v is the whole variance at that λ.
    assert noise[0] + between[0] == pytest.approx(
        plain.dispersion * float(fine.posterior.std_at(600, 250)) ** 2, rel=0.01
    )
    assert noise[0] > 0 < between[0]


def test_noise_is_what_the_readings_scatter_adds(plain: Fit) -> None:
    """A smoother is linear, ŵ = Σ h y, so that noise of u in each y adds Σ h² u² (JCGM 100:2008, 5.1.2)."""
    u, place = np.full(150, 0.010), np.array([[600.0, 250.0]])
    shares = [float(plain.smoother.smoothed(SPREAD[0], one, u).at(600, 250)) for one in np.eye(150)]
    noise, _, _ = plain.variance_split([place])
    assert noise[0] == pytest.approx(plain.dispersion * np.sum(np.square(shares)) * 0.010**2, rel=1e-6)
    assert plain.smoother.smoothed(*SPREAD, u).at(600, 250) == pytest.approx(
        float(plain.surface.at(600, 250)), abs=1e-9
    )


@pytest.mark.parametrize("case", ANSWERED, ids=lambda case: case.name)
def test_awkward_readings_are_answered(case: Case) -> None:
    fit = fit_surface(case.points, case.values, case.u, bounds=BOX, samples=50)
    height, deviation = fit.surface.at(*PLACES.T), fit.posterior.std_at(*PLACES.T)
    assert np.isfinite(height).all()
    assert (deviation > 0).all()
    assert np.isfinite(fit.posterior.samples_at(PLACES[:3])).all()
    assert ((fit.weights >= 0) & (fit.weights <= 1)).all()
    assert fit.dispersion >= 1


@pytest.mark.parametrize("case", REFUSED, ids=lambda case: case.name)
def test_readings_that_fix_no_plane_are_refused(case: Case) -> None:
    with pytest.raises(NumericalError, match=case.error):
        fit_surface(case.points, case.values, case.u, bounds=BOX)


@pytest.mark.parametrize(
    ("points", "values", "u", "words"),
    [
        ([[0, 0], [1, 0], [0, np.nan]], [0, 0, 0], 0.01, "must be finite"),
        ([[0, 0], [1, 0], [0, 1]], [0, np.inf, 0], 0.01, "must be finite"),
        ([[0, 0], [1, 0], [0, 1]], [0, 0, 0], 0.0, "u above zero"),
        ([[0, 0], [1, 0], [0, 1]], [0, 0, 0], [0.01, -1, 0.01], "u above zero"),
        ([[0, 0], [1, 0], [0, 1]], [0, 0], 0.01, "do not match"),
        ([0, 1, 2], [0, 0, 0], 0.01, "do not match"),
    ],
    ids=["NaN place", "infinite value", "no uncertainty", "negative uncertainty", "lengths", "flat list"],
)
def test_wrong_arrays_are_refused(points: list, values: list, u: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fit_surface(points, values, u, bounds=BOX)  # type: ignore[arg-type]


def test_arguments_are_not_changed() -> None:
    points, values = scatter(20)
    before = points.copy(), values.copy()
    fit_surface(points, values, 0.010, bounds=BOX, samples=2)
    assert np.array_equal(points, before[0])
    assert np.array_equal(values, before[1])


def test_cell_is_finer_than_spacing_and_floor_and_bounded() -> None:
    bounds = (0.0, 0.0, 4000.0, 1200.0)
    spacing = np.sqrt(4000 * 1200 / 2000)
    assert choose_cell(bounds, 2000) < spacing
    assert choose_cell(bounds, 500, 80.0) <= 80.0 / 3
    most = choose_cell(bounds, 10**6, 1.0)
    assert 4000 * 1200 / most**2 < 50_000  # bounded however many readings
    assert choose_cell(bounds, 3) < choose_cell((0, 0, 8000, 2400), 3)


def test_many_readings_show_structure_that_a_share_of_them_does_not() -> None:
    # A bow of 0.3 mm with a ripple of 2 µm: in 20,000 readings of 0.010 mm, on which the weights are searched, it is
    # noise (intervals from a smoothing found there cover 29 %); in 200,000 it is there. A ripple of one length is
    # rougher at that length than any smooth spectrum, so that intervals may be a little wide.
    rng = np.random.default_rng(6)
    box = (0.0, 0.0, 4000.0, 1200.0)

    def warp(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 0.3 * (x / 4000) ** 2 + 0.002 * np.sin(x / 60) * np.sin(y / 60 + 1)

    points = rng.uniform(box[:2], box[2:], (200_000, 2))
    fit = fit_surface(points, warp(*points.T) + rng.normal(0, 0.010, len(points)), 0.010, bounds=box, samples=2)
    places = rng.uniform([100, 100], [3900, 1100], (4000, 2)).T
    error, u = fit.surface.at(*places) - warp(*places), fit.posterior.std_at(*places)
    assert 0.92 < np.mean(np.abs(error) < 1.96 * u) < 0.99

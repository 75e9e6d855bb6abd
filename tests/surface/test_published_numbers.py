"""The fit at a given smoothing against dense systems that others have solved, number by number.

All solved the thin-plate system over the whole plane; the grid takes the energy over a rectangle and a margin of three
lengths. Where a tolerance is meant to show what the *cells* leave, the rectangle is `WIDER` than the readings, so that
the margin leaves less than the cells.

The kernel's λ_K (of ``r² log r``) is 8π times the λ of Σ (z − f)² + λ J (G. Wahba, Spline Models for Observational
Data, 1990, ch. 2).
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_values import BOWED, FRANKE_SET_2, SEVEN, SEVEN_FITS, SEVEN_REML, franke

from floorfit.surface import Fit, fit_surface
from floorfit.surface.blocks import product

Array = np.ndarray
EIGHT_PI = 8 * np.pi
HARDLY = 1e-6  # smoothing that is nothing beside the data's own
WIDER = 4.0


def fixed(
    data: Array, kernel_smoothing: float, *, u: float | Array = 1.0, wider: float = 0.0, cell: float | None = None
) -> Fit:
    """Fit rows x, y, z at a smoothing of the kernel's form; ``wider`` is added on every side of the rectangle."""
    (x0, y0), (x1, y1) = data[:, :2].min(axis=0) - wider, data[:, :2].max(axis=0) + wider
    smoothing = kernel_smoothing / EIGHT_PI
    box = (x0, y0, x1, y1)
    return fit_surface(
        data[:, :2], data[:, 2], u, bounds=box, smoothing=smoothing, robust=False, samples=2, cell_mm=cell
    )


def energy(fit: Fit) -> float:
    """Bending energy of the fitted surface, by the grid's own matrix (which test_grid.py holds to integrals)."""
    coefficients = fit.surface.coefficients
    return float(np.vdot(coefficients, product(fit.surface.grid.bending, coefficients[None])[0]))


def slope(fit: Fit, x: float, y: float) -> Array:
    step = 1e-3
    along = fit.surface.at([x + step, x - step], y)
    across = fit.surface.at(x, [y + step, y - step])
    return np.array([along[0] - along[1], across[0] - across[1]]) / (2 * step)


def gcv(fit: Fit) -> float:
    """P. Craven & G. Wahba, Numer. Math. 31, 1979: n RSS / (n − edf)²."""
    n = len(fit.residuals)
    return float(n * np.sum(fit.residuals**2) / (n - fit.effective_parameters) ** 2)


# --- five landmarks -------------------------------------------------------------------------------------------------

#: F. L. Bookstein, Principal Warps, IEEE Trans. PAMI 11(6), 1989, worked example (coordinates from memory): from, to.
LANDMARKS = np.array(
    [[3.6929, 10.3819], [6.5827, 8.8386], [6.7756, 12.0866], [4.8189, 11.2047], [5.6969, 10.0748]]
)  # fmt: skip
MOVED = np.array([[3.9724, 6.5354], [6.6969, 4.1181], [6.5394, 7.2362], [5.4016, 6.4528], [5.7756, 5.1142]])
#: His coefficients for U = r² log r² (recomputed from the coordinates with mpmath; they round to what is printed):
#: weights, affine part 1, x, y, and the energy wᵀKw, for x and for y.
BOOKSTEIN = (
    ([-0.038030135, 0.023187751, -0.024755056, 0.079782258, -0.040184817],
     [1.3549958, 0.87472587, -0.028860413], 0.041192339),
    ([0.042446928, 0.015916612, 0.028813481, -0.045425521, -0.041751499],
     [-2.9459631, -0.29556056, 0.92163259], 0.04480664),
)  # fmt: skip


def bookstein(which: int, x: Array, y: Array) -> Array:
    weights, affine, _ = BOOKSTEIN[which]
    square = (x[..., None] - LANDMARKS[:, 0]) ** 2 + (y[..., None] - LANDMARKS[:, 1]) ** 2
    kernel = square * np.log(np.maximum(square, 1e-300))
    return affine[0] + affine[1] * x + affine[2] * y + kernel @ np.array(weights)


@pytest.mark.parametrize("which", [0, 1], ids=["x", "y"])
def test_five_landmarks(which: int) -> None:
    weights, _, his_energy = BOOKSTEIN[which]
    fit = fixed(np.column_stack([LANDMARKS, MOVED[:, which]]), HARDLY * EIGHT_PI, wider=WIDER)
    x, y = np.meshgrid(np.linspace(3.7, 6.8, 16), np.linspace(8.8, 12.1, 16))
    # Cells of 0.22 on landmarks 1.4 to 3.7 apart: a bicubic spline misses the logarithm at a landmark by less than its
    # weight times the square of a cell, 0.16 · 0.05 = 0.008 at most; rms a quarter of that. The move spans 3.
    miss = fit.surface.at(x, y) - bookstein(which, x, y)
    assert fit.cell == pytest.approx((0.22, 0.22), rel=0.02)
    assert abs(miss).max() < 0.008
    assert np.sqrt(np.mean(miss**2)) < 0.002
    # Residuals are λ_K w; his kernel is twice r² log r, so his weights and his energy are half of ours. 0.5 %: the
    # cells, which let the surface bend a little less, against the margin, which lets it bend a little more.
    assert fit.residuals / (2 * HARDLY * EIGHT_PI) == pytest.approx(weights, rel=0.005)
    assert energy(fit) / EIGHT_PI / 2 == pytest.approx(his_energy, rel=0.005)


# --- four corners ---------------------------------------------------------------------------------------------------

CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 1.0]])


def test_four_corners_interpolated() -> None:
    # Closed form: energy 2π / ln 2 and the heights between; cells of a tenth and a rectangle of five lengths.
    fit = fixed(CORNERS, HARDLY, wider=2.0)
    places = np.array([[0.5, 0.5], [0.5, 0.0], [0.25, 0.75]])
    assert fit.surface.at(*places.T) == pytest.approx([0.25, 0.0, 0.16703056149832519], abs=1e-3)
    assert float(fit.surface.at(2.0, 2.0)) == pytest.approx(2.0975898813907971, rel=0.005)  # outside: the margin counts
    assert energy(fit) == pytest.approx(2 * np.pi / np.log(2), rel=0.005)
    assert fit.residuals * [1, -1, -1, 1] / HARDLY == pytest.approx([1 / (4 * np.log(2))] * 4, rel=0.005)


@pytest.mark.parametrize("kernel_smoothing", [0.01, 0.1, 1.0])
def test_generalised_cross_validation_is_flat_on_four_corners(kernel_smoothing: float) -> None:
    # Closed form: RSS = λ²/(4 (λ + ln 2)²) and n − edf = λ/(λ + ln 2), so the criterion is 1 whatever λ is. Exact on
    # any grid that is as symmetric as the corners; to rounding of (n − edf)².
    assert gcv(fixed(CORNERS, kernel_smoothing)) == pytest.approx(1.0, rel=1e-6)


def test_three_corners_are_a_plane() -> None:
    fit = fixed(CORNERS[1:], 1.0)
    assert abs(fit.residuals).max() < 1e-12
    assert fit.effective_parameters == pytest.approx(3.0, abs=1e-6)


# --- seven points ---------------------------------------------------------------------------------------------------

#: By λ_K: heights at (2, 1.5), (6, 3.25), (7.2, 0.9) and the reading (5, 2.5); height outside, at (10, 6); bending
#: energy; slopes at the first two. Bordered system in 60-digit mpmath; scipy 1.17.1 agrees to 15 digits.
SEVEN_WHOLE = {
    0.0: ([0.3795875722559387, 0.7215793878013850, 0.3924036769570607, 0.78], 0.2443452963640873, 0.4463065917803230,
          [[0.062510377741265796, 0.13030204293294865], [-0.10851606476776417, -0.024703216611719389]]),
    0.5: ([0.3804413521106086, 0.7054101058644547, 0.3872354213945663, 0.7600520769440960], 0.2632610638728187,
          0.3866410459551457,
          [[0.063600639078893677, 0.12506799109022522], [-0.10362400112387458, -0.019782971389266279]]),
    5.0: ([0.3800908910697144, 0.6259163753362683, 0.3630722003116363, 0.6583513696504512], 0.3625782480016194,
          0.1668863779688664, None),
}  # fmt: skip
SEVEN_PLACES = np.array([[2, 1.5], [6, 3.25], [7.2, 0.9], [5, 2.5]])
#: Residual sum, effective parameters, GCV and the sum of squared leave-one-out errors (PRESS), by λ_K.
SEVEN_SUMS = {
    0.5: (0.0005679682426431722, 6.801939794378648, 0.1013509075850690, 0.4377080224680374),
    5.0: (0.01962221374524614, 5.721233509881712, 0.08399695603284082, 0.3914923810700996),
}
LEVERAGES = [0.98600769, 0.95708954, 0.98757580, 0.96262796, 0.94644140, 0.98863293, 0.97356444]


@pytest.fixture(scope="module")
def seven() -> dict[float, Fit]:
    return {s: fixed(SEVEN, max(s, HARDLY), wider=WIDER) for s in (0.0, 0.5, 5.0)}


@pytest.mark.parametrize("smoothing", SEVEN_WHOLE)
def test_seven_points_on_a_wider_rectangle(seven: dict[float, Fit], smoothing: float) -> None:
    heights, outside, bending, slopes = SEVEN_WHOLE[smoothing]
    fit = seven[smoothing]
    # Cells of 0.29 on readings 3 apart: weight 0.043 times the square of a cell is 0.0036, a quarter of it here.
    assert fit.surface.at(*SEVEN_PLACES.T) == pytest.approx(heights, abs=9e-4)
    assert float(fit.surface.at(10.0, 6.0)) == pytest.approx(outside, abs=0.003)  # no reading holds it there
    assert energy(fit) == pytest.approx(bending, rel=0.003)
    for place, known in zip(SEVEN_PLACES, slopes or [], strict=False):
        assert slope(fit, *place) == pytest.approx(known, abs=3e-4)  # the heights' tolerance over a reading's distance


@pytest.mark.parametrize("smoothing", SEVEN_SUMS)
def test_sums_of_seven_points(seven: dict[float, Fit], smoothing: float) -> None:
    rss, edf, score, press = SEVEN_SUMS[smoothing]
    fit = seven[smoothing]
    assert np.sum(fit.residuals**2) == pytest.approx(rss, rel=0.01)  # λ_K² Σ w²: the weights to 0.5 %
    assert fit.effective_parameters == pytest.approx(edf, abs=0.003)
    assert gcv(fit) == pytest.approx(score, rel=0.01)
    # A leave-one-out fit predicts outside its hull, as at (10, 6): 0.003 of errors of 0.4.
    assert np.sum(fit.loo.residual**2) == pytest.approx(press, rel=0.01)


def test_leverages_of_seven_points(seven: dict[float, Fit]) -> None:
    assert seven[0.5].loo.leverage == pytest.approx(LEVERAGES, abs=2e-4)  # 1 − h to 1 %, as the residual sum
    # Without smoothing the error left out is w_i / (L⁻¹)_ii, finite though both e and 1 − h vanish.
    known = [-0.06783914, -0.23026733, -0.03444341, 0.07858430, 0.37112680, -0.41673259, -0.27203189]
    assert seven[0.0].loo.residual == pytest.approx(known, abs=0.003)


def test_mean_over_a_rectangle_and_kriging_error_outside(seven: dict[float, Fit]) -> None:
    xs, ys = 1 + (np.arange(80) + 0.5) / 40, 1 + (np.arange(40) + 0.5) / 40  # midpoint rule: error 1e-5 here
    assert seven[0.5].surface.on_grid(xs, ys).mean() == pytest.approx(0.380608774357669, abs=2e-4)
    tau2 = SEVEN_FITS[0.5]["tau2"]
    got = np.sqrt(0.5 * tau2) * seven[0.5].posterior.std_at([2.0, 10.0, 5.0], [1.5, 6.0, 2.5])
    # At the reading: σ² A_55, Wahba, J. R. Statist. Soc. B 45, 1983. The last but one outside the readings' hull.
    assert got == pytest.approx([0.1443317652925543, 0.3733457883306052, 0.0442084727], rel=0.003)


def test_unequal_uncertainties() -> None:
    # Diagonal λ_K u² with λ_K = 0.5 (mpmath).
    fit = fixed(SEVEN, 0.5, u=np.array([1, 1, 2, 1, 0.5, 1, 1]), wider=WIDER)
    fitted = [0.10103239178, 0.32998767986, 0.21215303803, 0.44718183611, 0.77480489246, 0.36478958736, 0.52725067554]
    assert SEVEN[:, 2] - fit.residuals == pytest.approx(fitted, abs=1e-4)  # 1 % of the residuals
    assert fit.surface.at([2.0, 6.0], [1.5, 3.25]) == pytest.approx([0.38180162951, 0.71787926216], abs=9e-4)
    assert float(fit.surface.at(10.0, 6.0)) == pytest.approx(0.25605053280, abs=0.003)


def test_lengths_in_another_unit_keep_the_published_height() -> None:
    # Plan lengths × 25.4 and λ_K × 25.4² leave the height at the place × 25.4: 0.38044135211060856, as before.
    scaled = np.column_stack([SEVEN[:, :2] * 25.4, SEVEN[:, 2]])
    fit = fixed(scaled, 0.5 * 25.4**2, wider=WIDER * 25.4)
    assert float(fit.surface.at(2 * 25.4, 1.5 * 25.4)) == pytest.approx(0.38044135211060856, abs=9e-4)


def test_endless_smoothing_leaves_the_residuals_of_the_plane() -> None:
    # Exact rationals: RSS of the least-squares plane. What the bend takes away is of the order of 1/λ.
    assert np.sum(fixed(SEVEN, 1e6 * EIGHT_PI).residuals ** 2) == pytest.approx(0.18556981813915288, rel=1e-4)


# --- smoothing chosen by others -------------------------------------------------------------------------------------

#: λ_K and what it gives: effective parameters, RSS/(n − edf), heights at the readings, height at (2, 1.5). Optimum of
#: GCV and of REML, mpmath; R mgcv s(x, y, bs="tp", k=7), other algorithm and other author, agrees to 7 and 13 digits.
CHOSEN = {
    "GCV": (28.16851425941436561, 4.227617198484673, 0.02927193280339846,
            [0.1634777232631537, 0.3452216875902091, 0.2391215484941118, 0.4323044584678094, 0.5280614092772175,
             0.4487436069290685, 0.5830695659784298], 0.3655562805428804),
    "REML": (SEVEN_REML["smoothing"], SEVEN_REML["edf"], SEVEN_REML["noise"],
             [0.1510567716167010, 0.3537355026158554, 0.2344870028904495, 0.4316740784012919, 0.5526663569627353,
              0.4354573164834751, 0.5809229710294915], 0.3695066338286880),
}  # fmt: skip


@pytest.mark.parametrize("criterion", CHOSEN)
def test_fit_at_the_smoothing_that_others_chose(criterion: str) -> None:
    smoothing, edf, noise, fitted, height = CHOSEN[criterion]
    fit = fixed(SEVEN, smoothing, wider=WIDER)
    # Cells of 0.29 and a margin of three lengths of 16.5; the surface is near the plane here, so less is left than
    # with little smoothing: 0.1 % of the parameters, 0.0003 of height.
    assert fit.effective_parameters == pytest.approx(edf, abs=0.005)
    left = float(np.sum(fit.residuals**2)) / (7 - fit.effective_parameters)
    assert left == pytest.approx(noise, rel=0.003)
    assert SEVEN[:, 2] - fit.residuals == pytest.approx(fitted, abs=4e-4)
    assert float(fit.surface.at(2.0, 1.5)) == pytest.approx(height, abs=4e-4)


def test_cross_validation_has_its_least_score_where_published() -> None:
    smoothing = CHOSEN["GCV"][0]
    scores = [gcv(fixed(SEVEN, smoothing * factor, wider=WIDER)) for factor in (2 / 3, 1.0, 1.5)]
    assert scores[1] == pytest.approx(0.07390881573489534, rel=0.005)  # twice the relative error of n − edf
    assert scores[1] < min(scores[0], scores[2])


def test_kriging_error_at_the_smoothing_of_reml() -> None:
    fit = fixed(SEVEN, SEVEN_REML["smoothing"], wider=WIDER)
    got = np.sqrt(SEVEN_REML["noise"]) * fit.posterior.std_at([2.0, 5.0], [1.5, 2.5])
    assert got == pytest.approx([0.1187104419085922, 0.1066699500520795], rel=0.002)
    assert float(fit.surface.at(6.0, 3.25)) == pytest.approx(0.5511307363454267, abs=4e-4)


def test_bowed_plate_at_a_given_smoothing() -> None:
    # λ_K = 20000 mm² (mpmath); cells of 15 mm on readings 220 mm apart. 0.001 mm at the corner, where the margin of
    # three lengths counts most, is a fortieth of the standard error there.
    fit = fixed(BOWED, 20000.0)
    assert fit.effective_parameters == pytest.approx(16.3058262940902, abs=0.02)
    assert gcv(fit) == pytest.approx(0.00118532458749847, rel=0.01)
    known = [-0.0013657910077063, 0.287943660127184, 0.506604482562382]
    assert fit.surface.at([600.0, 160.0, 1190.0], [250.0, 110.0, 490.0]) == pytest.approx(known, abs=0.001)


# --- Franke's function ----------------------------------------------------------------------------------------------

FRANKE_SET_3 = np.array(
    [[0.1375, 0.975], [0.9125, 0.9875], [0.7125, 0.7625], [0.225, 0.8375], [-0.05, 0.4125], [0.475, 0.6375],
     [0.05, -0.05], [0.45, 1.0375], [1.0875, 0.55], [0.5375, 0.8], [-0.0375, 0.75], [0.1875, 0.575], [0.7125, 0.55],
     [0.85, 0.4375], [0.7, 0.3125], [0.275, 0.425], [0.45, 0.2875], [0.8125, 0.1875], [0.45, -0.0375], [1, 0.2625],
     [0.5, 0.4625], [0.1875, 0.2625], [0.5875, 0.125], [1.05, -0.06125], [0.1, 0.1125]]
)  # fmt: skip


def lattice(side: int) -> Array:
    return np.stack(np.meshgrid(*[np.linspace(0, 1, side)] * 2), axis=-1).reshape(-1, 2)


#: Interpolation error on the 33 x 33 grid: greatest, mean and rms (own dense solver and scipy agree to 1e-14), and the
#: share that the cells may change. R. Franke, Tech. Rep. NPS-53-79-003, 1979 (sets as in R package interp). Cells as
#: chosen, but on the densest lattice of a fifth of the distance between the readings.
FRANKE = {
    "6 x 6": (lattice(6), 0.0661449118, 0.0154640946, 0.0211809679, 0.005),
    "11 x 11": (lattice(11), 0.0244452843, 0.0013533971, 0.0025437960, 0.03),
    "21 x 21": (lattice(21), 0.0015561238, 0.0000880842, 0.0001702181, 0.02),
    "set 2": (FRANKE_SET_2, 0.1534511830, 0.0292759107, 0.0420833948, 0.01),
    "set 3": (FRANKE_SET_3, 0.1207903179, 0.0252512856, 0.0348267601, 0.005),
}


def test_franke_values() -> None:
    got = franke(np.array([0, 0.2, 0.5, 1]), np.array([0, 0.2, 0.5, 1]))
    assert got == pytest.approx([0.7664205912849231, 1.2185807041679817, 0.3257620892806842, 0.03586959238610449])


@pytest.mark.parametrize("name", FRANKE)
def test_franke_interpolation_error(name: str) -> None:
    points, greatest, mean, rms, share = FRANKE[name]
    cell = 0.01 if len(points) > 400 else None
    fit = fixed(np.column_stack([points, franke(*points.T)]), 1e-9 * EIGHT_PI, cell=cell)
    nodes = np.linspace(0, 1, 33)
    miss = abs(fit.surface.on_grid(nodes, nodes) - franke(nodes[:, None], nodes[None, :]))
    assert miss.max() == pytest.approx(greatest, rel=share)
    assert miss.mean() == pytest.approx(mean, rel=share)
    assert np.sqrt(np.mean(miss**2)) == pytest.approx(rms, rel=share)

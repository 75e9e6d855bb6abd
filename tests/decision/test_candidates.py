"""Minimax offsets and planes, and probabilities of conformance, against brute force and published figures."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from known_warp import floor_at
from reference_values import SEVEN
from scipy.stats import norm

from floorfit.decision.candidates import Chances, best_candidate, chances, minimax_plane, minimax_shift, target
from floorfit.decision.settings import DecisionSettings
from floorfit.part import Tolerance
from floorfit.part.model import LocalLimits

SQUARE = np.array([[0, 0], [1, 0], [0, 1], [1, 1]], float)
NINE = np.array([[x, y] for x in (-1, 0, 1) for y in (-1, 0, 1)], float)
#: Five points with a flatness that was printed in an open forum thread (eng-tips 393584).
PRINTED = np.array([[11.5, 7, 1.1], [18.5, 6.9, 1.03], [4.5, 13, 1.02], [25.5, 30, 1.03], [11.5, 37.5, 1.02]])

#: points, heights, half band: exact rationals over all 4-point references.
PLANES = [
    (SQUARE, np.array([0, 0, 0, 1.0]), 1 / 4),
    (NINE, NINE[:, 0] * NINE[:, 1], 1.0),
    (NINE, (NINE**2).sum(axis=1), 1.0),
    (NINE, NINE[:, 0] ** 2, 1 / 2),
    (SEVEN[:, :2], SEVEN[:, 2], 3133 / 12200),
    (PRINTED[:, :2], PRINTED[:, 2], 4103 / 61000 / 2),
]


def brute_force(points: np.ndarray, values: np.ndarray) -> float:
    """Chebyshev: the best half band of all points is the greatest over all references of four."""
    best = 0.0
    for four in combinations(range(len(points)), 4):
        rows = np.column_stack([np.ones(4), points[list(four)]])
        null = np.linalg.svd(rows.T)[2][-1]
        if np.linalg.matrix_rank(rows) == 3:
            best = max(best, abs(null @ values[list(four)]) / abs(null).sum())
    return best


@pytest.mark.parametrize(("points", "values", "half"), PLANES)
def test_minimax_plane(points: np.ndarray, values: np.ndarray, half: float) -> None:
    plane, got = minimax_plane(points, values)
    assert got == pytest.approx(half, abs=1e-9)  # the linear programme's own tolerance is 1e-9 of the scaled heights
    assert got == pytest.approx(brute_force(points, values), abs=1e-9)
    miss = values - plane[0] - points @ plane[1:]
    assert abs(miss).max() == pytest.approx(half, abs=1e-9)


def test_seven_points_plane_itself() -> None:
    plane, _ = minimax_plane(SEVEN[:, :2], SEVEN[:, 2])
    assert plane == pytest.approx([0.35680328, -0.01245902, 0.09147541], abs=5e-9)  # eight decimals are printed


def test_minimax_plane_against_brute_force_at_random() -> None:
    rng = np.random.default_rng(4)
    for _ in range(5):
        points, values = rng.uniform(0, 300, (10, 2)), rng.normal(0, 0.1, 10)
        assert minimax_plane(points, values)[1] == pytest.approx(brute_force(points, values), abs=1e-9)


@pytest.mark.parametrize("shift", [0.0, 1e5])
def test_minimax_plane_of_a_plane_and_of_one_height(shift: float) -> None:
    points = np.random.default_rng(4).uniform(0, 300, (30, 2)) + shift
    plane, half = minimax_plane(points, 0.1 + points @ [1e-4, -2e-4])
    assert half == pytest.approx(0, abs=1e-9)
    assert plane[1:] == pytest.approx([1e-4, -2e-4], abs=1e-10)
    assert minimax_plane(points, np.full(30, 0.2))[1] == pytest.approx(0, abs=1e-9)


def test_minimax_shift_is_the_middle_of_the_range() -> None:
    assert minimax_shift(SEVEN[:, 2]) == pytest.approx(0.44, abs=1e-12)
    values = np.random.default_rng(1).normal(size=50)
    steps = np.linspace(values.min(), values.max(), 20_001)
    brute = np.abs(values[:, None] - steps).max(axis=0).min()
    # The brute force steps by 2.5e-4 at most.
    assert np.abs(values - minimax_shift(values)).max() == pytest.approx(brute, abs=2.5e-4)


def test_bowl_over_a_rectangle() -> None:
    # w = (k/2)(x² + y²), k = 1e-5 /mm, 160 x 120 mm: range 0 to 0.05, best offset 0.025, residual ± 0.025 mm (by hand).
    found = best_candidate(floor_at(lambda x, y: 0.5e-5 * (x**2 + y**2)), DecisionSettings())
    assert found.action == "shift"
    # The points nearest to the middle are half a lattice spacing off it: 0.5e-5 · 2 · 5² mm.
    assert found.plane[0] == pytest.approx(0.025, abs=0.00025)


def test_twist_over_a_rectangle() -> None:
    # w = c x y: best plane is zero, residual ± c a b/4 = ± 0.0048 mm for c = 1e-6 (by hand).
    floor = floor_at(lambda x, y: 1e-6 * x * y)
    plane, half = minimax_plane(floor.points, floor.mean)
    assert half == pytest.approx(0.0048, abs=1e-9)
    assert plane == pytest.approx([0, 0, 0], abs=1e-9)


def test_tilt_does_not_help_a_bowl_and_follow_does() -> None:
    bowl = floor_at(lambda x, y: 3e-5 * (x**2 + y**2))  # 0.3 mm over the floor, limits ± 0.1
    assert best_candidate(bowl, DecisionSettings()).action == "follow"
    assert best_candidate(bowl, DecisionSettings(most="tilt")).chances.conform < 0.05


def test_least_that_conforms_is_chosen() -> None:
    slope = floor_at(lambda x, y: 0.1 + 1.5e-3 * x)
    tilted = best_candidate(slope, DecisionSettings())
    assert tilted.action == "tilt"
    assert tilted.plane == pytest.approx((0.1, 1.5e-3, 0.0), abs=1e-9)
    assert best_candidate(slope, DecisionSettings(most="shift")).action == "shift"
    assert best_candidate(floor_at(lambda x, y: 0.1 + 1e-4 * x), DecisionSettings()).action == "shift"


# --- conformance, JCGM 106:2012 -----------------------------------------------------------------------------------

#: Limits lower, upper, best estimate, u, probability. First three: JCGM 106:2012 examples of 7.3.3 and 7.4 (inputs from
#: memory, results recomputed); the rest Φ((U − y)/u) − Φ((L − y)/u) for a web of 1.9 to 2.1 mm.
CONFORMANCE = [
    (None, -5.40, -5.47, 0.05, 0.919243340766),
    (490.0, None, 509.7, 8.6, 0.9890095474),
    (12.5, 16.3, 13.6, 1.8, 0.6626297865),
    (1.9, 2.1, 2.05, 0.02, 0.993790334674192),
    (1.9, 2.1, 2.09, 0.02, 0.691462461274013),
    (1.9, 2.1, 2.10, 0.02, 0.5),
    (1.9, 2.1, 2.11, 0.02, 0.308537538725987),
    (1.9, 2.1, 2.00, 0.05, 0.954499736103642),
]


@pytest.mark.parametrize(("lower", "upper", "y", "u", "probability"), CONFORMANCE)
def test_conformance_probability(lower: float, upper: float, y: float, u: float, probability: float) -> None:
    count = 40_000
    drawn = y + u * np.random.default_rng(8).standard_normal((count, 1))
    got = chances(drawn, Tolerance(lower, upper))
    # Standard error of a share p of n samples: √(p (1 − p)/n); 4 of them.
    assert got.conform == pytest.approx(probability, abs=4 * np.sqrt(probability * (1 - probability) / count))
    assert got.conform + got.thin + got.thick == pytest.approx(1)


def test_whole_floor_is_less_likely_than_any_place() -> None:
    drawn = 0.05 * np.random.default_rng(8).standard_normal((20_000, 10))
    got = chances(drawn, Tolerance(-0.1, 0.1)).conform
    alone = 2 * norm.cdf(2) - 1
    # Independent places: the tenth power (product rule); 4 standard errors.
    assert got == pytest.approx(alone**10, abs=4 * np.sqrt(0.25 / 20_000))


@pytest.mark.parametrize("sd", [0.03, 0.06])
def test_floor_with_a_shared_error_has_the_closed_form(sd: float) -> None:
    # Web deviation spans ± 0.05 and all of it moves together: Φ((0.1 − 0.05)/u) − Φ((−0.1 + 0.05)/u).
    # Thin and thick cost the same, so that the height stays in the middle.
    found = best_candidate(floor_at(lambda x, y: 0.05 / 80 * x, sd), DecisionSettings(most="shift", thin_cost=1.0))
    # 2000 quantiles in place of an integral: half a step either side.
    assert found.chances.conform == pytest.approx(2 * norm.cdf(0.05 / sd) - 1, abs=0.001)


# --- where in the tolerance ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lower", "upper", "aim", "where"),
    [
        (-0.1, 0.1, "middle", 0.0),
        (-0.13, 0.25, "middle", 0.06),
        (-0.13, 0.25, "nominal", 0.0),
        (0.0, 0.2, "middle", 0.1),
        (-0.1, None, "middle", 0.0),
        (0.05, None, "middle", 0.05),
        (None, 0.1, "middle", 0.0),
        (None, -0.02, "middle", -0.02),
        (None, None, "middle", 0.0),
    ],
)
def test_aim(lower: float | None, upper: float | None, aim: str, where: float) -> None:
    assert target(Tolerance(lower, upper), aim) == pytest.approx(where, abs=1e-12)


def test_unequal_limits_put_the_floor_in_their_middle() -> None:
    found = best_candidate(floor_at(lambda x, y: 0.04, tolerance=Tolerance(-0.13, 0.25)), DecisionSettings())
    assert found.plane[0] == pytest.approx(0.04 + 0.06, abs=1e-9)


def test_minimum_web_alone_is_kept_with_room_for_the_uncertainty() -> None:
    # Web at least nominal: with u = 0.01 the aim at the limit itself would fail half the time.
    found = best_candidate(floor_at(lambda x, y: 0.0, 0.01, tolerance=Tolerance(0.0, None)), DecisionSettings())
    assert found.chances.conform >= 0.95
    assert 0 < found.plane[0] < 0.05  # 1.64 u is needed; five u would be wasteful


def test_maximum_web_alone() -> None:
    found = best_candidate(floor_at(lambda x, y: 0.0, 0.01, tolerance=Tolerance(None, 0.0)), DecisionSettings())
    assert found.chances.conform >= 0.95
    assert -0.05 < found.plane[0] < 0


def test_no_limits_at_all_conform() -> None:
    found = best_candidate(floor_at(lambda x, y: 0.07, tolerance=Tolerance(None, None)), DecisionSettings())
    assert found.chances.conform == 1
    assert found.plane[0] == pytest.approx(0.07)


def test_thin_costs_more_than_thick() -> None:
    # Nothing satisfies both: the range is 0.3 and the limits 0.2 apart. Dearer thin webs: a higher floor.
    floor = floor_at(lambda x, y: 0.15 / 80 * x, 0.03)
    heights = [
        best_candidate(floor, DecisionSettings(most="shift", thin_cost=cost)).plane[0] for cost in (1.0, 3.0, 30.0)
    ]
    assert heights == sorted(heights)
    assert heights[2] > heights[0]
    assert best_candidate(floor, DecisionSettings(most="shift")).plane[0] >= 0  # stay on the thick side


@pytest.mark.parametrize("cost", [1.0, 3.0, 10.0])
def test_height_of_least_weighted_risk_has_the_closed_form(cost: float) -> None:
    # The web deviates by ± r over the floor and a shared Gaussian error of s: with a = 0.1 − r the risk
    # c Φ(−(h + a)/s) + Φ((h − a)/s) is least where c exp(−(h + a)²/2s²) = exp(−(h − a)²/2s²): h = s² ln c / 2a.
    r, s = 0.05, 0.06
    floor = floor_at(lambda x, y: r / 80 * x, s)
    settings = DecisionSettings(most="shift") if cost == 3 else DecisionSettings(most="shift", thin_cost=cost)
    # Of 2000 quantiles the lowest steps are some 0.002 mm wide there: the risk is flat.
    assert best_candidate(floor, settings).plane[0] == pytest.approx(s**2 * np.log(cost) / (2 * (0.1 - r)), abs=0.002)


def test_a_web_at_its_limit_conforms() -> None:
    # The limits belong to the tolerance interval (JCGM 106:2012, 3.3.5, from memory).
    edge, beyond = np.array([[-0.1, 0.1]]), np.nextafter([[-0.1, 0.1]], [[-1, 1]])
    for limits in (Tolerance(-0.1, 0.1), LocalLimits(np.full(2, -0.1), np.full(2, 0.1))):
        assert chances(edge, limits) == Chances(1.0, 0.0, 0.0)
        assert chances(beyond, limits) == Chances(0.0, 1.0, 1.0)

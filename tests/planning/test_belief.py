"""What readings leave unknown, against published and dense answers."""

from __future__ import annotations

import numpy as np
import pytest

from floorfit.planning.belief import Belief, unread
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.reml import Prior, assemble, solve

#: 24 places on a plate of 1200 × 500 mm, gauge 0.02 mm, surface variance by REML with that noise: kriging standard
#: errors worked out with 30 digits, and by mgcv (S. N. Wood, J. R. Statist. Soc. B 65, 95, 2003) at the reading.
PLACES = np.array([(x, y) for y in (40, 180, 320, 460) for x in (50, 270, 490, 710, 930, 1150)], float)
TAU2 = 6.17709637821e-8
STANDARD_ERRORS = {
    (600.0, 250.0): 0.0325936126257,
    (160.0, 110.0): 0.0337783894319,
    (1190.0, 490.0): 0.0388471494727,
    (50.0, 40.0): 0.0191247717415,
}
BOX = (0.0, 0.0, 1200.0, 500.0)
#: The thin-plate spline's λ for that variance: 1/(8π τ²) (reference values T1).
PLAIN = Prior(1 / (8 * np.pi * TAU2))


def dish(x0: float, y0: float, size: float) -> ShapeTable:
    return ShapeTable((x0, y0), (x0 + size, y0 + size), np.array([[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]))


#: So small that they add nothing.
FLAT = LocalShapes(("A",), (dish(100, 100, 100),), np.array([1e-9]), 0.0)
DISHES = LocalShapes(
    (
        "A",
        "B",
    ),
    (
        dish(100, 100, 300),
        dish(700, 100, 300),
    ),
    np.array([1.0, 1.5]),
    1.0,
)


def read_all(shapes: LocalShapes, targets: np.ndarray, prior: Prior = PLAIN) -> Belief:
    start = unread(BOX, [shapes], prior)
    belief = Belief(start, shapes, PLACES, targets, np.eye(len(targets)), len(PLACES) + 1)
    for index in range(len(PLACES)):
        belief.add(index, 0.02**2, np.ones(len(targets)))
        if index % 5 == 4:
            belief.settle()
    return belief


def test_reading_by_reading_gives_the_kriging_errors() -> None:
    belief = read_all(FLAT, np.array(list(STANDARD_ERRORS)))
    # 2 %: a finite margin round the plate, felt 10 mm from its corner; elsewhere 0.5 %.
    assert np.sqrt(belief.sum_variance) == pytest.approx(list(STANDARD_ERRORS.values()), rel=0.02)
    assert np.sqrt(belief.variance[0]) == pytest.approx(0.0191247717415, rel=0.02)


def test_reading_by_reading_gives_what_one_solve_gives() -> None:
    # Theorem: Gaussian conditioning does not depend on the order or the grouping of the readings.
    targets = np.array([(600.0, 250.0), (250.0, 250.0), (850.0, 250.0)])
    belief = read_all(DISHES, targets)
    start = unread(BOX, [DISHES], PLAIN)
    grid = start.equations.grid
    design = np.hstack([grid.matrix(PLACES).toarray(), DISHES.design(PLACES).toarray()])
    wanted = np.hstack([grid.matrix(targets).toarray(), DISHES.design(targets).toarray()])
    m, corners = grid.unknowns, np.array([[0.0, 0.0], [1200.0, 0.0], [600.0, 500.0]])
    # Dense precision of coefficients and amounts: energy, corners, amounts, readings.
    eye = np.eye(m).reshape(m, *grid.shape)
    from floorfit.surface.blocks import product

    precision = np.zeros((m + 2, m + 2))
    precision[:m, :m] = PLAIN.smoothing * product(PLAIN.energy(grid), eye).reshape(m, m)
    held = grid.matrix(corners).toarray()
    precision[:m, :m] += held.T @ held
    precision[m:, m:] = np.linalg.inv(start.border.covariance)
    precision += design.T @ design / 0.02**2
    expected = np.einsum("ij,jk,ik->i", wanted, np.linalg.inv(precision), wanted)
    # 1e-4: the corners' variance of 1 mm² is what is taken away from, in float64.
    assert belief.sum_variance == pytest.approx(expected, rel=1e-4)


def test_fit_is_where_a_job_is_believed() -> None:
    values = 1e-4 * PLACES[:, 0] + 0.03 * np.sin(PLACES[:, 1] / 90)
    solution = solve(
        assemble(unread(BOX, [DISHES]).equations.grid, PLACES, values, np.full(24, 2500.0), 24, DISHES), PLAIN
    )
    belief = Belief(solution, DISHES, PLACES, PLACES[:2], np.eye(2), 1)
    # A reading where one is: 1/v' = 1/v + 1/u².
    before = belief.variance[3]
    belief.add(3, 0.02**2, np.ones(2))
    assert belief.variance[3] == pytest.approx(1 / (1 / before + 1 / 0.02**2), rel=1e-6)


def test_what_a_reading_changes_is_told() -> None:
    targets = np.array(list(STANDARD_ERRORS))
    belief = read_all(DISHES, targets)
    weights = np.array([1.0, 2.0, 0.5, 1.0])
    before = belief.settle().astype(float)
    change = belief.add(7, 0.02**2, weights)
    assert belief.settle() == pytest.approx(before - np.outer(change.sums, change.row), abs=1e-9)
    assert change.cross == pytest.approx((weights * change.sums) @ before, abs=1e-9)


def test_part_far_from_the_origin() -> None:
    # The same plate 100 m away.
    away = np.array([1e5, -1e5])
    x0, y0, x1, y1 = BOX
    shapes = LocalShapes(("A",), (dish(100 + away[0], 100 + away[1], 300),), np.ones(1), 0.0)
    near = LocalShapes(("A",), (dish(100, 100, 300),), np.ones(1), 0.0)
    box = (x0 + away[0], y0 + away[1], x1 + away[0], y1 + away[1])
    far = Belief(unread(box, [shapes]), shapes, PLACES + away, PLACES[:1] + away, np.eye(1), 1)
    here = Belief(unread(BOX, [near]), near, PLACES, PLACES[:1], np.eye(1), 1)
    # 1e-3: before any reading the plane hangs on corners of 1 mm, which float64 keeps beside the stiffness to that.
    assert far.variance == pytest.approx(here.variance, rel=1e-3)

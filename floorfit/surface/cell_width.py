"""How wide the cells of the grid are: fine enough for the readings, the floors and the smoothing, and no finer."""

from __future__ import annotations

import numpy as np

from floorfit.arrays import Array
from floorfit.surface.blocks import product
from floorfit.surface.given import Box
from floorfit.surface.reml import Equations, Prior, Solution
from floorfit.surface.robust import Robust
from floorfit.surface.spline import plane_coefficients

__all__ = ["cell_of", "choose_cell", "final_cell", "keeps_planes"]

#: Cells of the grid inside the part: never fewer, never more. The first keeps the spline's own stiffness out of the
#: answer on small parts; the second bounds time and memory (about 12,000 unknowns).
MIN_CELLS, MAX_CELLS = 2_500, 8_000
#: Cells inside a part whose spline is smooth over `SMOOTH_CELLS` of them: next to 8,000 the surfaces of 22 conditions
#: of tests/benchmarks/conditions.py move by 0.6 µm at most (one, smooth over 200 mm, 1.2) and u by 0.8 %.
FEWEST_CELLS, SMOOTH_CELLS = 900, 4.0
#: Cells that each effective parameter wants on the final grid, which then has up to four times `MAX_CELLS`: rough
#: ground read at thousands of places; a plate is far below.
PER_ROUGH = 5.0
#: Cells across the spacing of the readings, and across the smallest floor.
PER_SPACING, PER_FLOOR = 3.0, 4.0
#: Share of a plane that may be lost in rounding.
PLANES_KEPT = 0.005


def choose_cell(bounds: Box, count: int, smallest_mm: float | None = None, *, fine: bool = False) -> float:
    """Cell width, mm: finer than the readings' spacing, a few across the smallest floor, within bounds.

    Parameters
    ----------
    bounds : (x_min, y_min, x_max, y_max), mm
    count : int
        Number of readings.
    smallest_mm : float, optional
        Width of the smallest floor.
    fine : bool
        Half the width and more cells: for a smoothing that is set, and may all but interpolate.
    """
    most = 4 * MAX_CELLS if fine else MAX_CELLS
    wanted = cell_of(bounds, max(count, 1)) / (2 * PER_SPACING if fine else PER_SPACING)
    if smallest_mm is not None:
        wanted = min(wanted, smallest_mm / PER_FLOOR)
    return float(np.clip(wanted, cell_of(bounds, most), cell_of(bounds, MIN_CELLS)))


def final_cell(box: Box, u: Array, smallest: float | None, prior: Prior | None, search: Robust) -> float:
    """Cell width of the grid on which the surface is found, mm.

    Parameters
    ----------
    box : (x_min, y_min, x_max, y_max), mm
    u : (n,) ndarray, mm
        Standard uncertainty of each reading.
    smallest : float or None, mm
        Width of the smallest floor.
    prior : Prior or None
        Where it is given and not searched.
    search : Robust
        What the search on coarse cells found.
    """
    plain = _smooth_cell(box, search, cell_of(box, MIN_CELLS) if search.shapes else choose_cell(box, len(u), smallest))
    cell = plain if prior is None else _fine_cell(box, len(u), u, smallest, prior)
    return min(cell, cell_of(box, min(PER_ROUGH * search.parameters, 4 * MAX_CELLS)))


def _smooth_cell(box: Box, search: Robust, least: float) -> float:
    """Cell width where the spline is smooth over a length; the least where the ground is rough or breaks, or has modes.

    What is finer, shapes beside the spline hold.
    """
    best = [model.priors[0][0] for model in search.models]
    has_modes = any(one.modes or one.known for one in best)
    if has_modes or any(model.breaks for model in search.models) or any(one.rough or one.tension for one in best):
        return least
    return float(np.clip(min(prior.smooth_length for prior in best) / SMOOTH_CELLS, least, cell_of(box, FEWEST_CELLS)))


def _fine_cell(box: Box, count: int, u: Array, smallest: float | None, prior: Prior) -> float:
    """Cell width for a smoothing that is set and may all but interpolate: six tenths of the smoother's own length.

    A thin-plate spline with λ averages readings over some ``(λ ū² area / n)^¼`` (the scale at which bending and misfit
    weigh alike).
    """
    area = (box[2] - box[0]) * (box[3] - box[1])
    length = float(np.sqrt(np.sqrt(prior.smoothing * np.mean(u**2) * area / count)))
    least = max(float(np.sqrt(area / count)) / (4 * PER_SPACING), cell_of(box, 10 * MAX_CELLS))
    return min(choose_cell(box, count, smallest, fine=True), max(0.6 * length, least))


def cell_of(box: Box, cells: float) -> float:
    """Width of that many cells over a rectangle, mm.

    Parameters
    ----------
    box : (x_min, y_min, x_max, y_max), mm
    cells : float
        Number of square cells.
    """
    return float(np.sqrt((box[2] - box[0]) * (box[3] - box[1]) / cells))


def keeps_planes(equations: Equations, solution: Solution, box: Box) -> bool:
    """Whether readings on a plane give that plane back, at the corners and in the middle.

    Parameters
    ----------
    equations : Equations
    solution : Solution
        Of them.
    box : (x_min, y_min, x_max, y_max), mm
    """
    (x0, y0, x1, y1), grid = box, equations.grid
    planes = [[1.0, 0.0, 0.0], [-x0 / (x1 - x0), 1 / (x1 - x0), 0.0], [-y0 / (y1 - y0), 0.0, 1 / (y1 - y0)]]
    places = np.array([[x0, y0], [x0, y1], [x1, y0], [x1, y1], [(x0 + x1) / 2, (y0 + y1) / 2]])
    for plane in planes:
        given = plane_coefficients(grid, np.array(plane))
        back = solution.factor.solve(product(equations.normal, given[None])[0])
        if np.abs(grid.at(back - given, places)).max() > PLANES_KEPT:
            return False
    return True

"""Push-off: how far a thin web gives way under the cutting force, and so springs back thicker than cut.

Advice only; nothing here changes an offset. The truth lies between the two supports computed: real pocket walls
turn a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.thin_plate import TriangleMesh, mesh_polygon, plate_system, refine

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["PushOff", "web_pushoff"]

Array = NDArray[np.float64]

#: Triangles across the widest place of the floor: in the search for the softest place, and in the answer.
_COARSE, _FINE = 8, 14

#: A long narrow floor is meshed more coarsely than that, with about so many vertices at most.
_MOST_COARSE, _MOST_FINE = 600, 1500

#: Vertices nearest the softest one, through which a paraboloid is laid.
_NEIGHBOURS = 12


@dataclass(frozen=True)
class PushOff:
    """Deflection of a web under a force at its softest place.

    Parameters
    ----------
    clamped : float, mm
        Edges held against turning: the least that it can be.
    simple : float, mm
        Edges free to turn: the most.
    place : (float, float), mm
        Softest place, edges free to turn.
    """

    clamped: float
    simple: float
    place: tuple[float, float]


def web_pushoff(
    polygon: Polygon, thickness: float, force_n: float, *, e_mpa: float = 71000.0, nu: float = 0.33
) -> PushOff:
    """Elastic deflection of a floor under a force at its softest place.

    Parameters
    ----------
    polygon : Polygon
        The floor, islands as holes, mm; held along every edge.
    thickness : float, mm
        Web, > 0.
    force_n : float, N
        Cutting force along Z, ≥ 0.
    e_mpa : float, MPa
        Young's modulus; 71.0 GPa is 7050 plate (MMPDS-01, table 3.7.4.0(b1)).
    nu : float
        Poisson's ratio.

    Returns
    -------
    PushOff

    Raises
    ------
    ValueError
        If the thickness or the modulus is not above zero, the force is negative, or ``nu`` is not within 0 to 0.5.
    NumericalError
        If the floor cannot be filled with triangles.

    Notes
    -----
    Small deflections: membrane stiffening is left out, so beyond about half the thickness the figure is too large.
    Two meshes, the second with each triangle cut into four, are extrapolated with order 2 (Morley's element).
    """
    _check(thickness, force_n, e_mpa, nu)
    rigidity = e_mpa * thickness**3 / (12 * (1 - nu**2))
    width = 2 * _inscribed_radius(polygon)
    coarse = max(width / _COARSE, (polygon.area / _MOST_COARSE) ** 0.5)
    fine = max(width / _FINE, (polygon.area / _MOST_FINE) ** 0.5)
    answers = {}
    for is_clamped in (True, False):
        place = _softest(mesh_polygon(polygon, coarse), nu, is_clamped)
        answers[is_clamped] = (_compliance(polygon, fine, place, nu, is_clamped), place)
    scale = force_n / rigidity
    return PushOff(clamped=scale * answers[True][0], simple=scale * answers[False][0], place=answers[False][1])


def _check(thickness: float, force_n: float, e_mpa: float, nu: float) -> None:
    if not thickness > 0:
        raise ValueError(f"thickness is {thickness} mm: give a web above zero.")
    if not force_n >= 0:
        raise ValueError(f"force_n is {force_n} N: give a force of zero or more.")
    if not e_mpa > 0:
        raise ValueError(f"e_mpa is {e_mpa} MPa: give a modulus above zero.")
    if not 0 <= nu <= 0.5:
        raise ValueError(f"nu is {nu}: give a Poisson's ratio from 0 to 0.5.")


def _inscribed_radius(polygon: Polygon) -> float:
    """Radius of about the largest circle that fits into the floor, mm."""
    from shapely import maximum_inscribed_circle

    return float(maximum_inscribed_circle(polygon, tolerance=0.01 * polygon.area**0.5).length)


def _softest(mesh: TriangleMesh, nu: float, is_clamped: bool) -> tuple[float, float]:
    """Place where a unit force sinks deepest under itself: the greatest diagonal entry of the inverse."""
    from scipy.sparse.linalg import splu

    matrix, rows = plate_system(mesh, nu, is_clamped=is_clamped)
    inner = np.nonzero(rows >= 0)[0]
    factor = splu(matrix)
    depth = np.empty(len(inner))
    for start in range(0, len(inner), 256):
        part = rows[inner[start : start + 256]]
        loads = np.zeros((matrix.shape[0], len(part)))
        loads[part, np.arange(len(part))] = 1.0
        depth[start : start + 256] = factor.solve(loads)[part, np.arange(len(part))]
    return _summit(mesh.points[inner], depth)


def _summit(points: Array, depth: Array) -> tuple[float, float]:
    """Top of the paraboloid through the deepest vertex and its neighbours; the vertex itself if there is none."""
    best = points[int(np.argmax(depth))]
    apart = np.linalg.norm(points - best, axis=1)
    near = np.argsort(apart, kind="stable")[: _NEIGHBOURS + 1]
    reach = apart[near].max()
    if len(near) < 7 or reach == 0:
        return (float(best[0]), float(best[1]))
    x, y = (points[near] - best).T / reach
    fit = np.linalg.lstsq(np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y]), depth[near], rcond=None)[0]
    hessian = np.array([[2 * fit[3], fit[4]], [fit[4], 2 * fit[5]]])
    if np.linalg.eigvalsh(hessian).max() >= 0:
        return (float(best[0]), float(best[1]))
    step = np.linalg.solve(hessian, -fit[1:3])
    step *= min(1.0, 0.5 / max(float(np.linalg.norm(step)), 1e-12))
    return (float(best[0] + reach * step[0]), float(best[1] + reach * step[1]))


def _compliance(polygon: Polygon, size: float, place: tuple[float, float], nu: float, is_clamped: bool) -> float:
    """Deflection under a unit force for D = 1, mm per N over N·mm, extrapolated from two meshes."""
    coarse = mesh_polygon(polygon, size, place)
    number = int(np.argmin(np.linalg.norm(coarse.points - place, axis=1)))
    first = _under_force(coarse, number, nu, is_clamped)
    second = _under_force(refine(coarse), number, nu, is_clamped)
    return second + (second - first) / 3


def _under_force(mesh: TriangleMesh, number: int, nu: float, is_clamped: bool) -> float:
    from scipy.sparse.linalg import splu

    matrix, rows = plate_system(mesh, nu, is_clamped=is_clamped)
    load = np.zeros(matrix.shape[0])
    load[rows[number]] = 1.0
    return float(splu(matrix).solve(load)[rows[number]])

"""What a job predicted of its finished webs, read back from its record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.cutter_left import CutterLeft
from floorfit.decision.decision import bilinear
from floorfit.errors import Finding, InputError
from floorfit.part.model import Part
from floorfit.part.part_file import part_from_document
from floorfit.record import Record, SurfaceRecord
from floorfit.surface.axis import Axis
from floorfit.surface.grid import Grid
from floorfit.surface.local_shapes import LocalShapes, ShapeTable
from floorfit.surface.spline import Surface
from floorfit.web import Webs

__all__ = ["Prediction", "filled", "part_of", "webs_of"]

#: Standard uncertainty of a warp whose record has no map, mm: the machine's and the gauge's together (common
#: practice, no source).
UNKNOWN_U_MM = 0.010

_MISFIT = Finding(
    "bad-record", "record.json", "surface", "knots and coefficients do not fit each other. Run `correct` again."
)


def part_of(record: Record) -> Part:
    """Return the part that a record was made for.

    Raises
    ------
    InputError
        If the record's part does not hold together.
    """
    return part_from_document(record.part, "record.json")


def webs_of(record: Record) -> Webs | None:
    """Return the webs of a record: the same splines, from their knots and coefficients; None without a surface.

    Raises
    ------
    InputError
        If knots and coefficients do not fit each other.
    """
    found = record.surface
    if found is None:
        return None
    axes = [_axis(found.knots_x_mm), _axis(found.knots_y_mm)]
    shapes = _shapes(found)
    warp = _surface(axes, found.coefficients_mm, shapes, [dish.warp_mm for dish in found.dishes])
    left = found.available_mm
    available = None if left is None else _surface(axes, left, shapes, [dish.available_mm for dish in found.dishes])
    is_z_measured = any(z is not None for z in record.readings.z_mm)
    bias = float(record.settings.get("bias", 0.0))
    # Records of 0.1 do not hold what roughing left where its Z was measured.
    return Webs(warp, available, bias, is_left_known=available is not None or not is_z_measured)


def _axis(knots: list[float]) -> Axis:
    if len(knots) < 8:
        raise InputError([_MISFIT])
    return Axis(np.array(knots[3:-3]))


def _shapes(found: SurfaceRecord) -> LocalShapes | None:
    if not found.dishes:
        return None
    if any(not 0 <= dish.form < len(found.dish_forms) for dish in found.dishes):
        raise InputError([_MISFIT])
    tables = [ShapeTable(dish.low_mm, dish.high_mm, np.array(found.dish_forms[dish.form])) for dish in found.dishes]
    return LocalShapes(tuple(dish.web for dish in found.dishes), tuple(tables), np.ones(len(tables)))


def _surface(
    axes: list[Axis], coefficients: list[list[float]], shapes: LocalShapes | None, amounts: list[float]
) -> Surface:
    shape = tuple(len(axis.knots) - 4 for axis in axes)
    if len(coefficients) != shape[0] or {len(row) for row in coefficients} != {shape[1]}:
        raise InputError([_MISFIT])
    return Surface(Grid(axes[0], axes[1], False), np.array(coefficients), shapes, np.array(amounts))


@dataclass(frozen=True)
class Prediction:
    """Deviation of the finished web from its local nominal, as a job predicted it.

    Parameters
    ----------
    record : Record
    part : Part
    webs : Webs or None
        What the webs hang on; None where the job had no surface.
    left : tuple of CutterLeft
        What the cutters leave of each floor; empty where that is not known.
    """

    record: Record
    part: Part
    webs: Webs | None
    left: tuple[CutterLeft | None, ...] = ()

    @classmethod
    def of(cls, record: Record) -> Prediction:
        """Read part and webs back from a record."""
        return cls(record, part_of(record), webs_of(record))

    @property
    def bias(self) -> float:
        """Common bias that the job had taken off its offsets, mm."""
        return float(self.record.settings.get("bias", 0.0))

    def of_cutter(self, index: int) -> CutterLeft:
        """What the cutters leave of a floor beside what was decided."""
        return (self.left[index] if self.left else None) or CutterLeft()

    def is_held(self, index: int) -> bool:
        """Whether the job gave this floor no offset."""
        return self.record.decisions[index].action == "hold"

    def deviation(self, index: int, x: ArrayLike, y: ArrayLike) -> Array:
        """Predicted deviation on a floor, mm; for a held floor, of one cut at its nominal Z.

        Parameters
        ----------
        index : int
            Of the floor.
        x, y : (n,) array_like, mm
            Places on it.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        offset = self.record.decisions[index].correction.at(xs, ys) + self.of_cutter(index).off
        return offset if self.webs is None else self.webs.after(self.part.pockets[index], offset, xs, ys)

    def deviation_u(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Standard uncertainty of the predicted warp, mm, from the record's map.

        Parameters
        ----------
        x, y : (n,) array_like, mm
            Places.
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.record.map is None:
            return np.full(xs.shape, UNKNOWN_U_MM)
        nodes = self.record.map
        return bilinear(nodes.x_mm, nodes.y_mm, filled(nodes.warp_u_mm).T, xs, ys)

    def shared_u(self, floors: ArrayLike) -> float:
        """Standard uncertainty that the predictions on some floors share, mm.

        A smoothing surface returns a constant as it is, so that its mean over the readings errs by their weighted mean
        error: √(φ / Σ 1/u²), over the readings that the job used on these floors. Finished pockets cannot show it.
        """
        record = self.record
        if record.surface is None:
            return 0.0
        names = {self.part.pockets[int(k)].id for k in np.atleast_1d(np.asarray(floors))}
        kept = zip(record.readings.u_mm, record.readings.used, record.readings.floor, strict=True)
        weight = sum(1 / u**2 for u, used, floor in kept if used and u and floor in names)
        return float(np.sqrt(record.surface.dispersion / weight)) if weight else UNKNOWN_U_MM


def filled(layer: Array) -> Array:
    """Uncertainties on nodes, those outside the outline as great as the greatest.

    Parameters
    ----------
    layer : (k, l) ndarray, mm
    """
    typical = float(np.nanmax(layer)) if np.isfinite(layer).any() else UNKNOWN_U_MM
    return np.where(np.isfinite(layer), layer, typical)

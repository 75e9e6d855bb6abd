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

__all__ = ["Prediction", "filled", "surfaces_of", "webs_of"]

#: Standard uncertainty of a warp whose record has no map, mm: the machine's and the gauge's together (common
#: practice, no source).
UNKNOWN_U_MM = 0.010

_MISFIT = Finding(
    "bad-record", "record.json", "surface", "knots and coefficients do not fit each other. Run `correct` again."
)


def webs_of(record: Record) -> Webs | None:
    """Return the webs of a record: the same splines, from their knots and coefficients; None without a surface.

    Raises
    ------
    InputError
        If knots and coefficients do not fit each other.
    """
    if record.surface is None:
        return None
    warp, *left = surfaces_of(record.surface)
    is_z_measured = any(z is not None for z in record.readings.z_mm)
    bias = float(record.settings.get("bias", 0.0))
    # Records of 0.1 do not hold what roughing left where its Z was measured.
    return Webs(warp, left[0] if left else None, bias, is_left_known=bool(left) or not is_z_measured)


def surfaces_of(found: SurfaceRecord) -> list[Surface]:
    """Return the warp, and what roughing left of the webs where that is kept, from knots and coefficients.

    Raises
    ------
    InputError
        If these do not fit each other.
    """
    tables = [found.coefficients_mm] + ([] if found.available_mm is None else [found.available_mm])
    amounts = [[dish.warp_mm for dish in found.dishes], [dish.available_mm for dish in found.dishes]]
    _check(found, tables)
    along, across = (Axis(np.array(knots[3:-3])) for knots in (found.knots_x_mm, found.knots_y_mm))
    grid, shapes = Grid(along, across, False), None
    if found.dishes:
        forms = [ShapeTable(dish.low_mm, dish.high_mm, np.array(found.dish_forms[dish.form])) for dish in found.dishes]
        shapes = LocalShapes(tuple(dish.web for dish in found.dishes), tuple(forms), np.ones(len(forms)))
    return [Surface(grid, np.array(a), shapes, np.array(b)) for a, b in zip(tables, amounts, strict=False)]


def _check(found: SurfaceRecord, tables: list[list[list[float]]]) -> None:
    rows, columns = len(found.knots_x_mm) - 4, len(found.knots_y_mm) - 4
    fit = [len(one) == rows and {len(row) for row in one} == {columns} for one in tables]
    fit += [0 <= dish.form < len(found.dish_forms) for dish in found.dishes]
    if min(rows, columns) < 4 or not all(fit):
        raise InputError([_MISFIT])


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
        """Read part and webs back from a record.

        Raises
        ------
        InputError
            If they do not hold together.
        """
        return cls(record, part_from_document(record.part, "record.json"), webs_of(record))

    @property
    def bias(self) -> float:
        """Common bias that the job had taken off its offsets, mm."""
        return float(self.record.settings.get("bias", 0.0))

    @property
    def level(self) -> float:
        """Probability that makes a floor conform."""
        return float(self.record.settings.get("level", 0.95))

    @property
    def seed(self) -> int:
        """Of the random draws."""
        return int(self.record.settings.get("seed", 1))

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

"""What a job predicted of its finished webs, read back from its record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.errors import Finding, InputError
from floorfit.part.model import Part
from floorfit.part.part_file import part_from_document
from floorfit.record import MapRecord, Record, SurfaceRecord
from floorfit.surface.axis import Axis
from floorfit.surface.grid import Grid
from floorfit.surface.spline import Surface

__all__ = ["Prediction", "part_of", "surface_of"]

Array = NDArray[np.float64]

#: Standard uncertainty of a warp whose record has no map, mm: the machine's and the gauge's together (common
#: practice, no source).
UNKNOWN_U_MM = 0.010


def part_of(record: Record) -> Part:
    """Return the part that a record was made for.

    Raises
    ------
    InputError
        If the record's part does not hold together.
    """
    return part_from_document(record.part, "record.json")


def surface_of(record: SurfaceRecord) -> Surface:
    """Return the fitted warp of a record: the same spline, from its knots and coefficients.

    Raises
    ------
    InputError
        If knots and coefficients do not fit each other.
    """
    counts = [len(knots) - 4 for knots in (record.knots_x_mm, record.knots_y_mm)]
    rows = {len(row) for row in record.coefficients_mm}
    if min(counts) < 4 or len(record.coefficients_mm) != counts[0] or rows != {counts[1]}:
        text = "knots and coefficients do not fit each other. Run `correct` again."
        raise InputError([Finding("bad-record", "record.json", "surface", text)])
    axes = [Axis(np.array(knots[3:-3])) for knots in (record.knots_x_mm, record.knots_y_mm)]
    return Surface(Grid(axes[0], axes[1], False), np.array(record.coefficients_mm))


@dataclass(frozen=True)
class Prediction:
    """Deviation of the finished web from its local nominal, as a job predicted it.

    ``dz(x, y) − w(x, y) + bias``, and never more than roughing left where the roughed floor lay as programmed.

    Parameters
    ----------
    record : Record
    part : Part
    surface : Surface or None
        The warp; None where the job had none.
    """

    record: Record
    part: Part
    surface: Surface | None

    @classmethod
    def of(cls, record: Record) -> Prediction:
        """Read part and surface back from a record."""
        surface = None if record.surface is None else surface_of(record.surface)
        return cls(record, part_of(record), surface)

    @property
    def bias(self) -> float:
        """Common bias that the job had taken off its offsets, mm."""
        return float(self.record.settings.get("bias", 0.0))

    def is_held(self, index: int) -> bool:
        """Whether the job gave this floor no offset."""
        return self.record.decisions[index].action == "hold"

    def deviation(self, index: int, x: ArrayLike, y: ArrayLike) -> Array:
        """Predicted deviation on a floor, mm; for a held floor, of one cut at its nominal Z."""
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        warp = np.zeros(xs.shape) if self.surface is None else self.surface.at(xs, ys)
        offset = self.record.decisions[index].correction().at(xs, ys) + self.bias
        if not self._is_z_measured and not self.is_held(index):
            offset = np.minimum(offset, self.part.pockets[index].finish_stock)
        return np.asarray(offset - warp)

    def deviation_u(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Standard uncertainty of the predicted warp, mm, from the record's map."""
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.record.map is None:
            return np.full(xs.shape, UNKNOWN_U_MM)
        return _bilinear(self.record.map, xs, ys)

    @property
    def _is_z_measured(self) -> bool:
        return any(z is not None for z in self.record.readings.z_mm)


def _bilinear(grid: MapRecord, x: Array, y: Array) -> Array:
    """Interpolate the uncertainty layer; nodes outside the outline take their row's nearest value."""
    nodes_x, nodes_y = np.array(grid.x_mm), np.array(grid.y_mm)
    layer = _filled(np.array(grid.warp_u_mm, dtype=float))
    i = np.clip(np.searchsorted(nodes_x, x, side="right") - 1, 0, len(nodes_x) - 2)
    j = np.clip(np.searchsorted(nodes_y, y, side="right") - 1, 0, len(nodes_y) - 2)
    s = np.clip((x - nodes_x[i]) / (nodes_x[i + 1] - nodes_x[i]), 0.0, 1.0)
    t = np.clip((y - nodes_y[j]) / (nodes_y[j + 1] - nodes_y[j]), 0.0, 1.0)
    low = (1 - s) * layer[j, i] + s * layer[j, i + 1]
    high = (1 - s) * layer[j + 1, i] + s * layer[j + 1, i + 1]
    return np.asarray((1 - t) * low + t * high)


def _filled(layer: Array) -> Array:
    typical = float(np.nanmax(layer)) if np.isfinite(layer).any() else UNKNOWN_U_MM
    return np.where(np.isfinite(layer), layer, typical)

"""After the fit: a name for each reading that the surface does not believe, and drift over the sequence."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.kinds import reason_of
from floorfit.readings.observations import Readings
from floorfit.readings.ratios import name_thickness
from floorfit.readings.sites import UNLABELLED, find_places
from floorfit.readings.warp import nominal_levels, slope_factors, warp_values
from floorfit.units import MAD_TO_SD

__all__ = ["Drift", "drift", "name_outliers", "sequence"]

Array = NDArray[np.float64]

#: A reading this near to a wall may stand on the fillet between wall and floor: probe foot and tool radius.
FILLET_REACH_MM = 6.0
#: A slope is significant beyond this many of its standard uncertainties.
SIGNIFICANT = 3.5


@dataclass(frozen=True)
class Drift:
    """Residual against order or time, a straight line.

    Parameters
    ----------
    slope, u_slope : float, mm per step
        Least-squares slope and its standard uncertainty; NaN for fewer than 8 readings or one time only.
    change : float, mm
        Slope times the length of the sequence.
    is_significant : bool
        Whether the slope exceeds `SIGNIFICANT` standard uncertainties.
    by : str
        ``"order"``, or the name of the column used.
    text : str
        One sentence for a person; ``""`` where not significant.
    """

    slope: float
    u_slope: float
    change: float
    is_significant: bool
    by: str
    text: str


def name_outliers(
    part: Part,
    readings: Readings,
    rows: Sequence[int] | NDArray[np.intp],
    expected_w: ArrayLike,
    warp_at: Callable[[Array, Array], Array],
    scale_mm: float,
    *,
    thickness: ArrayLike | None = None,
) -> list[tuple[str, str]]:
    """Name readings that the robust fit set aside.

    Parameters
    ----------
    part, readings
        The nominal part and the readings.
    rows : sequence of int
        Rows to name; each lies on a floor.
    expected_w : (k,) array_like, mm
        Warp at each of these rows by the fit without it (leave-one-out).
    warp_at : callable
        The fitted warp at places (x, y), mm: tells whether X and Y exchanged would explain a reading.
    scale_mm : float, mm
        Standard deviation of good readings about the fit.
    thickness : (n,) array_like, mm, optional
        In place of ``readings.thickness``.

    Returns
    -------
    list of (str, str)
        Code and reason for each row; ``outlier`` where nothing better fits.
    """
    index = np.asarray(rows, np.intp)
    if len(index) == 0:
        return []
    read = np.asarray(readings.thickness if thickness is None else thickness, float)
    places = find_places(part, readings)
    warp = warp_values(part, readings, places.floor, thickness=read)
    factor = slope_factors(part, places.floor, readings.x, readings.y)[index]
    right = read[index] + (warp.w[index] - np.asarray(expected_w, float)) / factor
    scale = max(float(scale_mm), 1e-3)
    names = name_thickness(read[index], right, scale)
    swapped = _swapped(part, readings, index, warp_at, scale, read)
    for k, row in enumerate(index):
        if names[k][0] in ("", "beyond-web") and places.label[row] == UNLABELLED and swapped[k] >= 0:
            other = f"pocket {part.pockets[swapped[k]].id}"
            x, y = float(readings.x[row]), float(readings.y[row])
            names[k] = ("swapped", reason_of("swapped", x=x, y=y, other=other))
        elif not names[k][0] and places.wall[row] < FILLET_REACH_MM and read[row] > right[k]:
            names[k] = ("on-fillet", reason_of("on-fillet"))
        elif not names[k][0]:
            text = reason_of("outlier", thickness=float(read[row]), expected=float(right[k]))
            names[k] = ("outlier", text)
    return names


def _swapped(
    part: Part,
    readings: Readings,
    rows: NDArray[np.intp],
    warp_at: Callable[[Array, Array], Array],
    scale: float,
    read: Array,
) -> NDArray[np.intp]:
    """Floor on which X and Y exchanged would explain each row's thickness; −1 where they would not."""
    x, y = readings.y[rows], readings.x[rows]
    floor = np.asarray(assign_floors(part, x, y), np.intp)
    rough, underside = nominal_levels(part, x, y, floor)
    z = np.where(np.isfinite(readings.z[rows]), readings.z[rows], rough)
    w = z - read[rows] * slope_factors(part, floor, x, y) - underside
    is_near = np.zeros(len(rows), bool)
    known = np.flatnonzero(floor >= 0)
    is_near[known] = np.abs(w[known] - warp_at(x[known], y[known])) <= 3.0 * scale
    return np.where(is_near, floor, -1)


def sequence(readings: Readings) -> tuple[Array, str]:
    """When each reading was taken: a column called order, sequence, time or like it, else the row's number.

    Returns
    -------
    (n,) ndarray, str
        The values and the name of the column, ``"order"`` for the rows' own.
    """
    for name, cells in readings.extra.items():
        if name.strip().lower() in ("order", "seq", "sequence", "time", "time_s", "t_s", "time_min"):
            try:
                values = np.array([float(cell) for cell in cells])
            except ValueError:
                continue
            if np.isfinite(values).all():
                return values, name.strip()
    return np.arange(len(readings), dtype=float), "order"


def drift(when: ArrayLike, residuals: ArrayLike, u: ArrayLike, *, by: str = "order") -> Drift:
    """Test whether residuals run away over the sequence.

    Parameters
    ----------
    when : (n,) array_like
        Order or time of each used reading.
    residuals : (n,) array_like, mm
        Warp minus fitted warp, leave-one-out where there is a choice.
    u : (n,) array_like, mm
        Standard uncertainty of each; enlarged where the residuals scatter more.
    by : str
        Name of the column ``when`` came from, for the text.

    Returns
    -------
    Drift
        Weighted straight line; the standard uncertainty of the slope by the residuals' own scatter where that is
        larger than stated. The fit of the surface takes up part of a drift, so a slope found is a lower bound.
    """
    t, r, s = (np.asarray(a, float) for a in (when, residuals, u))
    if len(t) < 8 or np.ptp(t) == 0:
        return Drift(float("nan"), float("nan"), float("nan"), False, by, "")
    weight = 1.0 / s**2
    middle = np.average(t, weights=weight)
    moment = float((weight * (t - middle) ** 2).sum())
    slope = float((weight * (t - middle) * r).sum() / moment)
    left = r - np.average(r, weights=weight) - slope * (t - middle)
    inflation = max(1.0, MAD_TO_SD * float(np.median(np.abs(left / s))))
    u_slope = inflation / np.sqrt(moment)
    change = slope * float(np.ptp(t))
    is_significant = bool(abs(slope) > SIGNIFICANT * u_slope)
    return Drift(slope, float(u_slope), change, is_significant, by, _drift_text(change, by) if is_significant else "")


def _drift_text(change: float, by: str) -> str:
    # A drift of the thickness shows in the warp with the other sign: w = z - t - underside.
    way = "thinner" if change > 0 else "thicker"
    return (
        f"the readings drift over the {by}: the gauge read {abs(change):.3f} mm {way} at the end than at the start. "
        "Check the gauge on a block before and after, and read again if it moved."
    )

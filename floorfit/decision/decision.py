"""What was decided for each floor: frozen, in millimetres, and all that later rooms may rely on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Action", "Correction", "Decision", "FollowGrid", "Verdict"]

Action = Literal["shift", "tilt", "follow", "hold"]
Verdict = Literal["conform", "undecided", "nonconform"]


@dataclass(frozen=True)
class FollowGrid:
    """Offsets on a rectangular grid that covers a floor's bounding box.

    Bilinear interpolation between the nodes is within 2 µm of the surface (contract).

    Parameters
    ----------
    x : (k,) ndarray, mm
        Node positions, increasing.
    y : (l,) ndarray, mm
        Node positions, increasing.
    offset : (k, l) ndarray, mm
        Offset dz at (x[i], y[j]).
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    offset: NDArray[np.float64]

    def at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Offset by bilinear interpolation, mm; outside the grid the edge value is continued."""
        i, s = _cell(self.x, np.asarray(x, float))
        j, t = _cell(self.y, np.asarray(y, float))
        low = (1 - s) * self.offset[i, j] + s * self.offset[i + 1, j]
        high = (1 - s) * self.offset[i, j + 1] + s * self.offset[i + 1, j + 1]
        return np.asarray((1 - t) * low + t * high)


@dataclass(frozen=True)
class Correction:
    """The offset field of one floor: what is added to its programmed Z.

    Parameters
    ----------
    action : {"shift", "tilt", "follow", "hold"}
        What kind of field it is; ``hold`` means do not cut, and the field is zero.
    centroid : (float, float)
        Centroid of the pocket's boundary, mm: the place that ``offset`` refers to.
    offset : float
        dz there, mm; positive raises the floor (cuts less). NaN where held.
    slope : (float, float)
        Added dZ/dX and dZ/dY; (0, 0) unless ``tilt``.
    grid : FollowGrid or None
        The offsets point by point, for ``follow`` only.
    """

    action: Action
    centroid: tuple[float, float]
    offset: float
    slope: tuple[float, float] = (0.0, 0.0)
    grid: FollowGrid | None = None

    def at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Offset dz at plan positions, mm; zero everywhere for a held floor."""
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.action == "hold":
            return np.zeros(xs.shape)
        if self.grid is not None:
            return self.grid.at(xs, ys)
        plane = self.offset + self.slope[0] * (xs - self.centroid[0]) + self.slope[1] * (ys - self.centroid[1])
        return np.asarray(plane)


@dataclass(frozen=True)
class Decision:
    """One row of ``offsets.csv`` and what stands behind it; lengths in mm.

    Parameters
    ----------
    pocket : str
        Id of the floor.
    correction : Correction
        Action and offset field.
    offset_u : float
        Expanded uncertainty of the offset, k = 2; NaN where there is no surface to say.
    web_before_min, web_before_max : float
        Web over the whole floor if finished at the nominal floor Z. On a sloped floor: nominal web at the
        centroid plus the local deviation. NaN where unknown.
    web_after_min, web_after_max : float
        The same with the offset field applied; where held: as roughed... left as if cut nowhere (NaN).
    web_lower_limit, web_upper_limit : float
        Limits of the web at the centroid; -inf or +inf where the drawing sets none.
    conformance_probability : float
        Probability that the web lies within its limits over the *whole* floor (JCGM 106); NaN where held blind.
    verdict : {"conform", "undecided", "nonconform"}
        By the set level.
    reason : str
        Empty, or ``"code: words"`` with a code of the contract.
    margin : float
        Least distance of the web to a limit over the floor, best estimate; negative outside; NaN unknown.
    thin_probability, thick_probability : float
        Probabilities that some place is under the lower, or over the upper limit.
    readings_used : int
        Readings of this floor that the fit used.
    budget : mapping of str to float
        Standard uncertainty of the offset by cause, mm (JCGM 100): keys such as ``"repeatability"``.
    suggestion : (float, float) or None
        Where one more reading would help most, mm; None where none would.
    notes : tuple of str
        Further facts a person should see, in words.
    web_after_interval : (float, float)
        95 % interval for the least and the greatest web after correction: lower end of the least, upper end of
        the greatest, mm.
    inside : (samples,) ndarray of bool or None
        Whether the whole floor lies within its limits in each joint sample; the same samples for every floor.
    """

    pocket: str
    correction: Correction
    offset_u: float
    web_before_min: float
    web_before_max: float
    web_after_min: float
    web_after_max: float
    web_lower_limit: float
    web_upper_limit: float
    conformance_probability: float
    verdict: Verdict
    reason: str
    margin: float
    thin_probability: float = float("nan")
    thick_probability: float = float("nan")
    readings_used: int = 0
    budget: Mapping[str, float] = field(default_factory=dict)
    suggestion: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()
    web_after_interval: tuple[float, float] = (float("nan"), float("nan"))
    inside: NDArray[np.bool_] | None = field(default=None, compare=False, repr=False)

    @property
    def action(self) -> Action:
        """Shorthand for ``correction.action``."""
        return self.correction.action


def _cell(nodes: NDArray[np.float64], values: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    index = np.clip(np.searchsorted(nodes, values, side="right") - 1, 0, len(nodes) - 2)
    share = (values - nodes[index]) / (nodes[index + 1] - nodes[index])
    return index, np.clip(share, 0.0, 1.0)

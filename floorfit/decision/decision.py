"""What was decided for each floor: frozen, in millimetres; the same in memory and in the record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, Rows
from floorfit.decision.written_form import WRITTEN, JsonArray, Number, WrittenForm

__all__ = [
    "Action",
    "Correction",
    "Decision",
    "FollowGrid",
    "Number",
    "Reason",
    "Verdict",
    "bilinear",
    "known",
    "verdict_of",
]

Action = Literal["shift", "tilt", "follow", "hold"]
Verdict = Literal["conform", "undecided", "nonconform"]


def known(value: float) -> Number:
    """Return a number as a float, None where it is NaN or infinite."""
    return float(value) if np.isfinite(value) else None


def verdict_of(probability: float, level: float) -> Verdict:
    """``conform`` from the level up, ``nonconform`` from its mirror image down, ``undecided`` between (JCGM 106).

    Parameters
    ----------
    probability : float
        That the whole floor conforms.
    level : float
        Between 0.5 and 1.

    Examples
    --------
    >>> verdict_of(0.97, 0.95), verdict_of(0.5, 0.95), verdict_of(0.02, 0.95)
    ('conform', 'undecided', 'nonconform')
    """
    if probability >= level:
        return "conform"
    # A level is written in decimals: 1 − 0.9 is 0.09999999999999998 in binary, and one in ten is no less.
    return "nonconform" if probability <= round(1 - level, 12) else "undecided"


@dataclass(frozen=True)
class Reason:
    """Why a floor is held, or not sure to conform.

    Parameters
    ----------
    code : str
        A code of the contract; ``""`` where there is no reason, and the object is then false.
    words : str
        What is the matter, and what would free the floor.
    """

    code: str = ""
    words: str = ""

    def __bool__(self) -> bool:
        """Return whether there is a reason."""
        return bool(self.code)

    def __str__(self) -> str:
        """Return ``"code: words"``, as it is written."""
        return f"{self.code}: {self.words}" if self.code else ""


def _read_reason(text: Any) -> Any:
    if not isinstance(text, str):
        return text
    code, _, words = text.partition(": ")
    return Reason(code, words)


WrittenReason = Annotated[Reason, WrittenForm(_read_reason, str, "string")]


@dataclass(frozen=True)
class FollowGrid:
    """Offsets on a rectangular grid that covers a floor's bounding box.

    Bilinear interpolation between the nodes is within 2 µm of the surface (contract).

    Parameters
    ----------
    x_mm : (k,) ndarray
        Node positions, increasing.
    y_mm : (l,) ndarray
        Node positions, increasing.
    offset_mm : (k, l) ndarray
        Offset dz at (x[i], y[j]).
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = WRITTEN

    x_mm: JsonArray
    y_mm: JsonArray
    offset_mm: JsonArray

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Offset by bilinear interpolation, mm; outside the grid the edge value is continued.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions, alike in shape.
        """
        return bilinear(self.x_mm, self.y_mm, self.offset_mm, x, y)


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

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Offset dz at plan positions, mm; zero everywhere for a held floor.

        Parameters
        ----------
        x, y : (...) array_like, mm
            Plan positions, alike in shape.

        Examples
        --------
        An offset of 0.080 at the centroid (100, 50), rising 0.001 mm a millimetre along X:

        >>> tilt = Correction("tilt", (100.0, 50.0), 0.080, (0.001, 0.0))
        >>> [round(float(dz), 3) for dz in tilt.at([100.0, 120.0], [50.0, 10.0])]
        [0.08, 0.1]
        """
        xs, ys = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.action == "hold":
            return np.zeros(xs.shape)
        if self.grid is not None:
            return self.grid.at(xs, ys)
        plane = self.offset + self.slope[0] * (xs - self.centroid[0]) + self.slope[1] * (ys - self.centroid[1])
        return np.asarray(plane)


@dataclass(frozen=True)
class Decision:
    """One row of ``offsets.csv`` and what stands behind it, in millimetres; None where a number is not known.

    Parameters
    ----------
    pocket : str
        Id of the floor.
    action : {"shift", "tilt", "follow", "hold"}
    centroid_mm : (float, float)
        Of the pocket's boundary: the place that the offset refers to.
    offset_mm : float or None
        dz there; None where held.
    slope_x, slope_y : float
        Added dZ/dX and dZ/dY; 0 unless ``tilt``.
    offset_u_mm : float or None
        Expanded uncertainty of the offset, k = 2.
    web_before_min_mm, web_before_max_mm : float or None
        Web over the whole floor if finished at the nominal floor Z. On a sloped floor: nominal web at the
        centroid plus the local deviation.
    web_after_min_mm, web_after_max_mm : float or None
        The same with the offset field applied; None where held.
    web_after_interval_mm : (float or None, float or None)
        95 % interval: lower end of the least, upper end of the greatest web after correction.
    web_lower_limit_mm, web_upper_limit_mm : float or None
        Limits of the web at the centroid; None where the drawing sets none.
    conformance_probability : float or None
        Probability that the web lies within its limits over the *whole* floor (JCGM 106).
    thin_probability, thick_probability : float or None
        Probabilities that some place is under the lower, or over the upper limit.
    verdict : {"conform", "undecided", "nonconform"}
        By the set level.
    reason : Reason
        Code and words; empty where there is nothing to say.
    margin_mm : float or None
        Least distance of the web to a limit over the floor, best estimate; negative outside.
    readings_used : int
        Readings of this floor that the fit used.
    budget_mm : mapping of str to float
        Standard uncertainty of the offset by cause (JCGM 100): keys such as ``"repeatability"``.
    suggestion_mm : (float, float) or None
        Where one more reading would help most; None where none would.
    notes : sequence of str
        Further facts a person should see, in words.
    follow : FollowGrid or None
        The offsets point by point, for ``follow`` only.
    inside : (samples,) ndarray of bool or None
        Whether the whole floor lies within its limits in each joint sample; the same samples for every floor. In
        memory only: the record keeps the probability.

    """

    __pydantic_config__: ClassVar[dict[str, Any]] = WRITTEN

    pocket: str
    action: Action
    centroid_mm: tuple[float, float]
    offset_mm: Number
    slope_x: float
    slope_y: float
    offset_u_mm: Number
    web_before_min_mm: Number
    web_before_max_mm: Number
    web_after_min_mm: Number
    web_after_max_mm: Number
    web_after_interval_mm: tuple[Number, Number]
    web_lower_limit_mm: Number
    web_upper_limit_mm: Number
    conformance_probability: Number
    thin_probability: Number
    thick_probability: Number
    verdict: Verdict
    reason: WrittenReason
    margin_mm: Number
    readings_used: int = 0
    budget_mm: Mapping[str, float] = field(default_factory=dict)
    suggestion_mm: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()
    follow: FollowGrid | None = None
    inside: Any = field(
        default=None,
        compare=False,
        repr=False,
        metadata={"exclude": True, "json_schema_extra": {"type": "null"}},  # pydantic's words, for the record
    )

    @property
    def correction(self) -> Correction:
        """The offset field of this floor."""
        offset = float("nan") if self.offset_mm is None else self.offset_mm
        return Correction(self.action, self.centroid_mm, offset, (self.slope_x, self.slope_y), self.follow)

    @property
    def is_sure(self) -> bool:
        """Whether the floor is cut, and predicted to conform at the set level."""
        return self.action != "hold" and self.verdict == "conform"


def bilinear(x_nodes: Array, y_nodes: Array, table: Array, x: ArrayLike, y: ArrayLike) -> Array:
    """Interpolate a table (k, m) over its nodes along X and Y; beyond them its edge goes on.

    Parameters
    ----------
    x_nodes, y_nodes : (k,), (m,) ndarray, mm
        Two at least each way.
    table : (k, m) ndarray
    x, y : (...) array_like, mm
        Places, alike in shape.
    """
    i, s = _cell(x_nodes, np.asarray(x, float))
    j, t = _cell(y_nodes, np.asarray(y, float))
    low = (1 - s) * table[i, j] + s * table[i + 1, j]
    high = (1 - s) * table[i, j + 1] + s * table[i + 1, j + 1]
    return np.asarray((1 - t) * low + t * high)


def _cell(nodes: Array, values: Array) -> tuple[Rows, Array]:
    index = np.clip(np.searchsorted(nodes, values, side="right") - 1, 0, len(nodes) - 2)
    share = (values - nodes[index]) / (nodes[index + 1] - nodes[index])
    return index, np.clip(share, 0.0, 1.0)

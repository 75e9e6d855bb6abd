"""What goes into a run and what comes out of it: frozen, in millimetres."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from floorfit.decision.settings import DecisionSettings
from floorfit.errors import ABOVE_ZERO, FINITE, NOT_NEGATIVE, Finding, InputError, Range, check_ranges
from floorfit.part.model import Part
from floorfit.readings.observations import Readings

if TYPE_CHECKING:
    from floorfit.decision import Decision
    from floorfit.decision.neighbours import NeighbourStep
    from floorfit.decision.web_map import WebMap
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.surface import Fit
    from floorfit.web import Webs

__all__ = ["Result", "Settings", "Used"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Settings:
    """What a run takes as given, in millimetres; the record keeps every one.

    Parameters
    ----------
    reading_u : float, mm
        Standard uncertainty of a thickness where its row states none.
    z_u : float, mm
        Standard uncertainty of a measured floor Z.
    resolution : float, mm
        Smallest step of the gauge's display; its part of ``reading_u`` is shown in the budget.
    machine_u : float, mm
        Standard uncertainty of the machine's Z that all readings share.
    probe_radius, wall_clearance : float, mm
        A reading nearer to a wall than their sum is set aside.
    decision : DecisionSettings
        Levels and limits of the decision.
    rib_max : float, mm
        Floors whose gap is at most this are neighbours across a thin rib.
    bias : float, mm
        Common bias of finished webs found on pockets cut before, plus where they came out thicker: taken off every
        offset, and part of every predicted web. Never applied unasked.
    seed : int
        Of the joint samples.
    """

    reading_u: float = 0.010
    z_u: float = 0.005
    resolution: float = 0.001
    machine_u: float = 0.0
    probe_radius: float = 3.0
    wall_clearance: float = 0.0
    rib_max: float = 12.0
    bias: float = 0.0
    seed: int = 1
    decision: DecisionSettings = field(default_factory=DecisionSettings)

    def __post_init__(self) -> None:
        """Refuse what makes no sense."""
        check_ranges(
            "settings",
            [
                ("reading_u", self.reading_u, ABOVE_ZERO),
                ("z_u", self.z_u, ABOVE_ZERO),
                ("resolution", self.resolution, NOT_NEGATIVE),
                ("machine_u", self.machine_u, NOT_NEGATIVE),
                ("probe_radius", self.probe_radius, NOT_NEGATIVE),
                ("wall_clearance", self.wall_clearance, NOT_NEGATIVE),
                ("rib_max", self.rib_max, NOT_NEGATIVE),
                ("bias", self.bias, FINITE),
                ("seed", self.seed, Range("a whole number, 0 or more", 0.0, is_whole=True)),
            ],
        )

    @classmethod
    def of(cls, **changes: Any) -> Settings:
        """Return the defaults with changes, those of the decision among them, by plain name.

        Examples
        --------
        >>> Settings.of(level=0.99, z_u=0.002).decision.level
        0.99
        """
        return cls().changed(**changes)

    def changed(self, **changes: Any) -> Settings:
        """Return these settings with changes, those of the decision among them; None changes nothing.

        Raises
        ------
        InputError
            If there is no such field, or a value is out of its range.
        """
        given = {name: value for name, value in changes.items() if value is not None}
        inner = {one.name for one in fields(DecisionSettings)}
        outer = {one.name for one in fields(self)}
        unknown = [Finding("unknown-setting", "settings", name, "there is no such field.") for name in given]
        unknown = [one for one in unknown if one.place not in inner | outer]
        if unknown:
            raise InputError(unknown)
        decision = replace(self.decision, **{name: given[name] for name in given if name in inner})
        return replace(self, **{"decision": decision, **{name: given[name] for name in given if name in outer}})

    def flat(self) -> dict[str, Any]:
        """Return every field by plain name, as the record keeps them."""
        own = asdict(self)
        return {**own.pop("decision"), **own}


@dataclass(frozen=True)
class Used:
    """What became of every reading; n rows in the order of the file.

    Parameters
    ----------
    floor : (n,) ndarray of int
        Index of the floor the place lies on; -1 for none.
    is_used : (n,) ndarray of bool
    reason : tuple of str
        ``""`` where used, else ``"code: words"``.
    warp, residual, loo, weight : (n,) ndarray
        Warp that the reading says, its difference from the fitted warp, the same with the reading left out (mm), and
        its weight in the robust fit; NaN where there is none.
    u : (n,) ndarray, mm
        Standard uncertainty of the warp value.
    """

    floor: NDArray[np.intp]
    is_used: NDArray[np.bool_]
    reason: tuple[str, ...]
    warp: Array
    residual: Array
    loo: Array
    weight: Array
    u: Array


@dataclass(frozen=True)
class Result:
    """A whole run.

    Parameters
    ----------
    part : Part
    readings : Readings
    settings : Settings
    used : Used
        What became of each reading.
    fit : Fit or None
        The surface; None where the readings do not fix one.
    webs : Webs or None
        What every web is worked out from; None without a surface.
    decisions : tuple of Decision
        One for each floor, in the part's order.
    neighbours : tuple of NeighbourStep
        Steps across thin ribs.
    findings : tuple of Finding
        What a person should know.
    gauge, frame : Gauge, Frame or None
        What was applied to the readings.
    """

    part: Part
    readings: Readings
    settings: Settings
    used: Used
    fit: Fit | None
    webs: Webs | None
    decisions: tuple[Decision, ...]
    neighbours: tuple[NeighbourStep, ...] = ()
    findings: tuple[Finding, ...] = field(default=())
    gauge: Gauge | None = None
    frame: Frame | None = None

    @cached_property
    def map(self) -> WebMap | None:
        """Warp, uncertainty, webs and margin on a grid over the part; None without a surface."""
        from floorfit.decision.web_map import web_map

        if self.fit is None or self.webs is None:
            return None
        return web_map(self.part, self.webs, self.fit.posterior, self.decisions)

    @property
    def conforms(self) -> bool:
        """Whether every floor is corrected and predicted to conform."""
        return all(one.is_sure for one in self.decisions)

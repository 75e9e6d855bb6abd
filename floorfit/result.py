"""What goes into a run and what comes out of it: frozen, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from floorfit.errors import Finding
from floorfit.part.model import Part
from floorfit.readings.observations import Readings

if TYPE_CHECKING:
    from floorfit.decision import Decision
    from floorfit.decision.neighbours import NeighbourStep
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.surface import Fit
    from floorfit.web import Webs

__all__ = ["Result", "Settings", "Used", "with_settings"]

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
    level, most, limit, max_cut, min_chip, thin_cost, max_u, aim
        See `floorfit.decision.DecisionSettings`.
    rib_max : float, mm
        Floors whose gap is at most this are neighbours across a thin rib.
    force : float, N
        Cutting force for the push-off advice; 0 for none.
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
    level: float = 0.95
    most: str = "follow"
    limit: float = 2.0
    max_cut: float | None = None
    min_chip: float = 0.05
    thin_cost: float = 3.0
    max_u: float = 0.25
    aim: str = "middle"
    rib_max: float = 12.0
    force: float = 0.0
    bias: float = 0.0
    seed: int = 1


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

    @property
    def conforms(self) -> bool:
        """Whether every floor is corrected and predicted to conform."""
        return all(one.action != "hold" and one.verdict == "conform" for one in self.decisions)


def with_settings(settings: Settings, **changes: float | str | int | None) -> Settings:
    """Return settings with those changes that are not None."""
    return replace(settings, **{name: value for name, value in changes.items() if value is not None})  # type: ignore[arg-type]

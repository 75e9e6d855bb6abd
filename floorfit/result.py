"""What goes into a run and what comes out of it: frozen, in millimetres."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.decision.settings import DecisionSettings
from floorfit.errors import ABOVE_ZERO, FINITE, NOT_NEGATIVE, Finding, InputError, Range, check_ranges
from floorfit.part.model import Part
from floorfit.readings.observations import Observations, Readings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from matplotlib.axes import Axes

    from floorfit.decision import Decision
    from floorfit.decision.neighbours import NeighbourStep
    from floorfit.decision.web_map import WebMap
    from floorfit.readings.datum import Frame
    from floorfit.readings.gauge import Gauge
    from floorfit.readings.systematic import Systematic
    from floorfit.record import Record
    from floorfit.surface import Fit
    from floorfit.web import Webs

__all__ = ["UNSETTLED", "Result", "Settings"]

#: Findings after which no offset is to be cut before a person has looked: more likely the input than the plate.
UNSETTLED = (
    "off-their-floors", "places-off", "sorted", "slow-change-large", "z-finished", "z-programmed", "common-height",
    "datums-off", "far-blocks", "far-velocity", "far-scale", "large-residual", "scattered-blocks", "datums-narrow",
)  # fmt: skip


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
    rib_max : float, mm
        Floors whose gap is at most this are neighbours across a thin rib.
    bias : float, mm
        Common bias of finished webs found on pockets cut before, plus where they came out thicker: taken off every
        offset, and part of every predicted web. Never applied unasked.
    seed : int
        Of the joint samples.
    floor_z : {"measured", "as-programmed"}
        What is stated of the Z of roughed floors that was not measured; unstated, their floors are held.
    moved_u : float or None, mm
        Standard uncertainty of the plate's movement since roughing; goes with ``"as-programmed"``.
    systematic : float, mm
        Size of an error that readings share above which the run does not count as conforming, and a floor that it would
        take out of its limits is held.
    limit_bias : float, mm
        Largest ``bias`` that is taken.
    bias_u : float or None, mm
        Standard uncertainty of ``bias``; half of its size where none is stated.
    level_part : float or None
        Probability that the whole part must reach to count as conforming; None: pocket by pocket.
    decision : DecisionSettings
        Levels and limits of the decision.
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
    floor_z: str = "measured"
    moved_u: float | None = None
    systematic: float = 0.020
    limit_bias: float = 0.06
    bias_u: float | None = None
    level_part: float | None = None
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
                ("bias_u", self.bias_u, replace(NOT_NEGATIVE, may_be_none=True)),
                ("moved_u", self.moved_u, replace(NOT_NEGATIVE, may_be_none=True)),
                ("level_part", self.level_part, Range("between 0.5 and 1", 0.5, 1.0, is_open=True, may_be_none=True)),
                ("systematic", self.systematic, ABOVE_ZERO),
                ("limit_bias", self.limit_bias, ABOVE_ZERO),
                ("seed", self.seed, Range("a whole number, 0 or more", 0.0, is_whole=True)),
            ],
        )
        if abs(self.bias) > self.limit_bias:
            words = (
                f"{self.bias:g} mm came, at most {self.limit_bias:g} mm was expected: more is a fault of tool length, "
                "datum or gauge. Mend it, or set limit_bias."
            )
            raise InputError([Finding("out-of-range", "settings", "bias", words)])

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
        if unknown := [name for name in given if name not in inner | outer]:
            raise InputError(
                [Finding("unknown-setting", "settings", name, "there is no such field.") for name in unknown]
            )
        decision = replace(self.decision, **{name: given[name] for name in given if name in inner})
        return replace(self, **{"decision": decision, **{name: given[name] for name in given if name in outer}})

    def flat(self) -> dict[str, Any]:
        """Return every field by plain name, as the record keeps them."""
        own = asdict(self)
        return {**own.pop("decision"), **own}


@dataclass(frozen=True, repr=False)
class Result:
    """A whole run.

    Parameters
    ----------
    part : Part
    readings : Readings
    settings : Settings
    observations : Observations
        What became of each reading.
    fit : Fit or None
        The surface; None where the readings do not fix one.
    webs : Webs or None
        What every web is worked out from; None without a surface.
    decisions : tuple of Decision
        One for each floor, in the part's order.
    findings : tuple of Finding
        What a person should know.
    gauge, frame : Gauge, Frame or None
        What was applied to the readings.
    systematic : tuple of Systematic
        Errors that readings share, beyond chance.
    """

    part: Part
    readings: Readings
    settings: Settings
    observations: Observations
    fit: Fit | None
    webs: Webs | None
    decisions: tuple[Decision, ...]
    findings: tuple[Finding, ...] = field(default=())
    gauge: Gauge | None = None
    frame: Frame | None = None
    systematic: tuple[Systematic, ...] = ()

    @property
    def part_probability(self) -> float:
        """Probability that every floor conforms together, from the joint samples; NaN where one is held."""
        inside = [one.inside for one in self.decisions]
        if not inside or any(one.action == "hold" or one.inside is None for one in self.decisions):
            return float("nan")
        return float(np.logical_and.reduce([row for row in inside if row is not None]).mean())

    @cached_property
    def neighbours(self) -> tuple[NeighbourStep, ...]:
        """Steps across thin ribs, the greatest first."""
        from floorfit.decision.neighbours import neighbour_steps

        corrections = {one.pocket: one.correction for one in self.decisions}
        return neighbour_steps(self.part, corrections, rib_max_mm=self.settings.rib_max)

    @cached_property
    def map(self) -> WebMap | None:
        """Warp, uncertainty, webs and margin on a grid over the part; None without a surface."""
        from floorfit.decision.web_map import web_map

        if self.fit is None or self.webs is None:
            return None
        return web_map(self.part, self.webs, self.fit.posterior, self.decisions)

    @property
    def unsettled(self) -> list[str]:
        """Codes of the findings in `UNSETTLED` that were made."""
        return list(dict.fromkeys(one.code for one in self.findings if one.code in UNSETTLED))

    @property
    def conforms(self) -> bool:
        """Whether every floor is corrected and predicted to conform, and no shared error or wrong input was found."""
        level = self.settings.level_part
        return (
            all(one.is_sure for one in self.decisions)
            and all(one.size <= self.settings.systematic for one in self.systematic)
            and not self.unsettled
            and (level is None or self.part_probability >= level)
        )

    def table(self) -> Any:
        """Return the table of ``offsets.csv``: its columns, and the numbers that it holds.

        Returns
        -------
        pandas.DataFrame or dict of str to list
            A frame where pandas is installed; an empty cell is None in the columns without it.
        """
        from importlib import import_module
        from importlib.util import find_spec

        from floorfit.offsets_table import offset_columns

        columns = offset_columns(self.decisions, self.part.units)
        return columns if find_spec("pandas") is None else import_module("pandas").DataFrame(columns)

    def record(self) -> Record:
        """Return this run as the record that pictures, a corrected programme and later checks read."""
        from floorfit.recording import make_record

        return make_record(self)

    def plot(self, axes: Axes | None = None) -> Axes:
        """Draw the warp of the underside with floors, readings and what each pocket gets.

        Parameters
        ----------
        axes : matplotlib.axes.Axes, optional
            To draw on; those of a new figure where left out.

        Returns
        -------
        matplotlib.axes.Axes
            Coordinates in the part's unit.
        """
        from floorfit.report.warp_plot import draw_warp

        return draw_warp(self.record(), axes)

    def save(
        self,
        folder: str | Path,
        *,
        inputs: Mapping[str, str | Path] | None = None,
        replace: bool = False,
        pictures: bool = True,
    ) -> None:
        """Write the job folder: `floorfit.write` on this result.

        Parameters
        ----------
        folder : path
            Job folder to make.
        inputs : mapping of str to path, optional
            Files that went in, by role, for the record.
        replace : bool
            Whether an existing folder may be replaced.
        pictures : bool
            Whether maps, page and sheet are made now.

        Raises
        ------
        OutputError
            If the folder exists and ``replace`` is false, or its parent cannot be written.
        """
        from floorfit.folder import write

        write(self, folder, inputs=inputs, replace=replace, pictures=pictures)

    def __repr__(self) -> str:
        """Return the closing line and the pockets that want attention first, within a screen."""
        from floorfit.report.listing import as_text

        return as_text(self.part.name, *self._listed())

    def _repr_html_(self) -> str:
        """Return the closing line and the table of pockets, for a notebook."""
        from floorfit.report.listing import as_html

        return as_html(self.part.name, *self._listed())

    def _listed(self) -> tuple[str, Sequence[Decision], str]:
        from floorfit.closing import closing_sentence

        return closing_sentence(self), self.decisions, self.part.units

"""What a verification found: frozen, in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array, Flags, Rows
from floorfit.decision.decision import Verdict
from floorfit.errors import Finding
from floorfit.part.model import Part

__all__ = ["Bias", "FloorProof", "Intervals", "Movement", "ReadingProof", "Verification"]


@dataclass(frozen=True)
class Bias:
    """What the finished webs have in common beyond what was predicted; positive: they came out thicker.

    Parameters
    ----------
    value : float, mm
        NaN where no pocket could be compared.
    u : float, mm
        Standard uncertainty.
    factor : float
        Coverage factor for 95 % (Student's t).
    between : float, mm
        Standard deviation of the pockets' own biases, what the readings scatter taken out.
    between_limits : (float, float), mm
        95 % limits of it.
    within : float, mm
        Standard deviation of the readings about their pocket's mean.
    pockets : int
        Pockets that it rests on.
    readings : int
        Readings that it rests on.
    """

    value: float
    u: float
    factor: float
    between: float
    between_limits: tuple[float, float]
    within: float
    pockets: int
    readings: int

    @property
    def limits(self) -> tuple[float, float]:
        """95 % limits, mm."""
        return (self.value - self.factor * self.u, self.value + self.factor * self.u)


@dataclass(frozen=True)
class Movement:
    """A smooth field beyond the common bias: the plate moved between the first readings and these.

    Parameters
    ----------
    state : {"none", "small", "measure-again", "unclear", "unknown"}
        Not seen; seen and within the limit; seen and beyond it; beyond it but not proved; too few floors to tell.
    size : float, mm
        Greatest distance of the field from the common bias on the read floors; NaN where unknown.
    size_u : float, mm
        Its standard uncertainty.
    at : (float, float), mm
        Where.
    p_value : float
        Chance of such a field where nothing moved (F test).
    limit : float, mm
        Size beyond which to measure again.
    """

    state: Literal["none", "small", "measure-again", "unclear", "unknown"]
    size: float
    size_u: float
    at: tuple[float, float]
    p_value: float
    limit: float

    @classmethod
    def unknown(cls, limit: float) -> Movement:
        """Too few floors to tell."""
        nan = float("nan")
        return cls("unknown", nan, nan, (nan, nan), nan, limit)


@dataclass(frozen=True)
class Intervals:
    """Whether the predicted 95 % intervals held.

    Parameters
    ----------
    inside, total : int
        Readings inside their predicted interval, and compared.
    limits : (float, float)
        95 % limits of the share (Clopper & Pearson 1934), readings taken as independent.
    inside_without_bias : int
        Readings inside when the common bias is taken off first.
    floors_inside, floors : int
        Floors whose least and greatest web lie in the interval that the job gave, and compared.
    """

    inside: int
    total: int
    limits: tuple[float, float]
    inside_without_bias: int
    floors_inside: int
    floors: int

    @property
    def share(self) -> float:
        """Share of the readings inside; NaN without any."""
        return self.inside / self.total if self.total else float("nan")


@dataclass(frozen=True)
class ReadingProof:
    """Every reading of a finished web, n rows in the order of the file.

    Parameters
    ----------
    floor : (n,) ndarray of int
        Index of the floor that the place lies on; −1 for none.
    is_used : (n,) ndarray of bool
    reason : tuple of str
        ``""`` where used, else ``"code: words"``.
    deviation : (n,) ndarray, mm
        Web along Z less its local nominal; NaN where there is none.
    predicted : (n,) ndarray, mm
        The deviation that the job predicted there; NaN where it predicted none.
    predicted_u, u : (n,) ndarray, mm
        Standard uncertainties of the prediction and of the reading.
    probability : (n,) ndarray
        That the web lies within its limits at the place; NaN where there is no thickness.
    verdict : tuple of str
        By the set level; ``""`` where there is no thickness.
    is_inside : (n,) ndarray of bool
        Whether the reading lies in the predicted 95 % interval.
    """

    floor: Rows
    is_used: Flags
    reason: tuple[str, ...]
    deviation: Array
    predicted: Array
    predicted_u: Array
    u: Array
    probability: Array
    verdict: tuple[str, ...]
    is_inside: Flags


@dataclass(frozen=True)
class FloorProof:
    """One floor.

    Parameters
    ----------
    pocket : str
    readings : int
        Readings used.
    verdict : str
        ``"conform"``, ``"undecided"``, ``"nonconform"``, or ``"not-read"``.
    probability : float
        That the web lies within its limits over the whole floor.
    web_min, web_max : float, mm
        Best estimate over the whole floor; nominal web at the centroid plus the local deviation.
    bias, bias_u : float, mm
        Mean of measured less predicted, and its standard uncertainty; NaN where there is no prediction.
    spread : float, mm
        Standard deviation of the readings about it; NaN under two.
    is_interval_held : bool or None
        Whether least and greatest web lie in the job's interval; None where it gave none.
    is_apart : bool
        Whether the floor is left out of the common bias: cut unlike all the others.
    reason : str
        Empty, or ``"code: words"``.
    """

    pocket: str
    readings: int
    verdict: Verdict | Literal["not-read"]
    probability: float
    web_min: float
    web_max: float
    bias: float
    bias_u: float
    spread: float
    is_interval_held: bool | None
    is_apart: bool
    reason: str


@dataclass(frozen=True)
class Verification:
    """Readings of finished webs against tolerance and prediction.

    Parameters
    ----------
    job : str
        Id of the job that was verified.
    part : Part
    level : float
        Probability that makes a floor conform.
    applied_bias : float, mm
        Bias that the job had already taken off.
    source : str
        Name of the readings file.
    line, x, y, thickness
        The readings as given, mm.
    readings : ReadingProof
    floors : tuple of FloorProof
        In the part's order.
    bias : Bias
    movement : Movement
    intervals : Intervals
    findings : tuple of Finding
    withheld : str
        Why no bias is offered for the pockets that remain; ``""`` where it is.
    identity : mapping of str to str
        Facts of the plate that the job states.
    """

    job: str
    part: Part
    level: float
    applied_bias: float
    source: str
    line: NDArray[np.int64]
    x: Array
    y: Array
    thickness: Array
    readings: ReadingProof
    floors: tuple[FloorProof, ...]
    bias: Bias
    movement: Movement
    intervals: Intervals
    findings: tuple[Finding, ...] = field(default=())
    withheld: str = ""
    identity: Mapping[str, str] = field(default_factory=dict)

    @property
    def conforms(self) -> bool:
        """Whether every floor was read and conforms, and the readings lie where they say."""
        is_lost = any(one.code == "off-their-floors" for one in self.findings)
        return not is_lost and all(floor.verdict == "conform" for floor in self.floors)

    @property
    def offered_bias(self) -> float | None:
        """What ``--bias`` would be for the pockets that remain, mm; None where it must not be used."""
        if self.withheld or not np.isfinite(self.bias.value):
            return None
        return self.applied_bias + self.bias.value

    @property
    def sentence(self) -> str:
        """The line that a person can act on."""
        named: dict[str, list[str]] = {"conform": [], "undecided": [], "nonconform": [], "not-read": []}
        for floor in self.floors:
            named[floor.verdict].append(floor.pocket)
        parts = [f"{len(named.pop('conform'))} of {len(self.floors)} pockets verified to conform"]
        words = {"undecided": "undecided", "nonconform": "do not conform", "not-read": "not read"}
        for code, names in named.items():
            more = f" and {len(names) - 6} more" if len(names) > 6 else ""
            parts += [f"{len(names)} {words[code]}: {', '.join(names[:6])}{more}"] if names else []
        return "; ".join(parts) + "."

"""What the decision takes as given: levels and limits, in millimetres, all written to the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from floorfit.errors import ABOVE_ZERO, NOT_NEGATIVE, Range, check_ranges

__all__ = ["DecisionSettings"]


@dataclass(frozen=True)
class DecisionSettings:
    """Levels and limits of the decision.

    Parameters
    ----------
    level : float
        Probability that a whole floor must reach to be called ``conform`` (JCGM 106:2012, 7.4, 8.3); its mirror
        image is ``nonconform``.
    most : {"shift", "tilt", "follow"}
        The most that the machine can do.
    limit : float, mm
        Largest offset that may be given anywhere on a floor.
    max_cut : float or None, mm
        Most metal that one finishing pass may take. None: the floor's finish stock plus ``limit``, which is what the
        largest offset allowed asks of a pass that was planned for the stock.
    min_chip : float, mm
        Below this depth a cutter rubs instead of cutting; a note, not a hold (common practice, no source).
    thin_cost : float
        Weight of a web too thin against one too thick where nothing satisfies both limits.
    max_u : float
        Largest standard uncertainty of the warp on a floor, as a share of the tolerance's width; beyond it the floor
        is ``outside-readings``.
    max_u_open : float, mm
        The same where the tolerance has one limit only.
    aim : {"middle", "nominal"}
        Where in a two-sided tolerance the web should lie.

    Raises
    ------
    InputError
        If a field is out of its range; names field, value and what was expected.
    """

    level: float = 0.95
    most: Literal["shift", "tilt", "follow"] = "follow"
    limit: float = 2.0
    max_cut: float | None = None
    min_chip: float = 0.05
    thin_cost: float = 3.0
    max_u: float = 0.25
    max_u_open: float = 0.05
    aim: Literal["middle", "nominal"] = "middle"

    def __post_init__(self) -> None:
        """Refuse what makes no sense."""
        check_ranges(
            "settings",
            [
                ("level", self.level, Range("a number between 0.5 and 1", 0.5, 1.0, is_open=True)),
                ("most", self.most, ("shift", "tilt", "follow")),
                ("limit", self.limit, ABOVE_ZERO),
                ("max_cut", self.max_cut, Range("a number above 0, or None", 0.0, is_open=True, may_be_none=True)),
                ("min_chip", self.min_chip, NOT_NEGATIVE),
                ("thin_cost", self.thin_cost, ABOVE_ZERO),
                ("max_u", self.max_u, ABOVE_ZERO),
                ("max_u_open", self.max_u_open, ABOVE_ZERO),
                ("aim", self.aim, ("middle", "nominal")),
            ],
        )

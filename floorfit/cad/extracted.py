"""What an extraction gives: floors, faces not taken with the reason, findings."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, degrees, hypot
from typing import Literal

from floorfit.errors import Finding
from floorfit.part.model import Part, Ring
from floorfit.part.shape import Patch

__all__ = ["DOUBTFUL", "OPEN", "Extraction", "Floor", "RejectedFace"]

#: Codes of faces that may be floors after all. The others are something else by rule, or left out by choice.
#: ``no-wall`` is one where walls stand round the floor that the face rises from.
DOUBTFUL = ("too-steep", "no-metal", "covered", "curved", "unsound", "no-wall", "torn")
#: Codes of findings that leave open what a floor is.
OPEN = (
    *("kink", "open-floor", "noisy", "askew", "bodies-touch", "not-an-outline", "hidden", "layer-name", "external"),
    *("hatch", "window", "outlines", "not-level", "not-to-scale", "unit"),
)


@dataclass(frozen=True, kw_only=True)
class Floor:
    """One recognised floor, mm.

    Parameters
    ----------
    id : str
        Id of the pocket in the part.
    foot, foot_islands : Ring, tuple of Ring
        Outline of the flat floor and of what stands or is missing inside it.
    wall, wall_islands : Ring, tuple of Ring
        The same at the wall: equal to the foot where no fillet runs round the floor.
    floor_z, underside_z : float
        At the centroid of the outline in the part.
    slope : (float, float)
        dZ/dX, dZ/dY.
    web, web_min, web_max : float
        At the centroid; range over the whole floor.
    area : float, mm²
        Plan area of the flat floor without islands.
    fillet_radius : float
        Radius at the foot of the walls; 0 where there is none.
    corner_radius : float
        Smallest inner corner at the wall; 0 where corners are sharp.
    wall_share, fillet_share, step_share, open_share : float
        Shares of the outline along walls, fillets, steps to another floor, and nothing.
    arc_error : float
        Largest distance of a chord of the outline from its arc.
    floor, underside : tuple of Patch
        Heights of a floor that is curved, of an underside that is not level; else empty.
    is_parallel : bool
        Whether the underside is not level and the web constant.
    web_along : {"z", "normal"}
        Direction in which it is constant.
    floor_error : float
        How far the chords of a curved floor may be from the true floor.
    edge : float
        Width of the strip along the outline where fillets and walls of the other side make the web thicker.
    """

    id: str = ""
    foot: Ring
    foot_islands: tuple[Ring, ...]
    wall: Ring
    wall_islands: tuple[Ring, ...]
    floor_z: float
    underside_z: float
    slope: tuple[float, float] = (0.0, 0.0)
    web: float
    web_min: float
    web_max: float
    area: float
    fillet_radius: float = 0.0
    corner_radius: float
    wall_share: float = 1.0
    fillet_share: float = 0.0
    step_share: float = 0.0
    open_share: float = 0.0
    arc_error: float
    floor: tuple[Patch, ...] = ()
    underside: tuple[Patch, ...] = ()
    is_parallel: bool = False
    web_along: Literal["z", "normal"] = "z"
    floor_error: float = 0.0
    edge: float = 0.0

    @property
    def slope_deg(self) -> float:
        """Angle of the floor against level, degrees."""
        return degrees(atan(hypot(*self.slope)))

    @property
    def kind(self) -> str:
        """``"plane"``, or what is not: ``"curved"``, ``"constant web"`` (along the normal), ``"underside varies"``."""
        words = ["curved"] if self.floor else []
        constant = "constant web along the normal" if self.web_along == "normal" else "constant web"
        words += [constant] if self.is_parallel else []
        words += ["underside varies"] if self.underside else []
        return ", ".join(words) or "plane"

    @property
    def edge_words(self) -> str:
        """What its outline runs along, with shares: ``"wall 75 %, open 25 %"``."""
        shares = (
            ("wall", self.wall_share),
            ("fillet", self.fillet_share),
            ("step", self.step_share),
            ("open", self.open_share),
        )
        return ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares if share >= 0.005)


@dataclass(frozen=True)
class RejectedFace:
    """A face that looks like a floor but was not taken.

    Parameters
    ----------
    place : (float, float, float)
        A point on the face, mm.
    area : float, mm²
        Plan area.
    code : str
        Stable short code: ``no-wall``, ``too-steep``, ``too-small``, ``too-narrow``, ``too-thick``, ``curved``,
        ``bore``, ``spotface``, ``groove``, ``lug-gap``, ``no-metal``, ``covered``, ``under-a-roof`` (cut from the
        floor beside it), ``torn`` (a little off the floor beside it), ``not-selected``, ``dropped``, ``unsound`` (a
        part file would refuse it).
    reason : str
        One sentence with the figures.
    outline : Ring
        Its outline in plan.
    holes : tuple of Ring
        What stands or is missing inside it.
    is_walled : bool
        Whether walls stand along more than half of its outline, or round the floor that it rises from: it may be a
        floor, and is to be looked at.
    """

    place: tuple[float, float, float]
    area: float
    code: str
    reason: str
    outline: Ring = ()
    holes: tuple[Ring, ...] = ()
    is_walled: bool = False


@dataclass(frozen=True)
class Extraction:
    """The part that was recognised in a model.

    Parameters
    ----------
    part : Part
    floors : tuple of Floor
        Details, in the part's order.
    rejected : tuple of RejectedFace
        Faces that look like floors but were not taken: first those with walls round them, each kind by size.
    findings : tuple of Finding
        Warnings of reading and recognition.
    """

    part: Part
    floors: tuple[Floor, ...]
    rejected: tuple[RejectedFace, ...]
    findings: tuple[Finding, ...]

    @property
    def open_questions(self) -> int:
        """Number of walled faces left out without being something else, and of findings that leave a floor open."""
        left = sum(face.is_walled and face.code in DOUBTFUL for face in self.rejected)
        return left + sum(finding.code in OPEN for finding in self.findings)

"""Refuse parts with curved floors: motion is matched to planes only."""

from __future__ import annotations

from floorfit.errors import Finding, InputError
from floorfit.part.model import Part

__all__ = ["check_plane_floors"]


def check_plane_floors(part: Part) -> None:
    """See that every floor is a plane.

    A held floor counts too: motion over it has to be found as well.

    Raises
    ------
    InputError
        If a floor is curved: its motion would be matched to a plane that is not there.
    """
    names = [pocket.id for pocket in part.pockets if pocket.floor]
    if not names:
        return
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    text = (
        f"{', '.join(names[:6])}{more}: curved floors, and a programme is corrected over plane floors only. "
        "Use the offsets by hand in the CAM system (--lines writes them), or take these floors out of the part."
    )
    raise InputError([Finding("curved-floor", part.source or part.name, "", text)])

"""What cannot be corrected safely in cutter-location data, by line, and only where it touches a floor that matters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from floorfit.arrays import Flags, Rows
from floorfit.errors import Finding
from floorfit.nc.cl.location_path import LocationPath
from floorfit.nc.cl.locations import Locations
from floorfit.nc.corrected import Held
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import LIFTED, Gains
from floorfit.nc.holes import is_cut
from floorfit.nc.motions import CUTTING, CYCLE, LINE, OTHER_ARC, RAPID
from floorfit.nc.swept_floors import TOO_DEEP_MM
from floorfit.nc.tool_check import REACH_MM
from floorfit.nc.understood import Findings

__all__ = ["check_gains", "check_locations"]

#: How the rest of many findings are told.
_REST = "{} more lines, the last {}"
#: Axes that lean more have the flank near the floor and not the end, degrees. Own choice, no source.
_MOST_LEAN_DEG = 60.0


def check_locations(
    found: Locations, way: LocationPath, gains: Gains, floors: Sequence[CutFloor], source: str
) -> list[Finding]:
    """Return what makes the file unfit: another part, a place or a cutter that is not known, holes in a floor.

    Parameters
    ----------
    found, way, gains : Locations, LocationPath, Gains
        The file, its path, and the rule's answer.
    floors : sequence of CutFloor
        All floors.
    source : str
        Name of the file.
    """
    out = Findings(source, found.line, _REST)
    matter = [floor for floor in floors if floor.matters]
    near = _near(found, way, matter)
    cutting = np.isin(found.kind, CUTTING)
    text = "no cutter is stated for this tool, or one that is neither flat, ball nor flat with rounded corners, and it "
    text += "comes near a floor. Write CUTTER/diameter,corner radius behind LOADTL, or say --tool."
    out.rows("no-cutter", np.flatnonzero(near & ~way.known & cutting), text)
    lost = np.isnan(found.start).any(axis=1) & ~np.isnan(found.tip).any(axis=1)
    text = "a cut that ends near a floor, and where it starts is not known. Write a point above the floor before it."
    out.rows("unknown-position", np.flatnonzero(near & lost & cutting), text)
    lean = found.axis[:, 2] < np.cos(np.radians(_MOST_LEAN_DEG))
    text = "the axis leans so far that the flank meets the floor, and not the end. Cut this floor with the end."
    out.rows("flank", np.flatnonzero(near & lean & cutting), text)
    holes = np.flatnonzero(near & (found.kind == CYCLE))
    text = "a hole of a cycle in a floor that moves: its point is left as it is. Whether it follows is for you to say."
    through = _goes_through(found, holes, matter)
    out.rows("cycle", holes[through], text, "warning")
    text = "a hole of a cycle in a floor that moves may end in the web. It is left as it is: state its depth, or drill "
    text += "it for the corrected floor."
    out.rows("cycle-left", holes[~through], text, "warning")
    _rapids_to_holes(out, found, way, gains, matter)
    if not out.found and not _on_any_floor(found, way, gains, floors):
        text = "no cutting motion lies on any floor of this part. Is it this part's file, in its frame? See --frame."
        out.found.append(Finding("other-part", source, "", text))
    return out.found


def _goes_through(found: Locations, holes: Rows, floors: Sequence[CutFloor]) -> Flags:
    """Holes that end below the underside of every floor they are over."""
    x, y, z = found.tip[holes].T
    out = np.ones(len(holes), dtype=bool)
    for pocket in (floor.pocket for floor in floors):
        over = shapely.intersects_xy(pocket.polygon, x, y)
        out &= ~over | (z - found.deep[holes] <= pocket.underside_at(x, y))
    return out


def _rapids_to_holes(
    out: Findings, found: Locations, way: LocationPath, gains: Gains, floors: Sequence[CutFloor]
) -> None:
    """Holes whose rapid ends in a floor that rises, or in the stock that rises with it."""
    holes = np.flatnonzero((found.kind == CYCLE) & ~np.isnan(found.rapid_to))
    for floor in (floor for floor in floors if floor.is_active):
        x, y, z = found.tip[holes].T
        raised, nominal = floor.dz(found.tip[holes, :2]), floor.pocket.floor_at(x, y)
        level = z + found.rapid_to[holes] * found.axis[holes, 2] - nominal
        over = (raised > TOO_DEEP_MM) & (level >= 0) & shapely.intersects_xy(floor.pocket.polygon, x, y)
        low = over & (level < raised)
        text = f"pocket {floor.pocket.id}: the rapid to a hole ends under the floor, which is raised. Raise RAPTO."
        out.rows("cycle-low", holes[low], text)
        stock = floor.pocket.finish_stock + raised - TOO_DEEP_MM
        places = np.flatnonzero(over & ~low & (level < stock)).tolist()
        inside = [
            int(holes[at]) for at in places
            if not is_cut(way.path, int(np.searchsorted(way.row, holes[at])), floor, gains)
        ]  # fmt: skip
        text = (
            f"pocket {floor.pocket.id}: the rapid to a hole ends in the stock, which is raised with the floor, and no "
            "pass before it takes that off. It is left as it is: raise RAPTO, or drill later."
        )
        out.rows("cycle-stock", inside, text, "warning")


def _on_any_floor(found: Locations, way: LocationPath, gains: Gains, floors: Sequence[CutFloor]) -> bool:
    on = (gains.floor >= 0) | (gains.whole >= 0)
    on[list(gains.touched)] = True
    on[list(gains.guarded)] = True
    if gains.half or np.isin(found.kind[way.row[on]], (LINE, OTHER_ARC)).any():
        return True
    return bool(_near(found, way, floors)[np.isin(found.kind, CUTTING)].any())


def _near(found: Locations, way: LocationPath, floors: Sequence[CutFloor]) -> Flags:
    """Rows that end over one of the floors, and no higher over it than what matters."""
    radius = np.zeros(len(found))
    radius[way.row] = way.path.radius
    wide = np.where(way.known, radius, REACH_MM)
    out = np.zeros(len(found), dtype=bool)
    x, y, z = np.ascontiguousarray(found.tip.T)
    lean = radius * np.hypot(found.axis[:, 0], found.axis[:, 1])
    for floor in floors:
        over = z - floor.pocket.floor_at(x, y)
        ceiling = max(floor.band, floor.guard if floor.is_held else 0.0, floor.dz_range[1])
        if floor.is_shaped:
            # The rim of an end stands on a slope with the tip above it.
            ceiling = ceiling + wide * np.hypot(*floor.pocket.slope_at(x, y).T)
        some = np.flatnonzero((over - lean <= ceiling) & (over >= -floor.window - 1e-6))
        out[some[shapely.intersects_xy(floor.pocket.polygon, x[some], y[some])]] = True
    return out


def check_gains(
    found: Locations, way: LocationPath, gains: Gains, floors: Sequence[CutFloor], *, held: Held, source: str
) -> list[Finding]:
    """Return what the rule cannot do here, what it must not do, and what a person should see.

    Parameters
    ----------
    found, way, gains, floors : see `check_locations`
        The file and the rule's answer.
    held : {"refuse", "skip", "cut"}
        What to do with motion on held floors.
    source : str
        Name of the file.
    """
    out = Findings(source, found.line, _REST)
    if held != "cut":
        _held(out, found, way, gains, floors)
    for floor in floors:
        rows = way.rows([row for row, at in gains.half if at == floor.index])
        text = f"pocket {floor.pocket.id}: a pass that is on the floor for a part of its way, and above or "
        text += "below it elsewhere. Is it this part's file, in its frame?"
        out.rows("half-floor", rows, text)
    steep = way.rows(gains.steep_rapids)
    text = "a rapid that ends on a floor and would have to be lifted there: feed down to the floor instead."
    out.rows("rapid", steep, text)
    moved = gains.status > 0
    optional = found.field("optional").astype(bool)
    text = "OPSKIP is on, and this motion moves with a floor: it may run or not. Take OPSKIP away from the floors."
    rows = way.rows(moved)
    out.rows("optional", rows[optional[rows]], text)
    lifted = way.rows((gains.status == LIFTED) & (gains.node > 0) & (gains.floor < 0))
    lifted = lifted[np.isin(found.kind[lifted], (RAPID, LINE, OTHER_ARC))]
    text = "is lifted clear of a corrected floor."
    out.rows("lifted", lifted, text, "warning")
    return out.found


def _held(out: Findings, found: Locations, way: LocationPath, gains: Gains, floors: Sequence[CutFloor]) -> None:
    for floor in floors:
        rows = way.rows([row for row, some in gains.guarded.items() if floor.index in some])
        rows = rows[np.isin(found.kind[rows], CUTTING)]
        text = f"pocket {floor.pocket.id} is held, and this cuts it. Take it out of the file, or say "
        text += "--held cut."
        out.rows("held", rows, text)

"""What is told of a corrected file: what the cutter leaves, and the picture's lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from floorfit.arrays import counted
from floorfit.errors import Finding
from floorfit.nc.corrected import PlanTrace
from floorfit.nc.floor_bands import CutFloor
from floorfit.nc.gains import LIFTED, UNTOUCHED, Gains
from floorfit.nc.swept_floors import TOO_DEEP_MM, SweptFloor
from floorfit.nc.tip_path import TipPath

__all__ = ["floor_off", "plan_trace", "what_is_left"]

#: Greatest number of lines in the picture; of more, every second, third … is drawn.
_MOST_LINES = 30_000
#: Height over the highest floor up to which motion is drawn, mm, and angle of one chord of an arc, radians.
_DRAWN_MM, _CHORD_RAD = 20.0, 0.2


def what_is_left(swept: Sequence[SweptFloor], source: str, *, is_beside: bool = False) -> list[Finding]:
    """A warning for each floor on which the cutter leaves metal that is not wanted, or that is cut at another height.

    Parameters
    ----------
    swept : sequence of SweptFloor
    source : str
        Name of the programme for messages.
    is_beside : bool
        Whether the cutter runs beside its path by its radius somewhere (G41, G42).
    """
    out = []
    more = " Where D of G41 or G42 is the cutter's wear and the path that of its centre, say --wear." * is_beside
    for one in swept:
        if one.high_mm > TOO_DEEP_MM:
            x, y = one.where_high
            text = (
                f"pocket {one.pocket}: up to {one.high_mm:.3f} mm is left above what is wanted, most near ({x:.1f}, "
                f"{y:.1f}), on {one.high_area_mm2:.0f} mm²: the cutter cannot follow at an edge, a seam or a slope."
            )
            out.append(Finding("left-high", source, "", text, "warning"))
        if one.is_off:
            out.append(floor_off(one.pocket, one.off_mm, source))
        if one.off_mm == one.off_mm and not one.is_whole:
            text = (
                f"pocket {one.pocket}: {one.uncut_mm2:.0f} mm² of its floor ({100 * one.uncut_share:.0f} %) are not "
                "cut by this programme and keep their stock. Correct the programme that cuts them with the same job."
            ) + more
            out.append(Finding("floor-uncut", source, "", text, "warning"))
    return out


def floor_off(pocket: str, off_mm: float, source: str) -> Finding:
    """A warning that a floor is cut at another Z than the part file's.

    Parameters
    ----------
    pocket : str
        Its id.
    off_mm : float
        Height over the part file's Z before any offset, mm.
    source : str
        Name of the programme.
    """
    way, web = ("above", "thicker") if off_mm > 0 else ("below", "thinner")
    text = (
        f"pocket {pocket}: before any offset this programme cuts it {abs(off_mm):.3f} mm {way} the Z "
        f"of the part file, and its web comes out {web} by as much. Is it the programme that finishes the "
        "floor, and was it not corrected before?"
    )
    return Finding("floor-off", source, "", text, "warning")


def plan_trace(path: TipPath, gains: Gains, floors: Sequence[CutFloor]) -> PlanTrace:
    """Motion near the floors in plan, in the part's frame.

    Parameters
    ----------
    path, gains : TipPath, Gains
        The programme, and what was asked of it.
    floors : sequence of CutFloor
        All floors.
    """
    top = max((floor.top for floor in floors), default=0.0) + _DRAWN_MM
    with np.errstate(invalid="ignore"):
        low = np.minimum(path.start[:, 2], path.end[:, 2]) <= top
    rows = np.flatnonzero(path.is_followed & (low | (gains.status > 0)))
    rows = rows[:: max(1, -(-len(rows) // _MOST_LINES))]
    count = np.clip(np.ceil(np.abs(path.sweep[rows]) / _CHORD_RAD), 1, 64).astype(int)
    of, index = counted(count)
    row, share, step = rows[of], index / count[of], 1 / count[of]
    # A motion that leaves a floor for where it always went is drawn as untouched.
    still = (gains.status == LIFTED) & (gains.node == 0)
    still[list(gains.breaks)] = False
    status = np.where(still, UNTOUCHED, gains.status)[row]
    return PlanTrace(path.points(row, share)[:, :2], path.points(row, share + step)[:, :2], status)

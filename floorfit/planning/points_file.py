"""A plan as files: the places as a readings file to fill in, and the curve of readings against uncertainty."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from floorfit.plain_text import write_csv
from floorfit.planning.points import Plan
from floorfit.units import MM_PER_UNIT, Unit

__all__ = ["plan_facts", "write_curve", "write_points"]

#: Decimals of a coordinate: a micrometre or finer.
DECIMALS: dict[str, int] = {"mm": 3, "in": 5}


def plan_facts(plan: Plan, unit: Unit) -> list[str]:
    """Say in words what a plan comes to.

    Parameters
    ----------
    plan : Plan
        In mm.
    unit : {"mm", "in"}
        Unit in which to say it.

    Returns
    -------
    list of str
    """
    scale, digits = MM_PER_UNIT[unit], DECIMALS[unit]
    lines = [f"{len(plan.points)} places on {len(set(plan.pockets))} floors, path {plan.path_mm / scale:.0f} {unit}."]
    known = plan.offset_u[np.isfinite(plan.offset_u)]
    if len(known):
        lines.append(f"Expected U of an offset, k = 2: up to {2 * known.max() / scale:.{digits}f} {unit}.")
    if not plan.is_reached:
        lines.append("What was asked for is not reached: give more readings, or a larger share.")
    if plan.unreachable:
        lines.append(f"{len(plan.unreachable)} floors have no room for the probe.")
    return lines


def write_points(plan: Plan, path: str | os.PathLike[str], unit: Unit) -> None:
    """Write the places in the readings format, the thickness left blank, in the order in which to read them.

    Parameters
    ----------
    plan : Plan
        Places in mm.
    path : path
        File to write; overwritten.
    unit : {"mm", "in"}
        Unit of the lengths in the file.
    """
    scale, digits = MM_PER_UNIT[unit], DECIMALS[unit]
    places = zip(plan.points / scale, plan.pockets, strict=True)
    rows = ([f"{x:.{digits}f}", f"{y:.{digits}f}", "", "", pocket] for (x, y), pocket in places)
    write_csv(Path(path), [*(f"{name}_{unit}" for name in ("x", "y", "z", "thickness")), "pocket"], rows)


def write_curve(plan: Plan, path: str | os.PathLike[str], unit: Unit) -> None:
    """Write readings against the mean and the largest expected standard uncertainty of an offset.

    Parameters
    ----------
    plan : Plan
        With its curve in mm.
    path : path
        File to write; overwritten.
    unit : {"mm", "in"}
        Unit of the lengths in the file.
    """
    scale = MM_PER_UNIT[unit]
    header = ["readings", f"offset_u_mean_{unit}", f"offset_u_largest_{unit}"]
    rows = ([f"{count:.0f}", f"{mean / scale:.6g}", f"{largest / scale:.6g}"] for count, mean, largest in plan.curve)
    write_csv(Path(path), header, rows)

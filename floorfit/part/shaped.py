"""What ``floorfit-part/2`` adds to a pocket: heights by region, a constant web, tolerances by region.

A pocket may have, beside the keys of ``floorfit-part/1``:

- ``floor`` in place of ``floor_z`` and ``slope``, ``underside`` in place of ``underside_z``: a list of heights, each
  with one of ``level`` (a number), ``plane`` (``at`` [x, y, z] and ``slope``) or ``grid`` (``origin``, ``step``, and
  ``z``: a row along X for each Y), and a ``region`` (a ring; everywhere where left out). The last one counts.
- ``web_constant``: true where the underside lies ``web`` below the floor everywhere.
- ``web_along``: ``"z"`` or ``"normal"``, the direction of ``web`` and of ``web_tolerance``.
- ``tolerances``: a list of ``region`` and ``web_tolerance``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from floorfit.part.check import LARGEST_MM, STEEPEST, check_ring, clean_ring, limit_faults
from floorfit.part.document import Fault, Path
from floorfit.part.model import Pocket, Tolerance
from floorfit.part.shape import HeightGrid, Patch

__all__ = [
    "STEEPEST_BELOW", "in_unit", "patches_from", "patches_to", "shape_faults", "tolerance_from", "tolerances_from",
    "tolerances_to",
]  # fmt: skip

#: Steepest underside: edges are broken by 45° and more there, and nothing is cut to it.
STEEPEST_BELOW = 20.0
#: What a height in a list must have one of.
_KINDS = ("level", "plane", "grid")


def patches_from(entries: list[Mapping[str, Any]], scale: float) -> tuple[Patch, ...]:
    """Heights of a document, in mm.

    Parameters
    ----------
    entries : list of mapping
        As the part file has them.
    scale : float
        Millimetres in its unit.
    """
    return tuple(_patch(entry, scale) for entry in entries)


def _patch(entry: Mapping[str, Any], scale: float) -> Patch:
    region = clean_ring(entry.get("region", []), scale)
    if "grid" in entry:
        grid = entry["grid"]
        rows = tuple(tuple(float(z) * scale for z in row) for row in grid["z"])
        return Patch(region, grid=HeightGrid(_pair(grid["origin"], scale), _pair(grid["step"], scale), rows))
    if "plane" in entry:
        x, y, z = (float(value) * scale for value in entry["plane"]["at"])
        return Patch(region, (x, y, z), _pair(entry["plane"]["slope"], 1.0))
    return Patch(region, (0.0, 0.0, float(entry["level"]) * scale))


def _pair(values: Any, scale: float) -> tuple[float, float]:
    return float(values[0]) * scale, float(values[1]) * scale


def patches_to(patches: tuple[Patch, ...], scale: float) -> list[dict[str, Any]]:
    """Document of heights, in a unit of ``scale`` mm; `patches_from` is the way back.

    Parameters
    ----------
    patches : tuple of Patch
    scale : float
        Millimetres in the document's unit.
    """
    return [_entry(patch, scale) for patch in patches]


def _entry(patch: Patch, scale: float) -> dict[str, Any]:
    entry: dict[str, Any] = {"region": in_unit(patch.region, scale)} if patch.region else {}
    if patch.grid is not None:
        grid = patch.grid
        return entry | {"grid": {key: in_unit(getattr(grid, key), scale) for key in ("origin", "step", "z")}}
    if any(patch.slope):
        return entry | {"plane": {"at": in_unit(patch.point, scale), "slope": list(patch.slope)}}
    return entry | {"level": in_unit(patch.point, scale)[2]}


def in_unit(lengths: Any, scale: float) -> Any:
    """Lengths, nested as they may be, as the numbers of a file; None stays.

    Each number is short if that reads back as the same float, else the nearest.

    Parameters
    ----------
    lengths : float, None, or sequence of these, mm
    scale : float
        Millimetres in the file's unit.
    """
    if isinstance(lengths, Iterable):
        return [in_unit(length, scale) for length in lengths]
    if lengths is None or scale == 1.0:
        return None if lengths is None else float(lengths)
    near = float(lengths) / scale
    tries = (float(f"{near:.12g}"), near, math.nextafter(near, -math.inf), math.nextafter(near, math.inf))
    return next((number for number in tries if number * scale == lengths), near)


def tolerances_from(entries: list[Mapping[str, Any]], scale: float) -> tuple[Any, ...]:
    """Tolerances by region of a document, in mm.

    Parameters
    ----------
    entries : list of mapping
        As the part file has them.
    scale : float
        Millimetres in its unit.
    """
    return tuple(
        (clean_ring(entry["region"], scale), tolerance_from(entry["web_tolerance"], scale)) for entry in entries
    )


def tolerance_from(limits: Any, scale: float) -> Tolerance:
    """Limits of a document, in mm; None for an open side.

    Parameters
    ----------
    limits : pair of float or None
    scale : float
        Millimetres in its unit.
    """
    lower, upper = (None if limit is None else float(limit) * scale for limit in limits)
    return Tolerance(lower, upper)


def tolerances_to(pocket: Pocket, scale: float) -> list[dict[str, Any]]:
    """Document of the tolerances by region.

    Parameters
    ----------
    pocket : Pocket
    scale : float
        Millimetres in the document's unit.
    """
    return [
        {
            "region": in_unit(region, scale),
            "web_tolerance": in_unit((limits.lower, limits.upper), scale),
        }
        for region, limits in pocket.tolerances
    ]


def shape_faults(raw: Mapping[str, Any], path: Path, name: str, scale: float) -> list[Fault]:
    """What is wrong with the added keys of one pocket; its structure must be sound.

    Parameters
    ----------
    raw : mapping
        The pocket as it came.
    path : tuple
        Its path.
    name : str
        Its id, quoted.
    scale : float
        Millimetres in the file's unit.
    """
    faults = [*_given_twice(raw, path, name)]
    for key in ("floor", "underside"):
        for i, entry in enumerate(raw.get(key, [])):
            steepest = STEEPEST if key == "floor" else STEEPEST_BELOW
            faults += _height_faults(entry, (*path, key, i), f"{key} {i} of pocket {name}", scale, steepest)
    for i, entry in enumerate(raw.get("tolerances", [])):
        place: Path = (*path, "tolerances", i)
        faults += _region_faults(entry["region"], place, f"tolerance {i} of pocket {name}", scale)
        faults += [
            Fault(code, (*place, "web_tolerance"), f"pocket {name}: {text}")
            for code, text in limit_faults(*entry["web_tolerance"])
        ]
    return faults


def _given_twice(raw: Mapping[str, Any], path: Path, name: str) -> list[Fault]:
    clashes = [("floor", "floor_z"), ("floor", "slope"), ("underside", "underside_z")]
    if raw.get("web_constant"):
        clashes += [("web_constant", "underside"), ("web_constant", "underside_z")]
    faults = [
        Fault("given-twice", (*path, b), f"pocket {name} has both {a} and {b}, one was expected. Remove one.")
        for a, b in clashes
        if a in raw and b in raw
    ]
    if "floor" not in raw and "floor_z" not in raw:
        text = f"pocket {name} has neither floor_z nor floor. Add one of them."
        faults.append(Fault("missing", (*path, "floor_z"), text))
    return faults


def _height_faults(entry: Mapping[str, Any], path: Path, what: str, scale: float, steepest: float) -> list[Fault]:
    given = [key for key in _KINDS if key in entry]
    if len(given) != 1:
        came = " and ".join(given) or "none"
        return [Fault("one-of", path, f"{what}: one of level, plane and grid was expected, {came} came. Correct it.")]
    faults = _region_faults(entry["region"], path, what, scale) if "region" in entry else []
    if given == ["grid"]:
        faults += _grid_faults(entry["grid"], (*path, "grid"), what, scale, steepest)
    if given == ["plane"] and float(np.hypot(*entry["plane"]["slope"])) > steepest:
        text = f"{what} is steeper than {np.degrees(np.arctan(steepest)):.0f}°. Give ratios, not degrees."
        faults.append(Fault("too-steep", (*path, "plane"), text))
    return faults


def _grid_faults(grid: Mapping[str, Any], path: Path, what: str, scale: float, steepest: float) -> list[Fault]:
    width = {len(row) for row in grid["z"]}
    if len(width) != 1:
        text = f"{what}: rows of {min(width)} to {max(width)} heights came, rows of one length were expected. Add some."
        return [Fault("ragged-grid", path, text)]
    if min(grid["step"]) <= 0.0:
        return [Fault("bad-step", path, f"{what}: the steps of the grid must be above 0. Correct them.")]
    table = np.array(grid["z"], float) * scale
    steps = np.array(grid["step"], float) * scale
    steep = max(np.abs(np.diff(table, axis=1)).max() / steps[0], np.abs(np.diff(table, axis=0)).max() / steps[1])
    if np.abs(table).max() > LARGEST_MM or steep > steepest:
        slope = f"a slope over {np.degrees(np.arctan(steepest)):.0f}°"
        text = f"{what}: the grid has a height over a kilometre or {slope}. Check the numbers and the units."
        return [Fault("absurd", path, text)]
    return []


def _region_faults(region: Any, path: Path, what: str, scale: float) -> list[Fault]:
    return check_ring(clean_ring(region, scale), (*path, "region"), f"region of {what}", scale)

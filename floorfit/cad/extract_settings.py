"""What the user may set for the recognition, and the checks on it."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite
from typing import Literal

from numpy import cross

from floorfit.cad.edits import Edit
from floorfit.errors import Finding, InputError
from floorfit.part.model import Tolerance

__all__ = ["MM_PER_MODEL_UNIT", "ExtractSettings", "ModelUnit", "check_settings"]

ModelUnit = Literal["mm", "cm", "m", "in"]

#: Millimetres in one unit of a model; the inch is exact (NIST SP 811, appendix B.8).
MM_PER_MODEL_UNIT: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


@dataclass(frozen=True)
class ExtractSettings:
    """Every choice of one extraction; lengths in mm, angles in degrees.

    Parameters
    ----------
    units : {"mm", "cm", "m", "in"} or None
        Unit of the model's numbers; None takes the file's own, where the format carries one.
    up : (float, float, float)
        Direction in the model that becomes +Z of the part.
    side : {"top", "bottom"}
        ``bottom`` turns the model by half a turn about its X axis (after ``up``).
    boundary : {"foot", "wall"}
        Which outline goes into the part where a fillet runs round a floor: the flat floor's, or the wall's.
    max_slope_deg : float
        Steepest floor that is still a floor.
    min_area, min_width : float
        Smallest plan area (mm²) and mean width (mm) of a floor.
    bore_max : float
        Round faces up to this diameter are bores and counterbores, not floors.
    web_max : float or None
        Thickest web that is still a pocket floor; None for no limit.
    chord_tolerance : float
        Largest distance of a chord from its arc, where the format lets us choose (STEP, DXF).
    plane_tolerance : float
        Flatness within which facets belong to one plane; raised to four times the model's own resolution.
    select : tuple of str
        Ids to keep; empty keeps all.
    any_size : bool
        Take a part under 20 mm or over 20 m.
    repair : bool
        Turn flipped facets and go on with an open or self-touching mesh; every repair is listed.
    body : str
        ``""`` (one body expected), ``"all"``, or a number from 1 in order of size.
    tolerance : Tolerance or None
        Web tolerance for every pocket; None writes ±0.1 mm and says so.
    finish_stock : float or None
        Metal that roughing leaves on the floors; None writes 0 and says so.
    name : str
        Name of the part; empty takes the file's name.
    origin : (float, float, float) or None
        Point of the model, in its own unit, that becomes the part's zero; None keeps the model's.
    x_axis : (float, float, float) or None
        Direction in the model that becomes +X of the part, as far as it is square to ``up``; None turns the least.
    edits : tuple of Edit
        Changes to what was recognised, see `floorfit.cad.edits`.
    ids : tuple of (str, place)
        Ids from a list, see `floorfit.cad.edits.read_id_list`; empty numbers the floors.
    """

    units: ModelUnit | None = None
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    side: Literal["top", "bottom"] = "top"
    boundary: Literal["foot", "wall"] = "foot"
    max_slope_deg: float = 5.0
    min_area: float = 100.0
    min_width: float = 3.0
    bore_max: float = 30.0
    web_max: float | None = None
    chord_tolerance: float = 0.01
    plane_tolerance: float = 0.001
    select: tuple[str, ...] = ()
    any_size: bool = False
    repair: bool = False
    body: str = ""
    tolerance: Tolerance | None = None
    finish_stock: float | None = None
    name: str = ""
    origin: tuple[float, float, float] | None = None
    x_axis: tuple[float, float, float] | None = None
    edits: tuple[Edit, ...] = ()
    ids: tuple[tuple[str, tuple[float, ...]], ...] = ()


def check_settings(settings: ExtractSettings) -> None:
    """Refuse settings that cannot be meant.

    Raises
    ------
    InputError
        With a finding for each fault.
    """
    findings = [*_check_choices(settings), *_check_lengths(settings), *_check_up(settings)]
    if findings:
        raise InputError(findings)


def _finding(place: str, text: str) -> Finding:
    return Finding("bad-setting", "settings", place, text)


def _check_choices(settings: ExtractSettings) -> list[Finding]:
    findings = []
    for name, allowed in (
        ("units", (None, *MM_PER_MODEL_UNIT)),
        ("side", ("top", "bottom")),
        ("boundary", ("foot", "wall")),
    ):
        value = getattr(settings, name)
        if value not in allowed:
            words = ", ".join(str(word) for word in allowed if word)
            findings.append(_finding(name, f"{value!r} came, one of {words} was expected. Correct it."))
    body = settings.body
    if body not in ("", "all") and not (body.isdecimal() and int(body) >= 1):
        findings.append(_finding("body", f"{body!r} came, a number from 1 or 'all' was expected. Correct it."))
    return findings


def _check_lengths(settings: ExtractSettings) -> list[Finding]:
    findings = []
    for name, low, high in (
        ("max_slope_deg", 0.0, 30.0),
        ("min_area", 0.0, 1e9),
        ("min_width", 0.0, 1e5),
        ("bore_max", 0.0, 1e5),
        ("web_max", 1e-3, 1e5),
        ("chord_tolerance", 1e-4, 10.0),
        ("plane_tolerance", 1e-6, 1.0),
        ("finish_stock", 0.0, 1e3),
    ):
        value = getattr(settings, name)
        if value is not None and not low <= value <= high:
            findings.append(
                _finding(name, f"{value} came, a number from {low:g} to {high:g} was expected. Correct it.")
            )
    return findings


def _check_up(settings: ExtractSettings) -> list[Finding]:
    up, axis = settings.up, settings.x_axis
    if axis is not None and hypot(*cross(up, axis)) < 1e-6 * hypot(*up) * hypot(*axis):
        return [_finding("x_axis", f"{axis!r} came, a direction that is not along up was expected. Correct it.")]
    if len(up) != 3 or not all(isfinite(value) for value in up) or hypot(*up) < 1e-9:
        return [_finding("up", f"{up!r} came, three numbers of a direction were expected, as in 0,0,1. Correct it.")]
    return []

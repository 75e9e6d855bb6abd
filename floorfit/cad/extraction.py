"""The whole way from a model to a part, as one readable function."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.cad.extract_settings import MM_PER_MODEL_UNIT, ExtractSettings, check_settings
from floorfit.cad.extracted import Extraction, Floor, RejectedFace
from floorfit.cad.orientation import WEB_LIMITS_MM, check_size, check_webs, rotation_to_part
from floorfit.cad.reading import DRAWING_SUFFIXES, STEP_SUFFIXES, RawModel, read_model
from floorfit.errors import Finding, InputError
from floorfit.part.model import Part, Pocket
from floorfit.units import MM_PER_UNIT, Unit

if TYPE_CHECKING:
    from floorfit.cad.candidates_found import Candidate
    from floorfit.cad.mesh import Mesh
    from floorfit.cad.recognise import Step

__all__ = ["extract_pockets"]

#: Directions that are tried where no floor looks up.
_AXES = ((0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
#: Other directions are tried for models of up to this many triangles: a few seconds.
_MOST_TURNED = 100_000
#: A STEP model with curved floors is read again with chords this much closer, for their heights: between its corners a
#: facet is off by a chord, on cones by up to four. Not one of more triangles than this, for the time that it takes.
_CURVED, _MOST_REREAD = 0.25, 40_000
#: Facets of a STEP file that would be off by this many chords are planes: no curved face is as coarse.
_SURELY = 5.0


def _quiet(_name: str, _share: float) -> None:
    """Say nothing."""


def extract_pockets(
    model: Any, *, settings: ExtractSettings | None = None, progress: Step | None = None, **choices: Any
) -> Extraction:
    """Read pocket geometry from a CAD model or a drawing.

    Parameters
    ----------
    model : path, or object with ``vertices`` and ``faces``
        STL, OBJ, PLY, GLB, 3MF, STEP or DXF; or for instance a trimesh mesh.
    settings : ExtractSettings, optional
        Every choice; the defaults when left out.
    progress : callable, optional
        Called with the name of the step and the share of the work done.
    **choices
        Single fields of `ExtractSettings` (``units="mm"``, ``side="bottom"``, ...) over those of ``settings``.
        For a drawing also ``layers``: a path of a table, see `floorfit.cad.dxf`.

    Returns
    -------
    Extraction

    Raises
    ------
    InputError
        If the model cannot be read, is not sound, has no floor, or a setting cannot be meant.
    MissingExtraError
        If the format needs a package that is not installed.

    Examples
    --------
    >>> import trimesh
    >>> block = trimesh.creation.box((100, 60, 20))
    >>> try:
    ...     extract_pockets(block, units="mm")
    ... except ValueError as error:
    ...     print(str(error)[:34])
    model: no pocket floor was found.
    """
    layers = choices.pop("layers", None)
    settings = replace(settings or ExtractSettings(), **choices)
    check_settings(settings)
    step = progress or _quiet
    if isinstance(model, (str, Path)) and Path(model).suffix.lower() in DRAWING_SUFFIXES:
        from floorfit.cad.dxf import read_drawing

        floors, outline, unit, findings = read_drawing(Path(model), settings, layers)
        return _finish(floors, outline, unit, [], findings, settings, Path(model).name)
    if layers is not None:
        text = "layers belong to a drawing (DXF); this is a model. Leave --layers out."
        raise InputError([Finding("bad-setting", "settings", "layers", text)])
    step("reading the model", 0.0)
    raw = _turned(read_model(model, settings), settings)
    closer = replace(settings, chord_tolerance=_CURVED * settings.chord_tolerance)
    return _from_mesh(raw, settings, step, lambda: _turned(read_model(model, closer), settings))


def _turned(raw: RawModel, settings: ExtractSettings) -> RawModel:
    check_size(raw.vertices, raw.source, raw.unit, settings)
    if settings.origin is not None:
        raw = replace(raw, vertices=raw.vertices - np.array(settings.origin) * MM_PER_MODEL_UNIT[raw.unit])
    return replace(raw, vertices=raw.vertices @ rotation_to_part(settings).T)


def _from_mesh(raw: RawModel, settings: ExtractSettings, step: Step, closer: Callable[[], RawModel]) -> Extraction:
    from floorfit.cad.closer import is_coarse, with_heights
    from floorfit.cad.describe import Rounding, describe_floors
    from floorfit.cad.drawing import ring_of
    from floorfit.cad.edited import edited_faces
    from floorfit.cad.health import sound_mesh
    from floorfit.cad.outline import part_outline
    from floorfit.cad.recognise import recognise
    from floorfit.cad.scatter import scatter_note
    from floorfit.cad.touching import touching_notes

    step("joining facets", 0.1)
    mesh, findings = sound_mesh(raw, settings)
    rounding = Rounding(25.4, 6, 7) if raw.unit == "in" else Rounding()
    found = recognise(mesh, settings, step)
    found = edited_faces(found, settings.edits, rounding.unit_mm)
    if _is_step(raw.source) and len(raw.faces) <= _MOST_REREAD and any(map(is_coarse, found.floors)):
        found = with_heights(found, sound_mesh(closer(), settings)[0], _CURVED)
    if not found.floors:
        raise InputError([Finding("no-floor", raw.source, "", _none_here(mesh, found.rejected, settings))])
    step("describing floors", 0.85)
    floors = describe_floors(found, settings, rounding)
    webs = [floor.web for floor in floors]
    if max(webs) < WEB_LIMITS_MM[0]:  # thick ones are no sign of a wrong unit: models hold whole bodies
        check_webs(webs, raw.source, raw.unit, settings)
    step("outline", 0.95)
    outline = ring_of(rounding.plan(part_outline(mesh)).exterior)
    notes = [*raw.findings, *findings, *scatter_note(mesh, raw.source), *_arc_note(floors, raw.source, settings)]
    notes += [*touching_notes(mesh, found.floors, raw.source), *_up_note(mesh, found.floors, raw.source, settings)]
    notes += [*_coarse_note(floors, raw.source, settings), *_kink_notes(floors, found.kinks, raw.source, settings)]
    if any(finding.code == "open-mesh" for finding in findings):
        notes += _open_notes(found.floors, raw.source)
    unit: Unit = "in" if raw.unit == "in" else "mm"
    return _finish(floors, outline, unit, found.rejected, notes, settings, raw.source)


def _none_here(mesh: Mesh, rejected: list[RejectedFace], settings: ExtractSettings) -> str:
    """What to say where no floor was found, with the directions in which there are some."""
    from floorfit.cad.mesh import join_mesh
    from floorfit.cad.recognise import recognise

    text = _nothing_found(rejected, settings)
    if settings.up != (0.0, 0.0, 1.0) or len(mesh.faces) > _MOST_TURNED:
        return text
    found = []
    for up in _AXES:
        turned = replace(settings, up=up, side="top", x_axis=None)
        other = join_mesh(mesh.vertices @ rotation_to_part(turned).T, mesh.faces)
        area = sum(floor.area for floor in recognise(other, turned, _quiet).floors)
        found.append((area, ",".join(f"{value:g}" for value in up)))
    area, words = max(found)
    return f"{text} Floors of {area:.4g} mm² in all look along --up {words}." if area > 0.0 else text


def _up_note(mesh: Mesh, faces: list[Candidate], source: str, settings: ExtractSettings) -> list[Finding]:
    """A warning where every floor slopes the same way: ``up`` seems to be rounded, or the part lies askew."""
    from floorfit.cad.orientation import is_askew, rounded_up

    normals = np.array([face.normal for face in faces if not face.is_shaped]).reshape(-1, 3)
    is_rounded = np.count_nonzero(settings.up) > 1
    askew = is_askew(mesh.vectors, normals)
    better = rounded_up(normals, settings, any_lean=askew)
    if better is None:
        return []
    words = ",".join(f"{value:.9g}" for value in better)
    if askew and not (is_rounded and rounded_up(normals, settings)):
        text = f"every floor slopes the same way, and nothing is level: the part lies askew. Give --up {words}."
        return [Finding("askew", source, "", text, "warning")]
    text = f"every floor slopes the same way by a little: --up seems to be rounded. Give --up {words}."
    return [Finding("rounded-up", source, "", text, "warning")]


def _open_notes(faces: list[Candidate], source: str) -> list[Finding]:
    """A warning for each floor that a hole of the surface meets."""
    text = "a hole of the surface lies in or beside the floor there: its outline is without what is missing."
    middles = [face.polygon.representative_point() for face in faces if (face.rim.outer < 0).any()]
    places = [f"({at.x:.5g}, {at.y:.5g})" for at in middles]
    return [Finding("open-floor", source, place, f"{text} Export the solid again.", "warning") for place in places]


def _is_step(source: str) -> bool:
    """Whether the facets are ours: those of a STEP file are as fine as was asked."""
    return Path(source).suffix.lower() in STEP_SUFFIXES


def _finer(source: str) -> str:
    """What to do where facets are too coarse."""
    return "Give a smaller --chord-tolerance" if _is_step(source) else "Export the model finer"


def _arc_note(floors: list[Floor], source: str, settings: ExtractSettings) -> list[Finding]:
    worst = max((floor.arc_error for floor in floors), default=0.0)
    if worst <= 1.1 * settings.chord_tolerance:
        return []
    text = f"arcs are chords up to {worst:.3g} mm off, {settings.chord_tolerance:g} mm was asked. {_finer(source)}."
    return [Finding("coarse-arcs", source, "", text, "warning")]


def _coarse_note(floors: list[Floor], source: str, settings: ExtractSettings) -> list[Finding]:
    """A warning where the facets of curved floors are far from the true floors."""
    worst = max(floors, key=lambda floor: floor.floor_error, default=None)
    if worst is None or worst.floor_error <= 1.1 * settings.chord_tolerance:
        return []
    text = (
        f"curved floors are facets up to about {worst.floor_error:.2g} mm off, {settings.chord_tolerance:g} mm was "
        f"asked: nominal heights and webs are off by as much. {_finer(source)}."
    )
    return [Finding("coarse-floor", source, "", text, "warning")]


def _kink_notes(
    floors: list[Floor], kinks: list[tuple[int, int, float]], source: str, settings: ExtractSettings
) -> list[Finding]:
    """A warning for each two floors that may be one curved floor in a coarse mesh."""
    out = []
    for a, b, turn in kinks:
        # A chord of length w from a face that turns by t to the next one is about w t / 8 off.
        off = min(_width(floors[k]) for k in (a, b)) * np.radians(turn) / 8.0
        if _is_step(source) and off > _SURELY * settings.chord_tolerance:
            continue
        places = " and ".join(f"({_middle(floors[k])})" for k in (a, b))
        text = (
            f"the floors at {places} meet in one smooth kink of {turn:.2g}°: two planes, or one curved floor in a mesh "
            "too coarse to tell. Look at the drawing; merge them with --edit, or export the model finer."
        )
        out.append(Finding("kink", source, "", text, "warning"))
    return out


def _width(floor: Floor) -> float:
    """Mean width, mm."""
    from shapely import Polygon

    return 2.0 * floor.area / float(Polygon(floor.foot).length)


def _middle(floor: Floor) -> str:
    xy = np.array(floor.foot).mean(axis=0)
    return f"{xy[0]:.5g}, {xy[1]:.5g}"


def _finish(
    floors: list[Floor],
    outline: Any,
    unit: Unit,
    rejected: list[RejectedFace],
    findings: list[Finding],
    settings: ExtractSettings,
    source: str,
) -> Extraction:
    """Number the floors, choose among them, and make the part."""
    from floorfit.cad.describe import pocket_of
    from floorfit.cad.edited import edited_pockets

    rejected = sorted(rejected, key=lambda face: (face.code == "no-wall", -face.area))
    if not floors:
        raise InputError([Finding("no-floor", source, "", _nothing_found(rejected, settings))])
    numbered = _named(_numbered(floors), settings, MM_PER_UNIT[unit], source)
    kept, left = _selected(numbered, settings, source)
    name = settings.name or Path(source).stem
    pockets = [pocket_of(floor, settings) for floor in kept]
    pockets, kept = edited_pockets(pockets, kept, settings.edits, MM_PER_UNIT[unit])
    _check_unique(pockets, source)
    part = Part(name, outline, tuple(pockets), unit, source)
    part, kept, unsound = _sound_part(part, kept)
    left += unsound
    notes = [*findings, *_default_notes(settings, source)]
    return Extraction(part, tuple(kept), (*rejected, *left), tuple(notes))


def _sound_part(part: Part, floors: list[Floor]) -> tuple[Part, list[Floor], list[RejectedFace]]:
    """Leave out floors that a part file would refuse, with its reason, so that what is written can be read."""
    from floorfit.part.part_file import part_from_document, part_to_document

    left: list[RejectedFace] = []
    while True:
        try:
            part_from_document(part_to_document(part), part.source)
        except InputError as error:
            faults = _faults_by_pocket(error)
            if not faults:
                raise
            if len(faults) >= len(floors):
                raise InputError(_all_unsound(floors, faults, part.source)) from error
            left += [_left_out(floors[i], "unsound", f"{floors[i].id}: {text}") for i, text in faults.items()]
            floors = [floor for i, floor in enumerate(floors) if i not in faults]
            part = replace(part, pockets=tuple(p for i, p in enumerate(part.pockets) if i not in faults))
        else:
            return part, floors, left


def _all_unsound(floors: list[Floor], faults: dict[int, str], source: str) -> list[Finding]:
    """Findings where floors were recognised, and a part file would refuse every one of them."""
    out = []
    for index, text in sorted(faults.items()):
        (x, y), z = floors[index].foot[0], floors[index].floor_z
        place = f"floor at ({x:.4g}, {y:.4g}, {z:.4g})"
        out.append(Finding("unsound", source, place, f"was recognised, but no part can hold it: {text}"))
    return out


def _faults_by_pocket(error: InputError) -> dict[int, str]:
    found = ((re.match(r"pockets\[(\d+)\]", finding.place), finding.text) for finding in error.findings)
    return {int(match[1]): text for match, text in found if match}


def _left_out(floor: Floor, code: str, reason: str) -> RejectedFace:
    return RejectedFace((*floor.foot[0], floor.floor_z), floor.area, code, reason, floor.foot, is_walled=True)


def _nothing_found(rejected: list[RejectedFace], settings: ExtractSettings) -> str:
    first = "; ".join(
        f"face at ({f.place[0]:.4g}, {f.place[1]:.4g}, {f.place[2]:.4g}), {f.area:.4g} mm²: {f.reason}"
        for f in rejected[:3]
    )
    none = f" No face that looks up is planar, {settings.min_area:g} mm² large and {settings.min_width:g} mm wide."
    looked = f" Looked at: {first}." if first else none
    return f"no pocket floor was found.{looked} Try --side bottom, another --up, or a smaller --min-area."


def _numbered(floors: list[Floor]) -> list[Floor]:
    """Give ids; by the wall's box, which a fillet at the foot does not change."""
    from shapely import LinearRing

    from floorfit.cad.order import pocket_ids, reading_order

    boxes = [LinearRing(floor.wall).bounds for floor in floors]
    order = reading_order(boxes, [floor.floor_z for floor in floors])
    return [replace(floors[index], id=name) for index, name in zip(order, pocket_ids(len(order)), strict=True)]


def _named(floors: list[Floor], settings: ExtractSettings, unit_mm: float, source: str) -> list[Floor]:
    """Ids of a list in place of the numbers: by places, else in reading order."""
    if not settings.ids:
        return floors
    names = [name for name, place in settings.ids if not place]
    if names and len(names) != len(floors):
        text = f"--ids lists {len(names)} ids, {len(floors)} floors were found. Correct the list, or give places."
        raise InputError([Finding("id-count", source, "", text)])
    out = [replace(floor, id=name) for floor, name in zip(floors, names, strict=True)] if names else list(floors)
    for name, place in settings.ids:
        here = [k for k, floor in enumerate(floors) if place and _covers(floor, place, unit_mm)]
        if place and not here:
            text = f"--ids: no floor lies at {place[0]:g} {place[1]:g}, where {name} was expected. Correct the list."
            raise InputError([Finding("no-floor-there", source, "", text)])
        for k in here[:1]:
            out[k] = replace(floors[k], id=name)
    return out


def _covers(floor: Floor, place: tuple[float, ...], unit_mm: float) -> bool:
    from shapely import Point, Polygon

    return bool(Polygon(floor.foot, floor.foot_islands).covers(Point(place[0] * unit_mm, place[1] * unit_mm)))


def _check_unique(pockets: list[Pocket], source: str) -> None:
    names = [pocket.id for pocket in pockets]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        text = f"{', '.join(twice)}: two floors have this id after the list or the edits. Give each its own."
        raise InputError([Finding("same-id", source, "", text)])


def _selected(floors: list[Floor], settings: ExtractSettings, source: str) -> tuple[list[Floor], list[RejectedFace]]:
    if not settings.select:
        return floors, []
    unknown = sorted(set(settings.select) - {floor.id for floor in floors})
    if unknown:
        text = f"--select names {', '.join(unknown)}; found were {floors[0].id} to {floors[-1].id}. Correct the list."
        raise InputError([Finding("unknown-id", source, "", text)])
    kept = [floor for floor in floors if floor.id in settings.select]
    rest = (floor for floor in floors if floor.id not in settings.select)
    left = [_left_out(floor, "not-selected", f"{floor.id} was not selected") for floor in rest]
    return kept, left


def _default_notes(settings: ExtractSettings, source: str) -> list[Finding]:
    notes = []
    if settings.tolerance is None:
        text = "no --tolerance was given: ±0.1 mm (ISO 2768-1 class m) was written. Check it against the drawing."
        notes.append(Finding("default-tolerance", source, "", text, "warning"))
    if settings.finish_stock is None:
        text = "no --finish-stock was given: 0 was written. Give what roughing leaves on the floors."
        notes.append(Finding("default-stock", source, "", text, "warning"))
    return notes

"""Floors from a drawing (DXF): closed outlines on layers that name floor Z and web.

Lines, arcs, circles, ellipses, splines, polylines with bulges and blocks are read; lines and arcs are joined where
their ends meet. In a layer, an outline inside another is an island. Lengths are in the drawing's unit ($INSUNITS), or
in ``--units``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from floorfit.cad.boundary import arcs_of
from floorfit.cad.describe import corner_radius
from floorfit.cad.drawing import polygon_parts, ring_of, tidy_polygon
from floorfit.cad.dxf_doubts import CURVES, doubt_of, hatch_doubts, is_seen, left_out, scale_doubts
from floorfit.cad.dxf_layers import LayerMeaning, layer_of_name, read_layer_table
from floorfit.cad.edits import SHAPING
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import Floor
from floorfit.cad.loops import chain_rings, is_thin, nest_rings
from floorfit.cad.mesh import Floats
from floorfit.cad.orientation import check_size, check_webs
from floorfit.cad.reading import check_extra, check_path, unit_of
from floorfit.errors import Finding, InputError
from floorfit.part.model import Ring
from floorfit.units import Unit

__all__ = ["read_drawing"]

#: $INSUNITS of the DXF reference, group HEADER: 1 inches, 2 feet, 4 millimetres, 5 centimetres, 6 metres.
_INSUNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0}
_DEEPEST_BLOCK = 16
#: Settings that a drawing cannot follow.
_OF_MODELS = ("up", "side", "x_axis", "boundary", "body")
#: How often a piece of a spline is halved at most.
_HALVINGS = 24
#: Control points of a polyline that was fitted with a spline (DXF reference, VERTEX, group code 70): no part of it.
_FRAME_POINT = 16


def read_drawing(
    path: Path, settings: ExtractSettings, layers: str | Path | None
) -> tuple[list[Floor], Ring, Unit, list[Finding]]:
    """Read the floors of a drawing.

    Parameters
    ----------
    path : path
        DXF file.
    settings : ExtractSettings
    layers : path, optional
        Table of layers; names of layers are read by their pattern when left out.

    Returns
    -------
    floors : list of Floor
        Without ids.
    outline : Ring
    unit : {"mm", "in"}
    findings : list of Finding

    Raises
    ------
    InputError
        If the drawing cannot be read, states no unit, or an outline does not close.
    MissingExtraError
        If ezdxf is not installed.
    """
    _refuse_of_models(settings)
    document = _open(path)
    mm, unit, findings = _unit(document, path.name, settings)
    meanings = read_layer_table(layers) if layers is not None else None
    pieces, hatches, notes = _pieces(document, meanings, mm, settings.chord_tolerance, path.name)
    shapes, faults = _shapes(pieces, meanings, path.name)
    if faults:
        raise InputError(faults)
    floors = [_floor(polygon, meaning, mm) for meaning, polygon in _with_steps(shapes)]
    layers_drawn = sorted({entity.dxf.layer for entity in document.modelspace()})
    outline, missing = _outline(shapes, floors, path.name, layers_drawn)
    check_size(np.array(outline), path.name, unit, settings)
    notes += check_webs([floor.web for floor in floors], path.name, unit, settings)
    rings = {layer: polygons for layer, (_, polygons) in shapes.items()}
    notes += [*hatch_doubts(hatches, rings, path.name), *scale_doubts(document, outline, mm, path.name)]
    if settings.origin is not None:
        dx, dy, dz = (-value * mm for value in settings.origin)
        floors, outline = [_moved_floor(floor, dx, dy, dz) for floor in floors], _moved(outline, dx, dy)
    return floors, outline, "in" if unit == "in" else "mm", [*findings, *notes, *missing]


def _refuse_of_models(settings: ExtractSettings) -> None:
    """Refuse what a drawing cannot follow, rather than leave it undone."""
    plain = ExtractSettings()
    text = "this is for models; a drawing has its floors from its layers, as seen from above. Leave it out."
    names = [name for name in _OF_MODELS if getattr(settings, name) != getattr(plain, name)]
    findings = [Finding("bad-setting", "settings", name, text) for name in names]
    shaping = [edit for edit in settings.edits if edit.action in SHAPING]
    text = "a drawing has the floors that are drawn: rename, tolerance, stock and web are for it. Change the drawing."
    findings += [Finding("bad-edit", edit.where, "", f"{edit.action}: {text}") for edit in shaping]
    if findings:
        raise InputError(findings)


def _moved(ring: Ring, dx: float, dy: float) -> Ring:
    return tuple((x + dx, y + dy) for x, y in ring)


def _moved_floor(floor: Floor, dx: float, dy: float, dz: float) -> Floor:
    """A floor as seen from another zero."""
    foot, islands = _moved(floor.foot, dx, dy), tuple(_moved(ring, dx, dy) for ring in floor.foot_islands)
    return replace(
        floor, foot=foot, wall=foot, foot_islands=islands, wall_islands=islands, floor_z=floor.floor_z + dz,
        underside_z=floor.underside_z + dz,
    )  # fmt: skip


def _open(path: Path) -> Any:
    check_extra(".dxf")
    check_path(path)
    try:
        from ezdxf.filemanagement import readfile

        return readfile(str(path))
    except Exception as error:  # a broken file may end in any error of its reader
        text = f"cannot be read as DXF ({type(error).__name__}). Save it again as DXF, release 2000 or later."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error


def _unit(document: Any, source: str, settings: ExtractSettings) -> tuple[float, str, tuple[Finding, ...]]:
    code = int(document.header.get("$INSUNITS", 0))
    own = _INSUNITS.get(code)
    stated = settings.units
    if stated is None and own is None:
        is_set = f"is {code}, which is not read" if code else "is not set"
        text = f"the drawing states no unit ($INSUNITS {is_set}). State it: --units mm, cm, m or in."
        raise InputError([Finding("no-unit", source, "", text)])
    mm, unit, findings = unit_of("drawing", source, own, stated)
    return mm, "in" if mm == _INSUNITS[2] else unit, findings


Pieces = dict[str, list[Floats]]
Shapes = dict[str, tuple[LayerMeaning, list[shapely.Polygon]]]


def _pieces(
    document: Any, meanings: dict[str, LayerMeaning] | None, mm: float, chord: float, source: str
) -> tuple[Pieces, Pieces, list[Finding]]:
    """Polylines in mm of every layer that means something, its hatches' rings, and what was left out."""
    out: Pieces = {}
    hatches: Pieces = {}
    left: Counter[tuple[str, str, str]] = Counter()
    for layer, entity, seen in _flat(document, document.modelspace(), "", 0, source):
        meaning = _meaning(layer, meanings)
        doubt = doubt_of(entity, layer, seen, meaning is not None, meanings is None)
        left[doubt, layer, entity.dxftype()] += 1
        if doubt or meaning is None:
            continue
        if entity.dxftype() == "HATCH" and seen:
            hatches.setdefault(layer, []).extend(ring * mm for ring in _hatch_rings(entity, chord / mm))
        elif entity.dxftype() in CURVES:
            curve = _flattened(layer, entity, chord / mm, source) * mm
            out.setdefault(layer, []).append(curve[:, :2])
            if np.ptp(curve[:, 2]) > chord:
                left["not-level", layer, entity.dxftype()] += 1
    return out, hatches, left_out(left, source)


def _hatch_rings(entity: Any, sagitta: float) -> list[Floats]:
    from ezdxf.path import from_hatch

    paths = (np.array([(p[0], p[1]) for p in path.flattening(sagitta)], float) for path in from_hatch(entity))
    return [ring for ring in paths if len(ring) >= 4]


def _meaning(layer: str, meanings: dict[str, LayerMeaning] | None) -> LayerMeaning | None:
    named = layer_of_name(layer)
    if meanings is None:
        return named
    # A table is for other names: the part's outline needs none.
    return meanings.get(layer.lower(), named if named is not None and named.is_outline else None)


def _flat(
    document: Any, entities: Any, layer: str, depth: int, source: str, seen: bool = True
) -> Iterator[tuple[str, Any, bool]]:
    """Every simple entity with its layer and whether it is shown; inside a block, layer 0 is that of the insert."""
    for entity in entities:
        own = entity.dxf.layer
        name = layer if own == "0" and layer else own
        shown = seen and is_seen(document, entity, name)
        kind = entity.dxftype()
        if kind == "INSERT" and depth < _DEEPEST_BLOCK and not _is_external(entity):
            for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
                yield from _flat(document, _contents(single, name, source), name, depth + 1, source, shown)
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            # Bulges become arcs, so that they are flattened by their own circle.
            yield from ((name, piece, shown) for piece in _contents(entity, name, source))
        else:
            yield name, entity, shown


def _is_external(insert: Any) -> bool:
    """Whether a block lies in another file."""
    block = insert.block()
    return block is not None and bool(block.block.is_xref)


def _contents(entity: Any, layer: str, source: str) -> list[Any]:
    """What a block or a polyline is made of; refused where its scales or directions have no meaning."""
    skipped: list[Any] = []
    kind = entity.dxftype()
    name = entity.dxf.get("name", "") if kind == "INSERT" else ""
    what = f"block {name!r} is inserted in a way that" if name else f"a {kind}"
    with _workable(f"{what} cannot be worked out", "Explode it, or draw it again.", layer, source):
        if kind != "INSERT":
            entity = entity.copy()
            entity.dxf.discard("linetype")  # one that the drawing does not define is refused by the library
            if kind == "POLYLINE":
                entity.vertices[:] = [corner for corner in entity.vertices if not corner.dxf.flags & _FRAME_POINT]
            return list(entity.virtual_entities())
        if entity.dxf.zscale == 0.0:
            # Plan programs write a Z scale of 0; it has no inverse, and plan coordinates do not hang on it.
            entity = entity.copy()
            entity.dxf.zscale = 1.0
        parts = list(entity.virtual_entities(skipped_entity_callback=lambda part, _: skipped.append(part)))
        if any(part.dxftype() in CURVES for part in skipped):
            raise ValueError("its scales are not the same")
    return [*parts, *skipped]


@contextmanager
def _workable(what: str, remedy: str, layer: str, source: str) -> Iterator[None]:
    """Refuse an entity whose values the library cannot work with."""
    from ezdxf.lldxf.const import DXFError

    try:
        yield
    except (ValueError, ArithmeticError, TypeError, IndexError, DXFError) as error:
        text = f"{what} ({error}). {remedy}"
        raise InputError([Finding("bad-entity", source, f"layer {layer}", text)]) from error


def _flattened(layer: str, entity: Any, sagitta: float, source: str) -> Floats:
    """Points of a line, arc, circle, ellipse or spline within ``sagitta`` of its curve."""
    kind = entity.dxftype()
    with _workable(f"a {kind} cannot be read", "Draw it again.", layer, source):
        if kind == "LINE":
            points = [entity.dxf.start, entity.dxf.end]
        elif kind == "SPLINE":
            return _on_spline(entity.construction_tool(), sagitta)
        else:
            points = list(entity.flattening(sagitta))
    return np.array([(point[0], point[1], point[2]) for point in points], float)


def _on_spline(curve: Any, sagitta: float) -> Floats:
    """Points of a spline between its first and last knot that as many basis functions share as elsewhere.

    A spline that closes smoothly has knots before and behind that, where it is no curve (Piegl and Tiller, The NURBS
    Book, 1997, section 12.2: unclamped knots).
    """
    knots = np.array(curve.knots())[curve.degree : -curve.degree]
    at = np.unique(np.linspace(knots[:-1], knots[1:], 9))
    for _ in range(_HALVINGS):
        xyz = np.array([(p.x, p.y, p.z) for p in curve.points(at)], float)
        between = 0.5 * (at[:-1] + at[1:])
        middles = shapely.points([(p.x, p.y) for p in curve.points(between)])
        far = shapely.distance(middles, shapely.linestrings(np.stack([xyz[:-1], xyz[1:]], axis=1)[:, :, :2])) > sagitta
        if not far.any():
            break
        at = np.sort(np.r_[at, between[far]])
    return xyz


def _shapes(pieces: Pieces, meanings: dict[str, LayerMeaning] | None, source: str) -> tuple[Shapes, list[Finding]]:
    shapes: Shapes = {}
    findings: list[Finding] = []
    for layer, lines in pieces.items():
        meaning = _meaning(layer, meanings)
        rings, faults = chain_rings(lines)
        polygons, crossings = nest_rings(rings)
        if meaning is not None:
            shapes[layer] = (meaning, polygons)
        if meaning is not None and meaning.web is not None and meaning.web <= 0.0:
            crossings = [*crossings, f"the web is {meaning.web:g}, more than 0 was expected"]
        findings += [
            Finding("bad-outline", source, f"layer {layer}", f"{fault}. Correct the drawing.")
            for fault in [*faults, *crossings][:20]
        ]
    if meanings is not None:
        text = "the table names it, the drawing has no outline on it. Correct it."
        missing = [name for name in meanings if name not in {layer.lower() for layer in pieces}]
        findings += [Finding("empty-layer", source, f"layer {name}", text) for name in missing]
    return shapes, findings


def _with_steps(shapes: Shapes) -> list[tuple[LayerMeaning, shapely.Polygon]]:
    """Floors without what floors of other layers take of them that lie inside them: steps up or down."""
    out = []
    drawn = {layer: polygons for layer, (meaning, polygons) in shapes.items() if not meaning.is_outline}
    for layer, polygons in drawn.items():
        others = [shapely.Polygon(other.exterior) for name in drawn if name != layer for other in drawn[name]]
        for polygon in polygons:
            inside = [other for other in others if polygon.covers(other)]
            rest = polygon_parts(polygon.difference(shapely.union_all(inside))) if inside else [polygon]
            out += [(shapes[layer][0], part) for part in ([polygon] if any(map(is_thin, rest)) else rest)]
    return out


def _outline(shapes: Shapes, floors: list[Floor], source: str, drawn_on: list[str]) -> tuple[Ring, list[Finding]]:
    """The part's outline; the rectangle round the floors where the drawing has none."""
    if not floors:
        used = ", ".join(drawn_on[:8]) + (", ..." if len(drawn_on) > 8 else "") if drawn_on else "none"
        text = "no closed outline on a layer named FLOOR Z... WEB... was found. "
        text += f"The drawing's layers: {used}. Name the layers so, or give --layers."
        raise InputError([Finding("no-floor", source, "", text)])
    drawn = [polygon for meaning, polygons in shapes.values() if meaning.is_outline for polygon in polygons]
    if drawn:
        largest = max(drawn, key=lambda polygon: polygon.area)
        notes = [*_windows(largest, floors, source), *_other_outlines(largest, drawn, source)]
        return _ring(shapely.Polygon(largest.exterior)), notes
    x0, y0, x1, y1 = shapely.union_all([shapely.Polygon(floor.foot) for floor in floors]).bounds
    text = "no layer OUTLINE: the rectangle round the floors was taken as the part's outline."
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), [Finding("no-outline", source, "", text, "warning")]


def _windows(plate: shapely.Polygon, floors: list[Floor], source: str) -> list[Finding]:
    """Rings inside the part's outline that take metal from under a floor."""
    shapes = [shapely.Polygon(floor.foot, floor.foot_islands) for floor in floors]
    holes = [shapely.Polygon(hole) for hole in plate.interiors]
    cut = [hole for hole in holes if any(shape.intersection(hole).area > 1e-6 * hole.area for shape in shapes)]
    places = [f"({hole.centroid.x:.5g}, {hole.centroid.y:.5g}) mm" for hole in cut]
    text = "a ring on the outline's layer lies in a floor: a window, or no part of the outline."
    return [Finding("window", source, place, f"{text} Draw an island there too.", "warning") for place in places]


def _other_outlines(plate: shapely.Polygon, drawn: list[shapely.Polygon], source: str) -> list[Finding]:
    """Outlines beside the one that was taken, the largest: another view, or another part."""
    whole = shapely.Polygon(plate.exterior)
    others = [other.centroid for other in drawn if not whole.covers(other)]
    if not others:
        return []
    text = (
        f"{len(others)} more outlines of a part, the first near ({others[0].x:.5g}, {others[0].y:.5g}) mm: the largest "
        "was taken, and what lies in the others is left out. Draw one part, and its outline once."
    )
    return [Finding("outlines", source, "", text, "warning")]


def _ring(polygon: shapely.Polygon) -> Ring:
    return ring_of(tidy_polygon(polygon, 1e-6).exterior)


def _floor(polygon: shapely.Polygon, meaning: LayerMeaning, mm: float) -> Floor:
    z, web = (meaning.floor_z or 0.0) * mm, (meaning.web or 0.0) * mm
    tidy = tidy_polygon(polygon, 1e-6)
    foot, islands = ring_of(tidy.exterior), tuple(ring_of(hole) for hole in tidy.interiors)
    arcs = arcs_of(np.array(foot))
    return Floor(
        foot=foot,
        foot_islands=islands,
        wall=foot,
        wall_islands=islands,
        floor_z=z,
        underside_z=z - web,
        web=web,
        web_min=web,
        web_max=web,
        area=float(tidy.area),
        corner_radius=corner_radius(arcs),
        arc_error=max((arc.sagitta for arc in arcs), default=0.0),
    )

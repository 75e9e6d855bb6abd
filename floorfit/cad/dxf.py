"""Floors from a drawing (DXF): closed outlines on layers that name floor Z and web.

Lines, arcs, circles, ellipses, splines, polylines with bulges and blocks are read; lines and arcs are joined where
their ends meet. In a layer, an outline inside another is an island. Lengths are in the drawing's unit ($INSUNITS), or
in ``--units``.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from floorfit.cad.boundary import arcs_of
from floorfit.cad.describe import corner_radius, ring_of
from floorfit.cad.drawing import tidy_polygon
from floorfit.cad.dxf_layers import LayerMeaning, layer_of_name, read_layer_table
from floorfit.cad.extract_settings import MM_PER_MODEL_UNIT, ExtractSettings
from floorfit.cad.extracted import Floor
from floorfit.cad.loops import chain_rings, nest_rings
from floorfit.cad.mesh import Floats
from floorfit.cad.orientation import check_size
from floorfit.errors import Finding, InputError, MissingExtraError
from floorfit.part.model import Ring
from floorfit.units import Unit

__all__ = ["read_drawing"]


#: $INSUNITS of the DXF reference, group HEADER: 1 inches, 2 feet, 4 millimetres, 5 centimetres, 6 metres.
_INSUNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0}
_DEEPEST_BLOCK = 16
_IGNORED = frozenset(
    {"TEXT", "MTEXT", "DIMENSION", "HATCH", "POINT", "LEADER", "MULTILEADER", "ATTDEF", "ATTRIB", "VIEWPORT"}
)


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
    if settings.side != "top" or tuple(settings.up) != (0.0, 0.0, 1.0):
        text = "a drawing has one side only. Leave --side and --up out."
        raise InputError([Finding("bad-setting", "settings", "side", text)])
    document = _open(path)
    mm, unit, findings = _unit(document, path.name, settings)
    meanings = read_layer_table(layers) if layers is not None else None
    pieces, notes = _pieces(document, meanings, mm, settings.chord_tolerance, path.name)
    shapes, faults = _shapes(pieces, meanings, path.name)
    if faults:
        raise InputError(faults)
    floors = [
        _floor(polygon, meaning, mm) for meaning, polygons in shapes if not meaning.is_outline for polygon in polygons
    ]
    layers_drawn = sorted({entity.dxf.layer for entity in document.modelspace()})
    outline, missing = _outline(shapes, floors, path.name, layers_drawn)
    check_size(np.array(outline), path.name, unit, settings)
    return floors, outline, "in" if unit == "in" else "mm", [*findings, *notes, *missing]


def _open(path: Path) -> Any:
    try:
        from ezdxf.filemanagement import readfile
    except ImportError as error:
        raise MissingExtraError("reading DXF needs one more package: pip install 'floorfit[dxf]'") from error
    if not path.is_file():
        raise InputError([Finding("no-file", str(path), "", "there is no such file. Check the path.")])
    try:
        return readfile(str(path))
    except Exception as error:  # a broken file may end in any error of its reader
        text = f"cannot be read as DXF ({type(error).__name__}). Save it again as DXF, release 2000 or later."
        raise InputError([Finding("unreadable", str(path), "", text)]) from error


def _unit(document: Any, source: str, settings: ExtractSettings) -> tuple[float, str, list[Finding]]:
    own = _INSUNITS.get(int(document.header.get("$INSUNITS", 0)))
    stated = settings.units
    if stated is None and own is None:
        text = "the drawing states no unit ($INSUNITS is not set). State it: --units mm, cm, m or in."
        raise InputError([Finding("no-unit", source, "", text)])
    if stated is None or own == MM_PER_MODEL_UNIT[stated]:
        mm = own if own is not None else MM_PER_MODEL_UNIT[stated or "mm"]
        return mm, "in" if mm in (25.4, 304.8) else "mm", []
    findings = []
    if own is not None:
        text = f"the drawing's own unit is {own:g} mm, --units {stated} was stated and is used. Check the size."
        findings = [Finding("unit-overridden", source, "", text, "warning")]
    return MM_PER_MODEL_UNIT[stated], stated, findings


Pieces = dict[str, list[Floats]]


def _pieces(
    document: Any, meanings: dict[str, LayerMeaning] | None, mm: float, chord: float, source: str
) -> tuple[Pieces, list[Finding]]:
    """Polylines in mm of every layer that means something."""
    out: Pieces = {}
    strange: dict[tuple[str, str], int] = {}
    for layer, entity in _flat(document.modelspace(), "", 0, source):
        if _meaning(layer, meanings) is None:
            continue
        kind = entity.dxftype()
        points = _flattened(layer, entity, chord / mm, source)
        if points is not None:
            out.setdefault(layer, []).append(points * mm)
        elif kind not in _IGNORED:
            strange[layer, kind] = strange.get((layer, kind), 0) + 1
    notes = [
        Finding("not-an-outline", source, f"layer {layer}", f"{count} {kind} were left out: no outline.", "warning")
        for (layer, kind), count in sorted(strange.items())
    ]
    return out, notes


def _meaning(layer: str, meanings: dict[str, LayerMeaning] | None) -> LayerMeaning | None:
    return layer_of_name(layer) if meanings is None else meanings.get(layer.lower())


def _flat(entities: Any, layer: str, depth: int, source: str) -> Iterator[tuple[str, Any]]:
    """Every simple entity with its layer; inside a block, layer 0 stands for the layer of the insert."""
    for entity in entities:
        own = entity.dxf.layer
        name = layer if own == "0" and layer else own
        kind = entity.dxftype()
        if kind == "INSERT" and depth < _DEEPEST_BLOCK:
            for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
                yield from _flat(_contents(single, name, source), name, depth + 1, source)
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            # Bulges become arcs, so that they are flattened by their own circle.
            yield from ((name, piece) for piece in _contents(entity, name, source))
        else:
            yield name, entity


def _contents(entity: Any, layer: str, source: str) -> list[Any]:
    """What a block or a polyline is made of; refused where its scales or directions have no meaning."""
    from ezdxf.lldxf.const import DXFError

    if entity.dxftype() == "INSERT" and entity.dxf.zscale == 0.0:
        # Plan programs write a Z scale of 0; it has no inverse, and plan coordinates do not hang on it.
        entity = entity.copy()
        entity.dxf.zscale = 1.0
    try:
        return list(entity.virtual_entities())
    except (ValueError, ArithmeticError, TypeError, IndexError, DXFError) as error:
        name = entity.dxf.get("name", "")
        what = f"block {name!r} is inserted in a way that" if name else f"a {entity.dxftype()}"
        text = f"{what} cannot be worked out ({error}). Explode it, or draw it again."
        raise InputError([Finding("bad-entity", source, f"layer {layer}", text)]) from error


def _flattened(layer: str, entity: Any, sagitta: float, source: str) -> Floats | None:
    try:
        return _points(entity, sagitta)
    except (ValueError, ArithmeticError, TypeError, IndexError) as error:
        text = f"a {entity.dxftype()} cannot be read ({error}). Draw it again."
        raise InputError([Finding("bad-entity", source, f"layer {layer}", text)]) from error


def _points(entity: Any, sagitta: float) -> Floats | None:
    """Points of an entity within ``sagitta`` of its curve; None where it is no curve."""
    kind = entity.dxftype()
    if kind == "LINE":
        points = [entity.dxf.start, entity.dxf.end]
    elif kind in ("ARC", "CIRCLE", "ELLIPSE"):
        points = list(entity.flattening(sagitta))
    elif kind == "SPLINE":
        points = list(entity.flattening(sagitta, segments=8))
    else:
        return None
    return np.array([(point[0], point[1]) for point in points], float)


def _shapes(
    pieces: Pieces, meanings: dict[str, LayerMeaning] | None, source: str
) -> tuple[list[tuple[LayerMeaning, list[shapely.Polygon]]], list[Finding]]:
    shapes, findings = [], []
    for layer, lines in pieces.items():
        meaning = _meaning(layer, meanings)
        rings, faults = chain_rings(lines)
        polygons, crossings = nest_rings(rings)
        if meaning is not None:
            shapes.append((meaning, polygons))
        if meaning is not None and meaning.web is not None and meaning.web <= 0.0:
            crossings = [*crossings, f"the web is {meaning.web:g}, more than 0 was expected"]
        findings += [
            Finding("bad-outline", source, f"layer {layer}", f"{fault}. Correct the drawing.")
            for fault in [*faults, *crossings][:20]
        ]
    if meanings is not None:
        here = {layer.lower() for layer in pieces}
        findings += [
            Finding(
                "empty-layer",
                source,
                f"layer {name}",
                "the table names it, the drawing has no outline on it. Correct it.",
            )
            for name in meanings
            if name not in here
        ]
    return shapes, findings


def _outline(
    shapes: list[tuple[LayerMeaning, list[shapely.Polygon]]], floors: list[Floor], source: str, drawn_on: list[str]
) -> tuple[Ring, list[Finding]]:
    """The part's outline; the rectangle round the floors where the drawing has none."""
    drawn = [polygon for meaning, polygons in shapes if meaning.is_outline for polygon in polygons]
    if drawn:
        largest = max(drawn, key=lambda polygon: polygon.area)
        return _ring(shapely.Polygon(largest.exterior)), []
    if not floors:
        used = ", ".join(drawn_on[:8]) + (", ..." if len(drawn_on) > 8 else "") if drawn_on else "none"
        text = "no closed outline on a layer named FLOOR Z... WEB... was found. "
        text += f"The drawing's layers: {used}. Name the layers so, or give --layers."
        raise InputError([Finding("no-floor", source, "", text)])
    x0, y0, x1, y1 = shapely.union_all([shapely.Polygon(floor.foot) for floor in floors]).bounds
    text = "no layer OUTLINE: the rectangle round the floors was taken as the part's outline."
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), [Finding("no-outline", source, "", text, "warning")]


def _ring(polygon: shapely.Polygon) -> Ring:
    return ring_of(tidy_polygon(polygon, 1e-6).exterior)


def _floor(polygon: shapely.Polygon, meaning: LayerMeaning, mm: float) -> Floor:
    z, web = (meaning.floor_z or 0.0) * mm, (meaning.web or 0.0) * mm
    tidy = tidy_polygon(polygon, 1e-6)
    foot, islands = ring_of(tidy.exterior), tuple(ring_of(hole) for hole in tidy.interiors)
    arcs = arcs_of(np.array(foot))
    return Floor(
        id="",
        foot=foot,
        foot_islands=islands,
        wall=foot,
        wall_islands=islands,
        hole_kinds=("island",) * len(islands),
        floor_z=z,
        underside_z=z - web,
        slope=(0.0, 0.0),
        web=web,
        web_min=web,
        web_max=web,
        area=float(tidy.area),
        fillet_radius=0.0,
        corner_radius=corner_radius(arcs),
        wall_share=1.0,
        fillet_share=0.0,
        step_share=0.0,
        open_share=0.0,
        arc_error=max((arc.sagitta for arc in arcs), default=0.0),
    )

"""What a drawing leaves open: things that are hidden, in another file, not drawn as outlines, or not to scale."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np
import shapely

from floorfit.cad.mesh import Floats
from floorfit.cad.orientation import SIZE_LIMITS_MM
from floorfit.errors import Finding
from floorfit.part.model import Ring
from floorfit.units import MM_PER_INCH

__all__ = ["CURVES", "doubt_of", "hatch_doubts", "is_seen", "left_out", "scale_doubts"]

#: What outlines are made of.
CURVES = frozenset({"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"})
#: Words, dimensions and lines without end bound nothing. Hatches are asked about by `hatch_doubts`.
_WORDS_AND_LINES = """
    TEXT MTEXT ATTDEF ATTRIB LEADER MULTILEADER TOLERANCE ACAD_TABLE DIMENSION ARC_DIMENSION LARGE_RADIAL_DIMENSION
    POINT RAY XLINE VIEWPORT HATCH
"""
_NO_BOUND = frozenset(_WORDS_AND_LINES.split())
#: Names of layers that seem to be meant for floors or their islands, in the languages of our pages.
_FLOOR_LIKE = re.compile(r"FLOOR|POCKET|ISLAND|TASCHE|INSEL|Z[ _-]*[-+]?[.,]?\d.*WEB", re.IGNORECASE)
#: A hatch that shares this much of its area with an outline of its layer fills it.
_FILLS = 0.9
#: A dimension that shows a length other by more than this share is not to scale: more than rounding.
_TO_SCALE = 0.01
#: A length that was typed in place of the measured one, with or without its tolerance.
_TYPED = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:mm|in)?\s*(?:[±+(].*)?")
_WORDS = {
    "not-an-outline": "left out, since no outline: {count} {kind}. Draw lines, arcs or polylines in their place.",
    "hidden": "left out, since hidden, or on a layer that is off or frozen: {count} {kind}. Show them, or delete them.",
    "layer-name": (
        "left out: {count} {kind}. The layer seems to be meant for floors, and its name was not read. Name it "
        "FLOOR Z<floor z> WEB<web>, or give --layers."
    ),
    "not-level": (
        "taken as seen from above: {count} {kind} whose ends differ in Z. A floor of a layer is level: draw it so, or "
        "take its slope from a model."
    ),
    "external": "left out, since in another file: {count} {kind} of a block. Bind it into the drawing.",
}


def is_seen(document: Any, entity: Any, layer: str) -> bool:
    """Whether an entity is shown: itself, and its layer neither off nor frozen.

    Parameters
    ----------
    document : ezdxf document
    entity : ezdxf entity
    layer : str
        Its layer, or that of the block it is in.
    """
    if entity.dxf.get("invisible", 0):
        return False
    if layer not in document.layers:
        return True
    drawn_on = document.layers.get(layer)
    return not (drawn_on.is_off() or drawn_on.is_frozen())


def doubt_of(entity: Any, layer: str, seen: bool, is_known: bool, by_name: bool) -> str:
    """Code of what is left open with an entity; empty where it is taken, or bounds nothing.

    Parameters
    ----------
    entity : ezdxf entity
    layer : str
    seen : bool
        Whether it is shown.
    is_known : bool
        Whether the layer means something.
    by_name : bool
        Whether layers are read by their names.
    """
    kind = entity.dxftype()
    if kind == "INSERT":
        return "external"
    if kind in _NO_BOUND:
        return ""
    if not is_known:
        return "layer-name" if by_name and kind in CURVES and _FLOOR_LIKE.search(layer) else ""
    if not seen:
        return "hidden"
    return "" if kind in CURVES else "not-an-outline"


def left_out(left: Counter[tuple[str, str, str]], source: str) -> list[Finding]:
    """A warning for each code, layer and kind of entity that was left out, or is not level.

    Parameters
    ----------
    left : Counter of (code, layer, kind)
        An empty code stands for what was not left out.
    source : str
        File name for messages.
    """
    return [
        Finding(code, source, f"layer {layer}", _WORDS[code].format(count=count, kind=kind), "warning")
        for (code, layer, kind), count in sorted(left.items())
        if code
    ]


def hatch_doubts(
    hatches: dict[str, list[Floats]], drawn: dict[str, list[shapely.Polygon]], source: str
) -> list[Finding]:
    """A warning for each hatch on a layer of floors that no outline there bounds: an island or a floor, not drawn.

    Parameters
    ----------
    hatches : dict of list of (n, 2) ndarray, mm
        Rings of hatches by layer.
    drawn : dict of list of Polygon
        Floors by layer, with their islands.
    source : str
        File name for messages.
    """
    out = []
    for layer, rings in hatches.items():
        shapes = [
            shapely.Polygon(ring) for shape in drawn.get(layer, []) for ring in (shape.exterior, *shape.interiors)
        ]
        for ring in rings:
            area = shapely.make_valid(shapely.Polygon(ring))
            if any(area.intersection(shape).area >= _FILLS * area.union(shape).area for shape in shapes):
                continue
            x, y = area.centroid.coords[0] if not area.is_empty else ring[0]
            text = f"a hatch near ({x:.5g}, {y:.5g}) mm is bounded by no outline of this layer. Draw its outline."
            out.append(Finding("hatch", source, f"layer {layer}", text, "warning"))
    return out


def scale_doubts(document: Any, outline: Ring, mm: float, source: str) -> list[Finding]:
    """A warning where dimensions of the part show lengths that are not drawn: the drawing is not to scale.

    Not where they show the same length in another unit: millimetres or inches beside another unit of the drawing, or
    by a factor with which no plate would be of that size (a style meant for maps).

    Parameters
    ----------
    document : ezdxf document
    outline : Ring, mm
    mm : float
        Millimetres in the drawing's unit.
    source : str
        File name for messages.
    """
    plate, size = shapely.Polygon(outline).buffer(1.0), float(np.ptp(np.array(outline), axis=0).max())
    odd = []
    for entity in document.modelspace().query("DIMENSION"):
        ends = [entity.dxf.get(name) for name in ("defpoint2", "defpoint3")]
        if entity.dimtype not in (0, 1) or any(end is None for end in ends):
            continue
        if not shapely.contains_xy(plate, np.array([(end[0], end[1]) for end in ends], float) * mm).all():
            continue
        drawn, shown = float(entity.get_measurement()), _shown(entity)
        if drawn <= 0.0 or any(abs(shown / drawn - unit) <= _TO_SCALE * unit for unit in (1.0, mm, mm / MM_PER_INCH)):
            continue
        if SIZE_LIMITS_MM[0] <= size * shown / drawn <= SIZE_LIMITS_MM[1]:
            odd.append((ends[0], drawn, shown))
    if not odd:
        return []
    (x, y, _), drawn, shown = odd[0]
    text = (
        f"{len(odd)} dimensions show lengths that are not drawn, the first near ({x:.5g}, {y:.5g}): {shown:g} for "
        f"{drawn:g}. Draw the part in full size, or correct the dimensions."
    )
    return [Finding("not-to-scale", source, "", text, "warning")]


def _shown(entity: Any) -> float:
    """Length that a dimension shows: what was typed, or what was measured times its factor (DIMLFAC)."""
    typed = _TYPED.fullmatch(entity.dxf.get("text", ""))
    if typed is not None:
        return float(typed[1].replace(",", "."))
    factor = float(entity.override().get("dimlfac", 1.0))
    # A negative factor counts on paper only (DXF reference, DIMLFAC).
    return float(entity.get_measurement()) * (factor if factor > 0.0 else 1.0)

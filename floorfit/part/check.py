"""What the values of a part must be together: rings, islands, floors side by side, webs.

Every check returns its faults, so that all of them can be shown at once. Lengths are mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from floorfit.part.document import Fault, Path, quoted
from floorfit.part.model import Pocket, Ring

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = [
    "LARGEST_MM",
    "TOUCH_MM",
    "check_ids",
    "check_inside_outline",
    "check_islands",
    "check_name",
    "check_numbers",
    "check_overlaps",
    "check_ring",
    "check_web",
    "clean_ring",
    "limit_faults",
]

#: Largest coordinate taken for meant, mm: a kilometre; more is a slip of unit or a broken number.
LARGEST_MM = 1e6

#: Two edges nearer than this are the same edge, mm (a tenth of what a drawing in 0.01 mm can say).
TOUCH_MM = 1e-3

#: Smallest area that counts, mm².
SMALLEST_MM2 = 1e-6

#: Steepest floor taken for meant: 45°. Slopes are ratios; degrees written by mistake are mostly above it.
STEEPEST = 1.0

#: Overlapping pairs that are named one by one.
MOST_PAIRS = 20


def clean_ring(vertices: Sequence[Sequence[float]], scale: float) -> Ring:
    """Return a ring in mm without the repeated closing vertex and without vertices that repeat the one before.

    Parameters
    ----------
    vertices : sequence of pairs
        As in the file.
    scale : float
        Millimetres in the file's unit.
    """
    ring = tuple(vertex for vertex, _ in groupby((float(x) * scale, float(y) * scale) for x, y in vertices))
    return ring[:-1] if len(ring) > 1 and ring[0] == ring[-1] else ring


def check_ring(ring: Ring, path: Path, what: str, scale: float) -> list[Fault]:
    """Check one ring by itself: size, at least 3 different vertices, an area, no crossing.

    Parameters
    ----------
    ring : Ring, mm
        As `clean_ring` gives it.
    path : tuple
        Where it stands in the document.
    what : str
        Words for it: ``boundary of pocket "P01"``.
    scale : float
        Millimetres in the file's unit, for the places named.
    """
    largest = max(abs(value) for vertex in ring for value in vertex)
    if not largest <= LARGEST_MM:
        text = (
            f"{what}: a coordinate of {largest / scale:.6g} is more than a kilometre. Check the number and the units."
        )
        return [Fault("absurd", path, text)]
    if len(set(ring)) < 3:
        text = f"{what} has {len(set(ring))} different vertices, at least 3 were expected. Add the others."
        return [Fault("degenerate-ring", path, text)]
    import shapely

    polygon = shapely.Polygon(ring)
    if polygon.is_valid and polygon.area > SMALLEST_MM2:
        return []
    if shapely.MultiPoint(ring).convex_hull.area <= SMALLEST_MM2:
        text = f"{what} has no area: its vertices lie on one line. Correct the vertices."
        return [Fault("no-area", path, text)]
    where = _place_of(str(shapely.is_valid_reason(polygon)), scale)
    text = f"{what} crosses or touches itself{where}. List its vertices in order round the edge, each once."
    return [Fault("self-crossing", path, text)]


def _place_of(reason: str, scale: float) -> str:
    """Turn shapely's ``Self-intersection[x y]`` into ``near (x, y)`` in the file's unit."""
    inner = reason.partition("[")[2].rstrip("]").split()
    try:
        x, y = (float(value) / scale for value in inner[:2])
    except ValueError:
        return ""
    return f" near ({x:.6g}, {y:.6g})"


def check_islands(
    boundary: Ring, islands: Sequence[tuple[Path, Ring]], pocket_path: Path, name: str
) -> tuple[Polygon | None, list[Fault]]:
    """Check islands against their boundary and each other, and return the floor they leave.

    Parameters
    ----------
    boundary : Ring, mm
        A sound ring.
    islands : sequence of (path, Ring)
        Sound rings, mm.
    pocket_path : tuple
        Path of the pocket.
    name : str
        The pocket's id, quoted.

    Returns
    -------
    polygon : Polygon or None
        The floor with the islands as holes; None where they have a fault.
    faults : list of Fault
    """
    from shapely import Polygon

    room = Polygon(boundary)
    faults = [fault for path, ring in islands for fault in _island_outside(room, path, ring, name)]
    solids = [Polygon(ring) for _, ring in islands]
    for i, j in _overlapping(solids):
        text = f"islands {i} and {j} of pocket {name} overlap. Join them into one ring, or correct the vertices."
        faults.append(Fault("islands-overlap", islands[i][0], text))
    floor = Polygon(boundary, [ring for _, ring in islands])
    if not faults and not floor.is_valid:
        faults.append(Fault("island-touches", (*pocket_path, "islands"), _TOUCHING.format(name=name)))
    return (None if faults else floor), faults


_TOUCHING = (
    "an island of pocket {name} touches the boundary or another island along an edge, or cuts the floor in two. "
    "Draw it into the boundary, join the islands, or make each piece of floor a pocket of its own."
)


def _island_outside(room: Polygon, path: Path, ring: Ring, name: str) -> list[Fault]:
    from shapely import Polygon

    if _covers(room, Polygon(ring)):
        return []
    text = f"the island lies outside the boundary of pocket {name}, wholly or in part. Correct its vertices."
    return [Fault("island-outside", path, text)]


def _covers(outer: Polygon, inner: Polygon) -> bool:
    """Whether ``inner`` lies in ``outer``, allowing `TOUCH_MM`."""
    return bool(outer.covers(inner) or outer.buffer(TOUCH_MM, join_style="mitre").covers(inner))


def check_inside_outline(outline: Ring | None, pockets: Sequence[tuple[Path, str, Ring]]) -> list[Fault]:
    """Check that boundaries lie inside the outline (within 1 µm); an outline of None is not checked against.

    Parameters
    ----------
    outline : Ring or None, mm
        A sound ring.
    pockets : sequence of (path of the boundary, quoted id, Ring)
        Sound rings, mm.
    """
    if outline is None:
        return []
    from shapely import Polygon

    plate = Polygon(outline)
    text = "the boundary of pocket {} lies outside the outline, wholly or in part. Correct one of them."
    return [
        Fault("outside-outline", path, text.format(name))
        for path, name, ring in pockets
        if not _covers(plate, Polygon(ring))
    ]


def check_overlaps(floors: Sequence[tuple[Path, str, Polygon]]) -> list[Fault]:
    """Check that no two floors overlap; touching within 1 µm is allowed, and a floor on another's island.

    Parameters
    ----------
    floors : sequence of (path of the boundary, quoted id, Polygon)
        Floors with their islands as holes, mm.

    Returns
    -------
    list of Fault
        One for each pair, the first twenty of them, and one that counts the rest.
    """
    pairs = list(_overlapping([polygon for _, _, polygon in floors]))
    faults = []
    for i, j in pairs[:MOST_PAIRS]:
        text = f"pockets {floors[i][1]} and {floors[j][1]} overlap. Correct one of the boundaries."
        faults.append(Fault("pockets-overlap", floors[j][0], text))
    if len(pairs) > MOST_PAIRS:
        more = f"{len(pairs) - MOST_PAIRS} more pairs of pockets overlap. Correct the boundaries."
        faults.append(Fault("pockets-overlap", ("pockets",), more))
    return faults


def _overlapping(polygons: Sequence[Polygon]) -> Iterator[tuple[int, int]]:
    """Yield the pairs i < j that share more than a sliver 1 µm wide, in order."""
    import shapely

    shapes = np.array(polygons, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = first < second
    order = np.lexsort((second[once], first[once]))
    left, right = first[once][order], second[once][order]
    shared = shapely.intersection(shapes[left], shapes[right])
    yield from ((int(left[k]), int(right[k])) for k in _thick(shared))


def _thick(shapes: NDArray[Any]) -> list[int]:
    """Indices of the shapes with an area that is wider than `TOUCH_MM` somewhere."""
    import shapely

    large = np.flatnonzero(shapely.area(shapes) > SMALLEST_MM2)
    cores = shapely.buffer(shapes[large], -TOUCH_MM / 2)
    return [int(k) for k in large[~shapely.is_empty(cores)]]


def check_name(name: str) -> list[Fault]:
    """Check that the part's name can be shown: not blank, no control characters."""
    if name.strip() and _is_printable(name):
        return []
    text = f"the name {quoted(name)} is blank or has characters that cannot be printed. Correct it."
    return [Fault("bad-name", ("name",), text)]


def check_ids(ids: Sequence[tuple[Path, str]]) -> list[Fault]:
    """Check ids: unique, no blank at either end, printable."""
    faults = []
    seen: dict[str, Path] = {}
    for path, name in ids:
        if name != name.strip() or not _is_printable(name):
            text = f"the id {quoted(name)} has blanks at an end or characters that cannot be printed. Remove them."
            faults.append(Fault("bad-id", path, text))
        if name in seen:
            text = f"the id {quoted(name)} is used already by pockets[{seen[name][1]}]. Give each floor its own."
            faults.append(Fault("doubled-id", path, text))
        seen.setdefault(name, path)
    return faults


def _is_printable(text: str) -> bool:
    """Whether a text can be written to a file and a terminal: no control characters, no lone surrogates."""
    return all(ord(c) >= 32 and not 0x7F <= ord(c) <= 0x9F and not 0xD800 <= ord(c) <= 0xDFFF for c in text)


def check_numbers(pocket: Pocket, paths: Mapping[str, Path]) -> list[Fault]:
    """Check the single numbers of a pocket: sizes, signs, tolerance order, slope.

    Parameters
    ----------
    pocket : Pocket
        In mm; its rings need not be sound.
    paths : mapping of str to path
        Where each value stood in the document (in the pocket, the defaults or at the top).
    """
    lower, upper = pocket.tolerance.lower, pocket.tolerance.upper
    lengths = {"web_tolerance": max(abs(lower or 0.0), abs(upper or 0.0))}
    lengths |= {key: getattr(pocket, key) for key in ("floor_z", "underside_z", "finish_stock", "corner_radius")}
    rules = [(key, "absurd", not abs(value) <= LARGEST_MM, _ABSURD) for key, value in lengths.items()]
    rules += [(key, "negative", lengths[key] < 0, _NEGATIVE) for key in ("finish_stock", "corner_radius")]
    rules += [
        ("slope", "too-steep", bool(np.hypot(*pocket.slope) > STEEPEST), _STEEP),
    ]
    texts = [(key, code, text.format(key)) for key, code, is_wrong, text in rules if is_wrong]
    texts += [("web_tolerance", code, text) for code, text in limit_faults(lower, upper)]
    return [Fault(code, paths[key], f"pocket {quoted(pocket.id)}: {text}") for key, code, text in texts]


def limit_faults(lower: float | None, upper: float | None) -> list[tuple[str, str]]:
    """Code and words of what is wrong with two limits of a web; empty where they are in order."""
    if lower is None and upper is None:
        return [("no-limit", "both limits of the web are null. Give at least one; a minimum web alone is [0, null].")]
    if lower is not None and upper is not None and lower > upper:
        return [("limits-swapped", "the lower deviation is above the upper one. Write [lower, upper].")]
    return []


_ABSURD = "{} is more than a kilometre. Check the number and the units."
_NEGATIVE = "{} is below 0, 0 or more was expected. Correct the number."
_STEEP = "the slope is steeper than 45°. Give dZ/dX and dZ/dY as ratios, not degrees."


def _places_of(pocket: Pocket) -> NDArray[np.float64]:
    """Places where the web of a floor is least or greatest: its corners; of a shaped one also a lattice inside."""
    import shapely

    corners = np.asarray(pocket.boundary, float)
    if pocket.is_plain:
        return corners
    x0, y0, x1, y1 = pocket.polygon.bounds
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(x0, x1, 33), np.linspace(y0, y1, 33)))
    inside = shapely.contains_xy(pocket.polygon, x, y)
    return np.concatenate([corners, np.column_stack([x[inside], y[inside]])])


def check_web(pocket: Pocket, path: Path) -> list[Fault]:
    """Check that the nominal web is above 0 over the whole floor; the pocket's boundary must be sound.

    Parameters
    ----------
    pocket : Pocket
        In mm.
    path : tuple
        Path of the pocket.
    """
    x, y = _places_of(pocket).T
    if pocket.web > 0 and float(np.min(pocket.nominal_web(x, y))) > 0:
        return []
    where = "" if pocket.web <= 0 else " at the low end of its slope"
    text = (
        f"pocket {quoted(pocket.id)}: the web is not above 0{where}: floor_z must lie above underside_z. Correct one."
    )
    return [Fault("no-web", path, text)]

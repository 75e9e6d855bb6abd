"""Write a CAD model of each sample part: ``python sample_parts/models.py [FOLDER]``, from its part.json.

``model.stl`` is a binary STL in the part file's unit, made by constructive geometry (manifold3d): the outline, less a
prism over each floor, less a prism under each floor whose underside lies higher than the part's own. The corners are
sharp, as the outlines in part.json are. The parts are invented.

The lofted rib is cut from both sides over and under height fields; ``lofted.py`` says where walls lean in, holes go
through and ribs are notched, which its part file does not.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).resolve().parent))

from lofted import COLLAR, COLLAR_WIDTH, CORNERS, NOTCH_WIDTH, NOTCHES, layout, leans, loft
from manifold3d import CrossSection, FillRule, Manifold, Mesh64, OpType
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.part.model import Part, Pocket
from floorfit.part.part_file import read_part
from floorfit.units import MM_PER_UNIT

#: Height of the ribs over the highest floor, mm: the part files do not say it.
RIB_MM = 30.0
#: Cells of a curved face along X and Y, and depth of the lofted rib's lower side under its lowest web, mm.
CELL_MM, BELOW_MM = (24.0, 8.0), 12.0
#: How far a height field reaches out of its box at the height of its edge, mm.
MARGIN_MM = 2.0
#: Cuts reach this far out of the metal, mm.
CLEAR_MM = 1.0


Heights = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]
Box = tuple[float, float, float, float]


def prism(rings: tuple[tuple[tuple[float, float], ...], ...], z0: float, z1: float) -> Manifold:
    """Outline with holes, extruded from z0 to z1."""
    section = CrossSection([np.array(rings[0], float)], FillRule.EvenOdd)
    for ring in rings[1:]:
        section -= CrossSection([np.array(ring, float)], FillRule.EvenOdd)
    return Manifold.extrude(section, z1 - z0).translate((0.0, 0.0, z0))


def cut_above(pocket: Pocket, top: float) -> Manifold:
    """Everything over a floor: a prism, trimmed by the floor's plane."""
    rings = (pocket.boundary, *pocket.islands)
    xy = np.array(pocket.boundary)
    lowest = float(pocket.nominal_z(xy[:, 0], xy[:, 1]).min())
    if pocket.slope == (0.0, 0.0):
        return prism(rings, pocket.floor_z, top)
    normal = np.array([-pocket.slope[0], -pocket.slope[1], 1.0])
    point = np.array([*pocket.centroid, pocket.floor_z])
    length = float(np.linalg.norm(normal))
    return prism(rings, lowest - CLEAR_MM, top).trim_by_plane(tuple(normal / length), float(normal @ point) / length)


def field_of(height_of: Heights, box: Box, z: float) -> Manifold:
    """Everything between a height field over a box in plan, in cells of about `CELL_MM`, and a level."""
    x0, y0, x1, y1 = box
    sides = ((x0, x1, CELL_MM[0]), (y0, y1, CELL_MM[1]))
    lines = [np.linspace(a, b, max(int(np.ceil((b - a) / cell)), 1) + 1) for a, b, cell in sides]
    lines = [np.concatenate([[line[0] - MARGIN_MM], line, [line[-1] + MARGIN_MM]]) for line in lines]
    x, y = np.meshgrid(*lines, indexing="ij")
    heights = height_of(np.clip(x, x0, x1), np.clip(y, y0, y1))
    field = np.column_stack([x.ravel(), y.ravel(), heights.ravel()])
    level = np.column_stack([field[:, :2], np.full(len(field), z)])
    i = np.arange(len(field)).reshape(x.shape)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    first = np.concatenate([np.column_stack([a, c, b]), np.column_stack([a, d, c])])
    ring = np.concatenate([i[:, 0], i[-1, 1:], i[-2::-1, -1], i[0, -2:0:-1]])
    after, more = np.roll(ring, -1), len(field)
    walls = [np.column_stack([ring, after, after + more]), np.column_stack([ring, after + more, ring + more])]
    faces = np.concatenate([first, first[:, ::-1] + more, *walls])
    if z < field[:, 2].min():
        faces = faces[:, ::-1]
    return Manifold(Mesh64(np.concatenate([field, level]), faces.astype(np.uint64)))


def leaning(pocket: Pocket, low: float, top: float, lean: float) -> Manifold:
    """A prism over a floor's box whose walls lean in with the height, or an upright one."""
    rings = (pocket.boundary, *pocket.islands)
    whole = prism(rings, low, top)
    if not lean:
        return whole
    foot = float(np.median(pocket.floor_at(*np.array(pocket.boundary).T)))
    middle, size = np.mean(pocket.boundary, axis=0), np.ptp(pocket.boundary, axis=0)
    rows = []
    for z in (low, top):
        share = (size - 2 * lean * (z - foot)) / size
        rows += [(*(middle + (np.array(corner) - middle) * share), z) for corner in pocket.boundary]
    islands = [prism((ring,), low, top) for ring in pocket.islands]
    return Manifold.batch_boolean([Manifold.hull_points(np.array(rows)), *islands], OpType.Subtract)


def lofted_solid(part: Part) -> Manifold:
    """The lofted rib, mm: bays from above and below, collars bored, ribs notched."""
    edges = [np.array(pocket.boundary).T for pocket in part.pockets]
    low = min(float(p.underside_at(*edge).min()) for p, edge in zip(part.pockets, edges, strict=True)) - BELOW_MM
    top = max(float(p.floor_at(*edge).max()) for p, edge in zip(part.pockets, edges, strict=True)) + RIB_MM
    cuts = []
    pads = {pocket.boundary for pocket in part.pockets} & {ring for p in part.pockets for ring in p.islands}
    for pocket in part.pockets:
        over = field_of(pocket.floor_at, pocket.polygon.bounds, top + 2 * CLEAR_MM)
        under = field_of(pocket.underside_at, pocket.polygon.bounds, low - 2 * CLEAR_MM)
        if pocket.boundary in pads:
            # Over the bay round it this overlaps what the bay takes: no two faces lie on each other.
            cuts.append(over ^ prism((ring_of(pocket.polygon.buffer(MARGIN_MM / 2, join_style="mitre")),), low, top))
            continue
        cuts.append(over ^ leaning(pocket, low, top + CLEAR_MM, leans(pocket)))
        # Under a wall that leans the bay below is the wider one, as its foot moves with the floor's height.
        wide = Polygon(pocket.boundary).buffer(MARGIN_MM / 5 if leans(pocket) else 0.0, join_style="mitre")
        collars = [ring for ring in pocket.islands if ring not in pads]
        cuts.append(under ^ prism((ring_of(wide), *collars), low - CLEAR_MM, top))
        for island in pocket.islands:
            if len(island) == CORNERS:
                inner = np.mean(island, axis=0) + (np.array(island) - np.mean(island, axis=0)) * (
                    1 - COLLAR_WIDTH / COLLAR
                )
                cuts.append(prism((tuple(map(tuple, inner)),), low - CLEAR_MM, top + CLEAR_MM))
    cuts += [notch(*one, top) for one in NOTCHES]
    return prism((part.outline,), low, top) - Manifold.batch_boolean(cuts, OpType.Add)


def ring_of(polygon: Polygon) -> tuple[tuple[float, float], ...]:
    """Corners of a polygon without holes."""
    return tuple(polygon.exterior.coords)[:-1]


def notch(column: int, row: int, height: float | None, top: float) -> Manifold:
    """What a notch takes from the foot of the rib right of a column: a slot on the loft, roofed or open."""
    columns, rows = layout().columns, layout().rows
    y = float(np.mean(rows[row]))
    box = (columns[column, 1] - 1.0, y - NOTCH_WIDTH / 2, columns[column + 1, 0] + 1.0, y + NOTCH_WIDTH / 2)
    roof = top + CLEAR_MM if height is None else float(loft(np.mean(box[::2]), y)) + height
    return field_of(loft, box, roof) ^ prism(
        (((box[0], box[1]), (box[2], box[1]), box[2:], (box[0], box[3])),), 0.0, roof
    )


def solid_of(part: Part) -> Manifold:
    """The part as a solid, mm."""
    bottom = min(pocket.underside_z for pocket in part.pockets)
    highest = max(pocket.floor_z for pocket in part.pockets)
    top = highest + RIB_MM
    cuts = [cut_above(pocket, top + CLEAR_MM) for pocket in part.pockets]
    cuts += [
        prism((pocket.boundary, *pocket.islands), bottom - CLEAR_MM, pocket.underside_z)
        for pocket in part.pockets
        if pocket.underside_z > bottom
    ]
    return prism((part.outline,), bottom, top) - Manifold.batch_boolean(cuts, OpType.Add)


def write_model(part: Part, path: Path) -> None:
    """Write a part as a binary STL in its unit."""
    solid = lofted_solid(part) if any(pocket.floor for pocket in part.pockets) else solid_of(part)
    raw = solid.to_mesh64()
    vertices = np.asarray(raw.vert_properties)[:, :3] / MM_PER_UNIT[part.units]
    mesh = trimesh.Trimesh(vertices, np.asarray(raw.tri_verts, np.int64), process=False)
    path.write_bytes(trimesh.exchange.stl.export_stl(mesh))


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else here
    for file in sorted(here.glob("*/part.json")):
        (target / file.parent.name).mkdir(parents=True, exist_ok=True)
        write_model(read_part(file), target / file.parent.name / "model.stl")

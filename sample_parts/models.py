"""Write a CAD model of each sample part: ``python sample_parts/models.py [FOLDER]``, from its part.json.

``model.stl`` is a binary STL in the part file's unit, made by constructive geometry (manifold3d): the outline, less a
prism over each floor, less a prism under each floor whose underside lies higher than the part's own. The corners are
sharp, as the outlines in part.json are. The parts are invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import trimesh
from manifold3d import CrossSection, FillRule, Manifold, OpType

from floorfit.part.model import Part, Pocket
from floorfit.part.part_file import read_part
from floorfit.units import MM_PER_UNIT

#: Height of the ribs over the highest floor, mm: the part files do not say it.
RIB_MM = 30.0
#: Cuts reach this far out of the metal, mm.
CLEAR_MM = 1.0


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
    raw = solid_of(part).to_mesh64()
    vertices = np.asarray(raw.vert_properties)[:, :3] / MM_PER_UNIT[part.units]
    mesh = trimesh.Trimesh(vertices, np.asarray(raw.tri_verts, np.int64), process=False)
    path.write_bytes(trimesh.exchange.stl.export_stl(mesh))


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else here
    for file in sorted(here.glob("*/part.json")):
        (target / file.parent.name).mkdir(parents=True, exist_ok=True)
        write_model(read_part(file), target / file.parent.name / "model.stl")

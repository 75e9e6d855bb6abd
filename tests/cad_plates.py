"""Plates made by constructive geometry (manifold3d), with known floors, for the recognition from CAD.

All lengths in mm. Arcs are inscribed polygons: their chords lie within the chord tolerance asked for.
"""

from __future__ import annotations

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold, Mesh64
from shapely import Polygon


def box(x0, y0, z0, x1, y1, z1):
    return Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def steps_of(radius, sweep, chord):
    """Chords that an arc needs to stay within ``chord``: sagitta = radius (1 - cos(step / 2))."""
    if radius <= 0.0:
        return 1
    return max(2, int(np.ceil(sweep / (2.0 * np.arccos(max(1.0 - chord / radius, 0.5))))))


def rounded_ring(x0, y0, x1, y1, radius, chord, *, steps=0):
    """Corners of a rectangle with rounded corners, anticlockwise."""
    n = steps or steps_of(radius, np.pi / 2, chord)
    if radius <= 0.0 and not steps:
        return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
    rows = []
    for quarter, (cx, cy) in enumerate(
        [(x0 + radius, y0 + radius), (x1 - radius, y0 + radius), (x1 - radius, y1 - radius), (x0 + radius, y1 - radius)]
    ):
        angle = np.pi * (1.0 + quarter / 2.0) + np.linspace(0.0, np.pi / 2, n + 1)
        rows.append(np.column_stack([cx + radius * np.cos(angle), cy + radius * np.sin(angle)]))
    return np.concatenate(rows)


def prism(ring, z0, z1):
    return Manifold.extrude(CrossSection([np.asarray(ring, float)]), z1 - z0).translate((0.0, 0.0, z0))


def round_pocket(x0, y0, x1, y1, corner, z0, z1, chord):
    """The metal that an upright-walled pocket removes."""
    return prism(rounded_ring(x0, y0, x1, y1, corner, chord), z0, z1)


def filleted_pocket(x0, y0, x1, y1, corner, fillet, z0, z1, chord, *, draft_deg=0.0):
    """The metal that a pocket removes whose walls meet the floor in a fillet and lean out by a draft angle.

    The rectangle is the outline where the fillet ends, and ``corner`` its corner radius there. The solid is convex,
    so it is the hull of its rings.
    """
    lean = np.radians(90.0 - draft_deg)
    count = steps_of(fillet, lean, chord)
    around = steps_of(corner, np.pi / 2, chord)
    rings = []
    for angle in np.linspace(0.0, lean, count + 1):
        inset = fillet * (np.sin(lean) - np.sin(angle))
        ring = rounded_ring(x0 + inset, y0 + inset, x1 - inset, y1 - inset, corner - inset, chord, steps=around)
        rings.append(np.column_stack([ring, np.full(len(ring), z0 + fillet * (1.0 - np.cos(angle)))]))
    out = (z1 - rings[-1][0, 2]) * np.tan(np.radians(draft_deg))
    ring = rounded_ring(x0 - out, y0 - out, x1 + out, y1 + out, corner + out, chord, steps=around)
    rings.append(np.column_stack([ring, np.full(len(ring), z1)]))
    return Manifold.hull_points(np.concatenate(rings))


def sloped_pocket(x0, y0, x1, y1, z_middle, slope, z1):
    """The metal that a square-cornered pocket removes whose floor is the plane z_middle + slope · (from the middle)."""
    cx, cy = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    low = [(x, y, z_middle + slope[0] * (x - cx) + slope[1] * (y - cy)) for x, y in corners]
    return Manifold.hull_points(np.array(low + [(x, y, z1) for x, y in corners], float))


def shaped_pocket(x0, y0, x1, y1, height_of, nx, ny, z1):
    """The metal that a square-cornered pocket removes over a height field of nx by ny cells, two triangles each."""
    x, y = np.meshgrid(np.linspace(x0, x1, nx + 1), np.linspace(y0, y1, ny + 1), indexing="ij")
    low = np.column_stack([x.ravel(), y.ravel(), height_of(x, y).ravel()])
    count = len(low)
    i = np.arange(count).reshape(nx + 1, ny + 1)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    below = np.concatenate([np.column_stack([a, c, b]), np.column_stack([a, d, c])])
    ring = np.concatenate([i[:, 0], i[-1, 1:], i[-2::-1, -1], i[0, -2:0:-1]])
    after = np.roll(ring, -1)
    sides = [np.column_stack([ring, after, after + count]), np.column_stack([ring, after + count, ring + count])]
    top = np.column_stack([low[:, :2], np.full(count, z1)])
    faces = np.concatenate([below, below[:, ::-1] + count, *sides]).astype(np.uint64)
    return Manifold(Mesh64(np.concatenate([low, top]), faces))


def mesh_of(solid):
    """The solid as a trimesh mesh, its vertices as manifold3d gives them (double precision)."""
    raw = solid.to_mesh64()
    return trimesh.Trimesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts, np.int64), process=False)


def soup_of(mesh):
    """The same triangles with no vertex shared, as an STL holds them."""
    return trimesh.Trimesh(mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3), process=False)


def true_outline(x0, y0, x1, y1, radius):
    """Rounded rectangle with arcs far finer than any tolerance in the tests."""
    return Polygon(rounded_ring(x0, y0, x1, y1, radius, 0.0, steps=400))

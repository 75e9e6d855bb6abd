"""Curved floors with a formula, and passes whose tips are found by brute force, for the tests of programmes.

It shares no code with floorfit: the tip over a floor is the highest of many places of the cutter's end standing on the
formula, by definition of touching.
"""

from __future__ import annotations

import numpy as np
from cl_reference import UNIT, lowest
from cl_reference import samples as samples_cl
from nc_sweep import samples as samples_nc

from floorfit.decision.decision import Correction, FollowGrid
from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.part.shape import HeightGrid, Patch

#: Step of the grid in the part, mm: bilinear heights are off by the curvature times its square / 8, under 0.001 mm.
STEP = 1.5
WIDE, HIGH, RIB = 56.0, 40.0, 8.0


def height(x, y):
    """A lofted floor over the whole part: curved along X, twisted, up to 8 degrees steep; mm."""
    u, v = x - 90.0, y - 20.0
    return 10.0 + 0.02 * u - 0.0006 * u**2 + 0.001 * u * v + 0.0008 * v**2


def floor(name, x0, *, of=height, stock=0.5):
    ring = ((x0, 0.0), (x0 + WIDE, 0.0), (x0 + WIDE, HIGH), (x0, HIGH))
    x, y = np.arange(x0 - 3, x0 + WIDE + 4, STEP), np.arange(-3, HIGH + 4, STEP)
    grid = HeightGrid((float(x[0]), float(y[0])), (STEP, STEP), tuple(map(tuple, of(*np.meshgrid(x, y)))))
    middle = float(of(x0 + WIDE / 2, HIGH / 2))
    patch = (Patch(grid=grid),)
    return Pocket(name, ring, (), middle, 2.0, Tolerance(-0.1, 0.1), middle - 2.0, stock, floor=patch, is_parallel=True)


OUTLINE = ((-10.0, -10.0), (200.0, -10.0), (200.0, 50.0), (-10.0, 50.0))
PART = Part("lofted", OUTLINE, tuple(floor(name, (WIDE + RIB) * n) for n, name in enumerate("EFG")))


def tilted(pocket, dz=-0.1, slope=(0.002, -0.003)):
    return Correction("tilt", pocket.centroid, dz, slope)


def followed(pocket, most=0.25):
    """A dome, its nodes so close that bilinear interpolation is within 2 µm."""
    x0, y0, x1, y1 = pocket.polygon.bounds
    x, y = np.linspace(x0, x1, 81), np.linspace(y0, y1, 61)
    u, v = np.meshgrid((x - x0) / (x1 - x0), (y - y0) / (y1 - y0), indexing="ij")
    grid = FollowGrid(x, y, most * np.sin(np.pi * u) * np.sin(np.pi * v) - 0.05)
    return Correction("follow", pocket.centroid, most, (0.0, 0.0), grid)


def given(part=PART):
    e, f, g = part.pockets
    return {"E": Correction("shift", e.centroid, 0.2), "F": tilted(f), "G": followed(g)}


def end_places(radius, corner, axis):
    """Places all over the end of a cutter as seen from its tip, (k, 3)."""
    flat = radius - corner
    side = np.cross(axis, [0.3, 0.9, 0.1])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    around = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other
    rows = [np.zeros((1, 3))] + [share * flat * around for share in np.linspace(0.1, 1, 10)]
    for angle in np.radians(np.arange(1, 46)) if corner else ():
        rows.append((flat + corner * np.sin(angle)) * around + corner * (1 - np.cos(angle)) * axis)
    return np.concatenate(rows)


def tip_z(x, y, end, of=height):
    """Z of the tip over (x, y) with the end on the floor: the highest that any place of the end asks."""
    return float((of(x + end[:, 0], y + end[:, 1]) - end[:, 2]).max())


def passes(pocket, radius, corner, *, of=height, lean=0.0, heading=0.7, chord=4.0, step=None, over=0.0):
    """Passes over a floor as points (x, y, z) and the axis; chords of 4 mm are within 0.004 mm of the path."""
    a = np.radians(lean)
    axis = np.array([np.sin(a) * np.cos(heading), np.sin(a) * np.sin(heading), np.cos(a)])
    end = end_places(radius, corner, axis)
    x0, y0, x1, y1 = pocket.polygon.buffer(-radius - 0.1).bounds
    rows = []
    for count, y in enumerate(np.arange(y0, y1 + 1e-9, step or radius)):
        xs = np.linspace(x0, x1, int(np.ceil((x1 - x0) / chord)) + 1)[:: -1 if count % 2 else 1]
        rows += [(x, y, tip_z(x, y, end, of) + over) for x in xs]
    return np.array(rows), axis


def location_text(size, way, unit="MM"):
    """Cutter-location data of passes one after the other; three axes where they stand upright."""
    scale, digits = UNIT[unit], 4 if unit == "MM" else 5
    lines = ["PARTNO INVENTED", f"UNITS/{unit}", "LOADTL/1", f"CUTTER/{2 * size[0] / scale},{size[1] / scale}"]
    lines.append("FEDRAT/1000,MMPM" if unit == "MM" else "FEDRAT/40,IPM")
    for points, axis in way:
        more = "," + ",".join(f"{value:.9f}" for value in axis)
        places = [",".join(f"{value / scale:.{digits}f}" for value in point) + more for point in points]
        first, last = ((*point[:2], 40.0) for point in (points[0], points[-1]))
        ends = [",".join(f"{value / scale:.{digits}f}" for value in point) + more for point in (first, last)]
        lines += ["RAPID", f"GOTO/{ends[0]}", *(f"GOTO/{place}" for place in places), "RAPID", f"GOTO/{ends[1]}"]
    return "\n".join([*lines, "FINI", ""])


def deepest(before, after, corrections, part, size, *, word_address, inset=0.4, count=60, seed=3):
    """Greatest depth below what is decided, and greatest height over it where the original cut the floor, mm."""
    rng, deep, high = np.random.default_rng(seed), -np.inf, -np.inf
    # On a slope of 0.14 places 0.04 mm apart differ by 0.006 mm.
    if word_address:
        tools = size if isinstance(size, dict) else {1: size}
        was, now = (samples_nc(text, tools, 0.04) for text in (before, after))
    else:
        was, now = (samples_cl(text, 0.04) for text in (before, after))
    for pocket in part.pockets:
        x0, y0, x1, y1 = pocket.polygon.buffer(-inset).bounds
        spots = np.column_stack([rng.uniform(x0, x1, count), rng.uniform(y0, y1, count)])
        old, new = (lowest(spots, *one, slack=1e-6) for one in (was, now))
        nominal, dz = pocket.floor_at(*spots.T), corrections[pocket.id].at(*spots.T)
        cut = old <= nominal + 0.1
        wanted = np.where(cut, np.minimum(nominal, old) + dz, np.minimum(nominal + dz, old))
        known = np.isfinite(new)
        deep = max(deep, float((wanted - np.where(known, new, 0.0))[known].max()))
        high = max(high, float(np.where(cut, new - np.where(cut, old, 0.0) - dz, -np.inf).max()))
    return deep, high

"""Programmes as cutter-location data, and the checks on what their cutters leave, for the tests of this room."""

from __future__ import annotations

import math

import numpy as np
import shapely
from cl_reference import swept
from nc_cases import PART

from floorfit.nc.cl import apply_to_locations

#: What a place may be too deep by: two roundings of 0.001 mm, the offset's tolerance 0.005, the samples of the check.
DEEP_MM = 0.012


def zigzag(name, diameter, corner=0.0, *, lean=0.0, heading=0.0, step=None, part=PART, over=0.0, top=30.0):
    """Passes over one floor with a cutter whose axis leans by ``lean`` degrees towards ``heading``.

    The tip stands over the plane that the cutter touches by r (1 - cos) + (R - r) sin of the angle to its normal
    (support of a ring of balls; Schneider, Convex Bodies: the Brunn-Minkowski Theory, 1.7).
    """
    pocket = part.pocket(name)
    x0, y0, x1, y1 = pocket.polygon.bounds
    radius = diameter / 2
    a = math.radians(lean)
    axis = np.array([math.sin(a) * math.cos(heading), math.sin(a) * math.sin(heading), math.cos(a)])
    normal = np.array([-pocket.slope[0], -pocket.slope[1], 1.0])
    size = float(np.linalg.norm(normal))
    cosine = float(axis @ normal) / size
    up = (corner * (1 - cosine) + (radius - corner) * math.sqrt(max(1 - cosine**2, 0.0))) * size
    ijk = ",".join(f"{value:.9f}" for value in axis)

    def point(x, y, z):
        return f"GOTO/{x:.4f},{y:.4f},{z:.4f},{ijk}"

    def on(x, y):
        return point(x, y, float(pocket.nominal_z(x, y)) + up + over)

    lines = ["RAPID", point(x0 + radius, y0 + radius, top)]
    for count, y in enumerate(np.arange(y0 + radius, y1 - radius + 1e-9, step or 0.5 * diameter)):
        ends = (x0 + radius, x1 - radius) if count % 2 == 0 else (x1 - radius, x0 + radius)
        lines += [on(ends[0], y), on(ends[1], y)]
    return [f"CUTTER/{diameter},{corner}", *lines, "RAPID", point(ends[1], y, top)]


def whole(*blocks):
    """A file of some blocks of lines."""
    head = ["PARTNO INVENTED", "UNITS/MM", "MULTAX/ON", "LOADTL/1", "FEDRAT/1000,MMPM"]
    return "\n".join([*head, *(line for block in blocks for line in block), "FINI", ""])


def correct(text, given, part=PART, **options):
    """Correct a file and return it without its header."""
    done = apply_to_locations(part, given, text.encode("latin-1"), **options)
    lines = done.data.decode("latin-1").splitlines(keepends=True)
    return "".join(line for line in lines if "FLOORFIT:" not in line)


def places(name, count=150, part=PART, inset=0.5, seed=1):
    """Random places of one floor, away from its edges by ``inset``."""
    polygon = part.pocket(name).polygon.buffer(-inset)
    rng = np.random.default_rng(seed)
    x0, y0, x1, y1 = polygon.bounds
    spots = np.column_stack([rng.uniform(x0, x1, 4 * count), rng.uniform(y0, y1, 4 * count)])
    return spots[shapely.contains_xy(polygon, *spots.T)][:count]


def left_over(name, before, after, given, spots, part=PART):
    """Heights left above what is wanted at places of one floor; negative where it is too deep, mm."""
    pocket = part.pocket(name)
    old, new = swept(before, spots), swept(after, spots)
    nominal, dz = pocket.nominal_z(*spots.T), given[name].at(*spots.T)
    cut = old <= nominal + 0.2
    wanted = np.where(cut, np.minimum(nominal, old) + dz, np.minimum(nominal + dz, old))
    deep = np.where(np.isfinite(new), new - wanted, np.inf)
    return deep, np.where(cut, new - (np.where(cut, old, 0.0) + dz), 0.0), cut

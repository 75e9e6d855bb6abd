"""Parts, corrections and the comparison that the tests of the corrected programme share."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from nc_reference import paired
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from floorfit.decision.decision import Correction, FollowGrid
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools
from floorfit.part.model import Part, Pocket, Tolerance


def pocket(name, x0, y0, x1, y1, z=2.0, *, stock=0.5, slope=(0.0, 0.0), islands=()):
    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return Pocket(name, ring, tuple(islands), z, z, Tolerance(-0.1, 0.1), 0.0, stock, slope)


#: Two pockets at one level with a 2 mm gap, a third at another level, a fourth that slopes.
PART = Part(
    "two and two",
    ((0.0, 0.0), (202.0, 0.0), (202.0, 130.0), (0.0, 130.0)),
    (
        pocket("A", 0, 0, 100, 60),
        pocket("B", 102, 0, 202, 60),
        pocket("C", 0, 70, 100, 130, z=6.0),
        pocket("D", 102, 70, 202, 130, z=6.0, slope=(0.01, 0.0)),
    ),
)


def shift(name: str, dz: float, part: Part = PART) -> Correction:
    return Correction("shift", part.pocket(name).centroid, dz)


def tilt(name: str, dz: float, sx: float, sy: float, part: Part = PART) -> Correction:
    return Correction("tilt", part.pocket(name).centroid, dz, (sx, sy))


def hold(name: str, part: Part = PART) -> Correction:
    return Correction("hold", part.pocket(name).centroid, float("nan"))


def follow(name: str, height: float, part: Part = PART) -> Correction:
    """A dome over the pocket, the grid fine enough that bilinear interpolation is within 2 µm."""
    x0, y0, x1, y1 = part.pocket(name).polygon.bounds
    x, y = np.linspace(x0, x1, 101), np.linspace(y0, y1, 61)
    u, v = np.meshgrid((x - x0) / (x1 - x0), (y - y0) / (y1 - y0), indexing="ij")
    grid = FollowGrid(x, y, height * np.sin(np.pi * u) * np.sin(np.pi * v))
    return Correction("follow", part.pocket(name).centroid, height, (0.0, 0.0), grid)


def corrections(*given: tuple[str, Correction], part: Part = PART, **named: object) -> dict[str, Correction]:
    """All zero but for those given by name: a Correction, or a number for a shift."""
    out = {floor.id: shift(floor.id, 0.0, part) for floor in part.pockets}
    out.update(dict(given))
    for name, value in named.items():
        out[name] = value if isinstance(value, Correction) else shift(name, float(value), part)  # type: ignore[arg-type]
    return out


#: A small flat cutter, so that the tip tells nearly all.
RADIUS = 1.0
TOOLS = Tools(every=Cutter(RADIUS))
_RING = np.array([(RADIUS * math.cos(a), RADIUS * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 24)] + [(0.0, 0.0)])


def apply(text: str, given: dict[str, Correction], part: Part = PART, **options) -> str:
    """Correct a programme and return its text below the header."""
    options.setdefault("tools", TOOLS)
    return below_header(apply_offsets(part, given, text.encode("latin-1"), **options).data)


def below_header(data: bytes) -> str:
    """The text of a corrected programme without the lines that floorfit put before it."""
    return "".join(line.decode("latin-1") for line in data.splitlines(keepends=True) if b"FLOORFIT:" not in line)


#: Half a unit of the last decimal (0.001 mm, 0.0001 in = 0.00254 mm) for both of two roundings.
ROUNDING = 0.0026
#: Length of a blend plus the growth of the polygons, twice over, and the cutter, mm.
NEAR_EDGE = 1.3 + RADIUS


def check_heights(before: str, after: str, given: dict[str, Correction], part: Part = PART, tolerance=0.005) -> None:
    """Assert the invariants along every motion: Z as asked on floors, unchanged elsewhere, never too low.

    A point counts as on a floor when it is in the polygon and within 0.02 mm of the nominal floor. Points in the band
    that moves with the floor, or under its clearance, or within the blend of an edge, are held to the bounds only.
    Nowhere may Z be lower than both the programme and the corrected floor by more than the tolerance; away from floors
    by no more than 0.4 of it.
    """
    for pair in paired(before, after):
        if any(math.isnan(v) for v in (*pair.old.end[:3],)):
            assert pair.new[-1].end[2] == pair.old.end[2] or math.isnan(pair.old.end[2])
            continue
        shares = np.linspace(0, 1, 2 if pair.old.kind in ("rapid", "cycle") else 33)
        for share in [1.0] if math.isnan(sum(pair.old.start[:3])) else shares:
            _check_point(pair, float(share), given, part, tolerance)


@cache
def _grown(area: Polygon, by: float) -> Polygon:
    return area.buffer(by)


@cache
def _edge(area: Polygon) -> BaseGeometry:
    return area.boundary


def _near(floor, x, y, z, given) -> bool:
    """Whether a height is in the band (0.4 of the stock) over a floor, or under the clearance of a raised one."""
    over = z - float(floor.nominal_z(x, y))
    return -0.05 <= over <= 0.4 * floor.finish_stock + 0.5 + max(0.0, float(given[floor.id].at(x, y)))


def _check_point(pair, share, given, part, tolerance) -> None:
    x, y, z = pair.old.at(share) if share < 1 else pair.old.end[:3]
    added = pair.new[-1].end[2] - z if share == 1 else pair.added(share)
    spot = Point(x, y)
    edge = min(_edge(floor.polygon).distance(spot) for floor in part.pockets)
    over = [floor for floor in part.pockets if _grown(floor.polygon, 0.1).covers(spot)]
    reached = any(_grown(floor.polygon, 0.1 + RADIUS).covers(spot) for floor in part.pockets)
    flat = abs(pair.old.start[2] - pair.old.end[2]) < 0.05
    floor = next((f for f in over if abs(float(f.nominal_z(x, y)) - z) < 0.02), None)
    where = f"{pair.old.kind} at {x:.3f} {y:.3f} {z:.3f}: added {added:.4f}"
    if floor is not None and (flat or share == 1):
        wanted = float(given[floor.id].at(x, y))
        assert added >= min(wanted, 0.0) - tolerance - ROUNDING, where
        if edge > NEAR_EDGE:
            # A flat end stands on the highest place under it.
            most = float(given[floor.id].at(*(_RING + np.array([x, y])).T).max())
            assert wanted - tolerance - ROUNDING <= added <= most + tolerance + ROUNDING, (where, wanted, most)
    elif (
        pair.old.kind != "rapid"
        and edge > NEAR_EDGE
        and flat
        and share == 1
        and not any(_near(f, x, y, z, given) for f in over)
    ):
        assert abs(added) < 1e-6, where
    if not reached:
        # A pass is written straight where that misses what is asked by no more than 0.4 of the tolerance (rule.py).
        assert added > -0.4 * tolerance - ROUNDING, where
    elif over and pair.old.kind != "rapid":
        low = max(float(f.nominal_z(x, y)) + float(given[f.id].at(x, y)) for f in over)
        assert z + added >= min(z, low) - tolerance - ROUNDING, where
    if pair.old.kind == "rapid":
        assert pair.new[-1].end[2] >= pair.old.end[2] - 1e-9, where

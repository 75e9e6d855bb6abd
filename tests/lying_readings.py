"""Invented readings with known lies in them: what a gauge, a hand and a keyboard get wrong, each with its code.

The warp is a closed form: the bow, dish and twist of a plate under released stress (constant curvatures) with a third
order on top; 1.2 mm over the plate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from floorfit.part.model import Part, Pocket, Tolerance
from floorfit.readings.observations import Readings, readings_from_arrays

LENGTH, WIDTH, RIB, RADIUS = 1200.0, 500.0, 6.0, 8.0
NOISE = 0.010


@dataclass(frozen=True)
class Row:
    """One row of the file, mm, and what is true of it: the code it should get, ``""`` for an honest one."""

    x: float
    y: float
    thickness: float
    label: str
    pocket: int
    code: str = ""


def plate(columns: int = 6, rows: int = 3) -> Part:
    """Pockets of 2 mm web with 0.5 mm stock, two of them of 0.9 mm web; every fourth has an island."""
    dx, dy = LENGTH / columns, WIDTH / rows
    pockets = [_pocket(i, j, dx, dy) for j in range(rows) for i in range(columns)]
    return Part("invented plate", ((0, 0), (LENGTH, 0), (LENGTH, WIDTH), (0, WIDTH)), tuple(pockets))


def _pocket(i: int, j: int, dx: float, dy: float) -> Pocket:
    x0, y0, x1, y1 = i * dx + RIB, j * dy + RIB, (i + 1) * dx - RIB, (j + 1) * dy - RIB
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    island = ((cx - 12, cy - 12), (cx + 12, cy - 12), (cx + 12, cy + 12), (cx - 12, cy + 12))
    web = 0.9 if (i, j) in ((2, 1), (3, 1)) else 2.0
    boundary = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    islands = (island,) if (i + j) % 4 == 1 else ()
    return Pocket(f"P{j}{i}", boundary, islands, web, web, Tolerance(-0.1, 0.1), 0.0, 0.5, (0.0, 0.0), RADIUS)


def warp(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Truth, mm."""
    u, v = 2 * np.asarray(x) / LENGTH - 1, 2 * np.asarray(y) / WIDTH - 1
    return 0.55 * u**2 + 0.2 * v**2 + 0.25 * u * v - 0.3 + 0.12 * u**3 - 0.08 * u * u * v


def honest_rows(part: Part, per_pocket: int, rng: np.random.Generator) -> list[Row]:
    """Readings at random places well inside each floor."""
    rows = []
    for index, pocket in enumerate(part.pockets):
        inner = pocket.polygon.buffer(-9.0)
        x0, y0, x1, y1 = inner.bounds
        while sum(row.pocket == index for row in rows) < per_pocket:
            x, y = np.round(rng.uniform((x0, y0), (x1, y1)), 2).tolist()
            if shapely.contains_xy(inner, x, y):
                rough = pocket.floor_z + pocket.finish_stock
                thickness = rough - float(warp(x, y)) + rng.normal(0, NOISE)
                rows.append(Row(x, y, round(thickness, 3), pocket.id, index))
    return rows


def _off_floor(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    thick = row.thickness + float(rng.choice([0.0, rng.uniform(5, 30)]))
    return replace(row, x=pocket.polygon.bounds[2] + RIB / 2, thickness=thick)


def _beyond(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    t = row.thickness
    return replace(row, thickness=float(rng.choice([t + rng.uniform(4, 40), 0.2 * t, -t])))


def _near_corner(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    x0, y0, _, _ = pocket.polygon.bounds
    return replace(row, x=x0 + 1.5, y=y0 + 1.5, thickness=row.thickness + 1.0)


def _near_wall(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    x0, y0, _, y1 = pocket.polygon.bounds
    return replace(row, x=x0 + 1.5, y=(y0 + y1) / 2 + 10.0)


def _swapped(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    """Exchange X and Y, unless the place stays on its floor: then nothing tells."""
    stays = shapely.contains_xy(pocket.polygon, row.y, row.x)
    return row if stays else replace(row, x=row.y, y=row.x)


def _relabelled(row: Row, pocket: Pocket, rng: np.random.Generator) -> Row:
    return replace(row, label=f"P{rng.integers(3)}{rng.integers(6)}")


#: Code, and how an honest row becomes such a lie.
LIES: dict[str, Callable[[Row, Pocket, np.random.Generator], Row]] = {
    "blank": lambda row, _, rng: replace(row, thickness=float(rng.choice([np.nan, 0.0]))),
    "beyond-web": _beyond,
    "double-echo": lambda row, _, rng: replace(row, thickness=2 * row.thickness),
    "inch": lambda row, _, rng: replace(row, thickness=row.thickness / 25.4),
    "inch place": lambda row, _, rng: replace(row, x=row.x / 25.4, y=row.y / 25.4),
    "swapped": _swapped,
    "wrong-label": _relabelled,
    "off-floor": _off_floor,
    "on-fillet": _near_corner,
    "near-wall": _near_wall,
}

#: Lies that are rows more than there were.
ADDED = ("doubled-row", "repeats-disagree")


def lie(part: Part, rows: list[Row], share: float, rng: np.random.Generator) -> list[Row]:
    """Turn a share of the rows into lies, every kind about as often as the others."""
    out = list(rows)
    kinds = [*LIES, *ADDED]
    chosen = rng.permutation(len(rows))[: round(share * len(rows))]
    for number, index in enumerate(chosen, start=int(rng.integers(len(kinds)))):
        kind, row = kinds[number % len(kinds)], rows[index]
        if kind in ADDED:
            out.extend(_added(row, kind, rng))
            continue
        spoilt = LIES[kind](row, part.pockets[row.pocket], rng)
        is_lie = spoilt != row and not (kind == "wrong-label" and spoilt.label == row.label)
        out[index] = replace(spoilt, code=kind.split()[0] if is_lie else "")
    return out


def _added(row: Row, kind: str, rng: np.random.Generator) -> list[Row]:
    if kind == "doubled-row":
        return [replace(row, code=kind)]
    honest = replace(row, thickness=row.thickness + 0.0013)
    off = row.thickness + float(rng.choice([-1, 1]) * rng.uniform(0.2, 0.5))
    return [honest, replace(row, thickness=off, code=kind)]


def table(rows: list[Row], *, has_labels: bool = True) -> Readings:
    """The rows as a readings table."""
    labels = [row.label if has_labels else "" for row in rows]
    return readings_from_arrays(
        [row.x for row in rows], [row.y for row in rows], [row.thickness for row in rows], pocket=labels
    )

"""An invented lofted rib of 43 floors, and its flat twin: the same bays, webs and warp over a level underside.

Its webs follow a surface that is curved both ways and twisted. Most are constant along their normal, some taper by
twisting; a few bays are plane, as in older ribs. Pads stand on some webs, collars round lightening holes in others;
the walls at both ends lean in over their floors, and two ribs have notches at their foot. Both sides are machined.

Mechanics are those of the flat twin (``plate_physics``): that a curved web is stiffer is left out. A collar counts as a
boss.

Lengths in mm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from plate_physics import Array
from random_plates import Layout, Plate, even_layout, warp_plate

from floorfit.part.model import Part, Pocket, Ring, Tolerance
from floorfit.part.shape import HeightGrid, Patch

SEED = 46
LENGTH, WIDTH, COLUMNS, ROWS = 1300.0, 330.0, 13, 3
#: Pitch of the heights in the part file: between them the loft is missed by 4.4e-4 / mm times its square / 8, 0.004.
PITCH = 8.0
TOLERANCE, STOCK, PAD = 0.1, 0.5, 1.2
#: Radius of the collar round a lightening hole, and its corners; the hole is smaller by the width of the collar.
COLLAR, CORNERS, COLLAR_WIDTH = 22.0, 24, 5.0
#: How far the top of a wall that leans in stands over its foot, as a share of the height: 3 degrees.
LEAN = 0.0524
#: Ribs that are notched: column left of the rib, row, height of the notch (None: up to the top).
NOTCHES = ((4, 1, 10.0), (8, 0, None))
NOTCH_WIDTH = 10.0

#: What the cells hold, column by column; three cells a column.
KINDS = (
    *("web", "web", "web"),
    *("twisted", "hole", "web"),
    *("web", "pad", "web"),
    *("web", "hole", "twisted"),
    *("web", "web", "web"),
    *("plane", "web", "web"),
    *("web", "split", "pad"),
    *("web", "hole", "web"),
    *("web", "web", "slope"),
    *("twisted", "web", "web"),
    *("pad", "hole", "web"),
    *("web", "web", "twisted"),
    *("web", "web", "web"),
)


def loft(x: Array | float, y: Array | float) -> Array:
    """Height of the webs' upper face: curved along and across, twisted; up to 5 degrees steep."""
    u, v = (np.asarray(x, float) - LENGTH / 2) / (LENGTH / 2), (np.asarray(y, float) - WIDTH / 2) / (WIDTH / 2)
    return np.asarray(22.0 + 5.0 * (1 - u**2) - 6.0 * v**2 + 3.5 * u * v)


def layout() -> Layout:
    """Bays of equal size."""
    return even_layout(LENGTH, WIDTH, COLUMNS, ROWS, rib=5.0, flange=16.0)


def flat_twin() -> Plate:
    """The same bays and webs over a level underside, warped."""
    rng = np.random.default_rng(SEED)
    part = Part("lofted rib (invented), flat twin", _outline(), tuple(pocket for pocket, _ in _bays(rng)))
    return warp_plate(part, layout(), rng, warp_range=0.9, dish=0.004)


def lofted_rib() -> Plate:
    """The rib, with the warp of its flat twin."""
    twin = flat_twin()
    kinds = [kind for _, kind in _bays(np.random.default_rng(SEED))]
    pockets = tuple(_lofted(pocket, kind) for pocket, kind in zip(twin.part.pockets, kinds, strict=True))
    return replace(twin, part=Part("lofted rib (invented)", _outline(), pockets))


def _outline() -> Ring:
    return ((0.0, 0.0), (LENGTH, 0.0), (LENGTH, WIDTH), (0.0, WIDTH))


def _bays(rng: np.random.Generator) -> list[tuple[Pocket, str]]:
    """The flat floors, each with its kind; a pad follows the floor that it stands on."""
    out: list[tuple[Pocket, str]] = []
    cells = [(x0, y0, x1, y1) for x0, x1 in layout().columns for y0, y1 in layout().rows]
    for cell, kind in zip(cells, KINDS, strict=True):
        web = float(rng.choice([1.6, 2.0, 2.5]))
        for rings, more in _rings(cell, kind):
            boundary, *islands = (tuple((round(float(x), 3), round(float(y), 3)) for x, y in ring) for ring in rings)
            limits, height = Tolerance(-TOLERANCE, TOLERANCE), web + more
            name = f"P{len(out) + 1:02d}"
            pocket = Pocket(name, boundary, tuple(islands), height, height, limits, 0.0, STOCK, corner_radius=8.0)
            out.append((pocket, "raised" if more else kind))
    return out


def _rings(cell: tuple[float, float, float, float], kind: str) -> list[tuple[list[Array], float]]:
    """Rings of the floors in a cell, and how much thicker each web is."""
    x0, y0, x1, y1 = cell
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    if kind == "hole":
        angle = 2 * np.pi * np.arange(CORNERS) / CORNERS
        return [([box, middle + COLLAR * np.column_stack([np.cos(angle), np.sin(angle)])], 0.0)]
    if kind == "pad":
        pad = middle + np.array([(-24.0, -18.0), (24.0, -18.0), (24.0, 18.0), (-24.0, 18.0)])
        return [([box, pad], 0.0), ([pad], PAD)]
    if kind == "split":
        left, right = x0 + 0.4 * (x1 - x0), x0 + 0.6 * (x1 - x0)
        one = np.array([(x0, y0), (left - 2.5, y0), (right - 2.5, y1), (x0, y1)])
        return [([one], 0.0), ([np.array([(left + 2.5, y0), (x1, y0), (x1, y1), (right + 2.5, y1)])], 0.0)]
    return [([box], 0.0)]


def _lofted(flat: Pocket, kind: str) -> Pocket:
    """The same bay with its web on the loft."""
    x, y = flat.centroid
    if kind == "plane":
        low = round(float(loft(x, y)), 3)
        return replace(flat, floor_z=low + flat.web, underside_z=low)
    more = PAD if kind == "raised" else 0.0
    if kind == "slope":
        slope = (float(loft(x + 1, y) - loft(x - 1, y)) / 2, float(loft(x, y + 1) - loft(x, y - 1)) / 2)
        slope = (round(slope[0], 5), round(slope[1], 5))
        height = round(float(loft(x, y)), 3)
        return _with_web(replace(flat, floor_z=height, slope=slope), flat.web)
    floor = Patch(grid=_grid(flat, lambda a, b: loft(a, b) + more))
    shaped = replace(flat, floor=(floor,), floor_z=float(floor.at(np.array(x), np.array(y))))
    if kind == "twisted":
        below = Patch(grid=_grid(flat, lambda a, b: loft(a, b) - flat.web - 1e-4 * (a - x) * (b - y)))
        web = shaped.floor_z - float(below.at(np.array(x), np.array(y)))
        return replace(shaped, underside=(below,), web=web, underside_z=shaped.floor_z - web)
    return _with_web(shaped, flat.web)


def _with_web(pocket: Pocket, web: float) -> Pocket:
    """Its web constant along the normal."""
    along_z = web * float(pocket.steepness_at(*pocket.centroid))
    return replace(pocket, web=along_z, underside_z=pocket.floor_z - along_z, is_parallel=True, web_along="normal")


def _grid(pocket: Pocket, height_of) -> HeightGrid:
    x0, y0, x1, y1 = pocket.polygon.bounds
    counts = [int(np.ceil((high - low) / PITCH)) for low, high in ((x0, x1), (y0, y1))]
    step = ((x1 - x0) / counts[0], (y1 - y0) / counts[1])
    lines = [low + size * np.arange(count + 1) for low, size, count in zip((x0, y0), step, counts, strict=True)]
    rows = np.round(height_of(*np.meshgrid(*lines)), 4)
    return HeightGrid((x0, y0), step, tuple(tuple(float(z) for z in row) for row in rows))


def leans(pocket: Pocket) -> float:
    """How far out of a floor's outline its shadow reaches at the top of the ribs, as a share of the height."""
    x0, _, x1, _ = pocket.polygon.bounds
    return LEAN if x0 < 20.0 or x1 > LENGTH - 20.0 else 0.0

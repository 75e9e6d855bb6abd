"""The dish of each web, as a shape beside the spline.

A thin web stands in or out between its ribs: released stress bends it by itself, and the spline, which knows no ribs,
smooths over it. Each floor is given a dish of its own with the shape of a clamped plate, whose height the readings
find; webs of one plate mostly dish to one side, so that part of the height is common to all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.part.model import Part
from floorfit.surface.local_shapes import LocalShapes, ShapeTable

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["POWERS", "poisson_tables", "web_dishes"]

#: Powers of the Poisson solution p over the web that compete, the one to begin with first. A clamped web dishes as p²
#: (exact for a circle and any ellipse under even pressure: Timoshenko & Woinowsky-Krieger 1959, §16 and §71, from
#: memory; 1 to 3 % of the height on rectangles), one that is hinged along its ribs nearly as p; ribs that twist with
#: their webs lie between.
POWERS = (1.5, 2.0, 1.0)
#: The power of clamped webs. Where ribs twist with their webs, each bends by what its neighbours do, besides by itself.
CLAMPED = 2.0
#: Floors nearer to each other than this have no rib between them, mm.
TOUCH_MM = 0.02
#: Cells across the smaller side of a floor, and the most nodes of one floor.
ACROSS, MOST_NODES = 12, 1_500
#: How much of a dish may be common to the webs of a plate, in units of what is each one's own: a weak prior.
COMMON = 2.0
#: With which power of span and of thickness that goes is not known: standard deviations of the powers. One stress bends
#: webs as a² (see below), even pressure as a⁴/t³ (Timoshenko & Woinowsky-Krieger 1959, §41, from memory), and webs of
#: several thicknesses end at different depths of the blank's stress, whose sign changes there. Without it the pattern
#: of sizes alone would tell what is common to all, where no reading shows it: each web read at its middle only.
SPAN_POWER, THICKNESS_POWER = 1.0, 2.0
#: Bounds of a web's size beside the others': released curvature κ0 over a span a makes a dish of the order κ0 a², with
#: κ0 ∝ 1/t (Treuting & Read 1951) for one stress, but what stress a web holds is not known to better than this, and
#: ribs that twist bend webs of every thickness alike: the root of 1/t lies between.
LEAST_SIZE, MOST_SIZE = 0.5, 2.0


#: Stiffness of a boss beside its web's: nothing is under it, so that it rides on the web as a rigid piece.
BOSS = 100.0


def web_dishes(part: Part) -> tuple[LocalShapes, ...]:
    """One dish for each floor of a part; floors that meet without a rib between them bend one web together.

    Parameters
    ----------
    part : Part

    Returns
    -------
    tuple of LocalShapes, one for each of `POWERS`
        Named after the pockets, web by web; their amounts are heights at the highest place, mm. The stress of each
        floor of a web bends the whole of it: with equal amounts the floors of a web add up to the dish of one.
    """
    webs = _webs(part)
    known: dict[bytes, list[Array]] = {}
    solved = [_solved(part, web, known) for web in webs]
    sizes, common = _sizes(part, webs)
    each = np.repeat(np.arange(len(webs)), [len(web) for web in webs])
    names = tuple(part.pockets[k].id for web in webs for k in web)
    return tuple(
        LocalShapes(
            names,
            tuple(table for tables in solved for table in _raised(tables, power)),
            sizes[each],
            common[:, each],
            is_loose=power < CLAMPED,
            power=power,
        )
        for power in POWERS
    )


def _sizes(part: Part, webs: list[list[int]]) -> tuple[Array, Array]:
    """How far each web is expected to go beside the others, and what is common: as that, by span, by thickness."""
    import shapely

    spans = np.array([float(shapely.maximum_inscribed_circle(_outline(part, web)[0]).length) for web in webs])
    thick = np.array([np.mean([part.pockets[k].web + part.pockets[k].finish_stock for k in web]) for web in webs])
    span, thickness = spans / np.median(spans), thick / np.median(thick)
    sizes = np.clip(span**2 / np.sqrt(thickness), LEAST_SIZE, MOST_SIZE)
    powers = SPAN_POWER * np.log(span), THICKNESS_POWER * np.log(thickness)
    return sizes, COMMON * np.stack([np.ones(len(webs)), *powers])


def _raised(tables: Sequence[ShapeTable], power: float) -> list[ShapeTable]:
    """Shares q of a Poisson solution p as shares of pᵖᵒʷᵉʳ: ``q p^(power − 1)``."""
    if len(tables) == 1:
        return [replace(tables[0], values=tables[0].values ** power)]
    whole = np.sum([table.values for table in tables], axis=0)
    return [replace(table, values=table.values * whole ** (power - 1)) for table in tables]


def poisson_tables(
    outline: Polygon, bosses: Sequence[Polygon] = (), loaded: Sequence[Polygon] = ()
) -> list[ShapeTable]:
    """Poisson solution over one web as a share for each of its floors: 0 at its walls, 1 at the highest place together.

    ``−∇·(k ∇p) = 1`` with p = 0 on the walls and a large k in bosses, by differences on a lattice.

    Parameters
    ----------
    outline : Polygon, mm
        Of the web, without holes.
    bosses : sequence of Polygon, mm
    loaded : sequence of Polygon, mm
        Floors of the web, where it has several: the right side is 1 on each in turn.
    """
    import shapely

    x0, y0, x1, y1 = outline.bounds
    step = max(min(x1 - x0, y1 - y0) / ACROSS, np.sqrt((x1 - x0) * (y1 - y0) / MOST_NODES))
    xs = np.linspace(x0, x1, max(4, round((x1 - x0) / step) + 1))
    ys = np.linspace(y0, y1, max(4, round((y1 - y0) / step) + 1))
    places = np.meshgrid(xs, ys, indexing="ij")
    inside = shapely.contains_xy(outline, *places)
    inside[[0, -1]] = inside[:, [0, -1]] = False
    stiff = np.ones(inside.shape)
    for boss in bosses:
        stiff[shapely.contains_xy(boss, *places)] = BOSS
    # A node on the line between two floors belongs to the nearer one, the first where that is both.
    nodes = shapely.points(np.stack(places, axis=-1))
    nearest = np.argmin([shapely.distance(floor, nodes) for floor in loaded or (outline,)], axis=0)
    loads = [np.where(inside, nearest == k, False).astype(float) for k in range(max(len(loaded), 1))]
    heights = _poisson(inside, stiff, xs[1] - xs[0], ys[1] - ys[0], loads)
    highest = max(float(np.sum(heights, axis=0).max()), 1e-300)
    return [ShapeTable((x0, y0), (x1, y1), one / highest) for one in heights]


def _poisson(inside: Flags, stiff: Array, hx: float, hy: float, loads: Sequence[Array]) -> list[Array]:
    """Solve on a lattice, banded along its shorter side; a link is as stiff as the mean of its ends."""
    from scipy.linalg import solveh_banded

    if inside.shape[0] < inside.shape[1]:
        return [one.T for one in _poisson(inside.T, stiff.T, hy, hx, [load.T for load in loads])]
    along = (stiff[:-1] + stiff[1:]) / 2 / hx**2
    across = (stiff[:, :-1] + stiff[:, 1:]) / 2 / hy**2
    own = np.zeros(stiff.shape)
    for part, link in ((own[:-1], along), (own[1:], along), (own[:, :-1], across), (own[:, 1:], across)):
        part += link
    width = inside.shape[1]
    flat, band = inside.ravel(), np.zeros((width + 1, inside.size))
    band[0] = np.where(flat, own.ravel(), 1.0)
    next_to = np.pad(across, ((0, 0), (0, 1))).ravel()
    band[1, :-1] = np.where(flat[:-1] & flat[1:], -next_to[:-1], 0.0)
    band[width, :-width] = np.where(flat[:-width] & flat[width:], -along.ravel(), 0.0)
    right = np.stack([load.ravel() for load in loads], axis=1)
    found = np.maximum(solveh_banded(band, right, lower=True), 0.0)
    return [found[:, k].reshape(inside.shape) for k in range(len(loads))]


def _webs(part: Part) -> list[list[int]]:
    """Floors of each web: floors that share a length of edge have no rib between them."""
    import shapely

    polygons = [pocket.polygon for pocket in part.pockets]
    tree = shapely.STRtree(polygons)
    first, second = tree.query(polygons, predicate="dwithin", distance=TOUCH_MM)
    root = list(range(len(polygons)))
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i < j and polygons[i].buffer(TOUCH_MM).intersection(polygons[j].boundary).length > 10 * TOUCH_MM:
            low, high = sorted((root[i], root[j]))
            root = [low if k == high else k for k in root]
    return [[k for k, r in enumerate(root) if r == head] for head in sorted(set(root))]


def _outline(part: Part, web: list[int]) -> tuple[Polygon, list[Polygon]]:
    """Outline of a web without holes, and its bosses."""
    import shapely

    pieces = [shapely.Polygon(part.pockets[k].boundary) for k in web]
    bosses = [shapely.Polygon(ring) for k in web for ring in part.pockets[k].islands]
    if len(pieces) == 1:
        return pieces[0], bosses
    whole = shapely.union_all([piece.buffer(TOUCH_MM) for piece in pieces])
    return shapely.Polygon(shapely.get_exterior_ring(whole)), bosses


def _solved(part: Part, web: list[int], known: dict[bytes, list[Array]]) -> list[ShapeTable]:
    """Tables of a web, one for each of its floors; webs of one form share one solution."""
    import shapely

    outline, bosses = _outline(part, web)
    floors = [shapely.Polygon(part.pockets[k].boundary) for k in web] if len(web) > 1 else []
    x0, y0, x1, y1 = outline.bounds
    form = np.round(shapely.get_coordinates([outline, *bosses, *floors]) - (x0, y0), 3).tobytes()
    if form not in known:
        known[form] = [table.values for table in poisson_tables(outline, bosses, floors)]
    return [ShapeTable((x0, y0), (x1, y1), values) for values in known[form]]

"""Invented pocketed plates with a known warp.

The warp comes from ``plate_physics``: released residual stress, different along and across the rolling direction
and uneven over the plan, bends a plate of ribs and webs. Each web dishes a little more between its ribs, as if clamped
there, under a small random pressure. Everything is drawn from a seed.

Lengths in mm. The signs are those of the package: w > 0 where the plate stands high.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from plate_physics import (
    E_MPA,
    NU,
    Array,
    Deflection,
    Load,
    PlateModel,
    Rigidity,
    Section,
    deflect,
    mesh_lines,
    parabolic_stress,
    plate_rigidity,
    released_curvature,
    rib_rigidity,
)

from floorfit.part.model import Part, Pocket, Ring, Tolerance
from floorfit.units import MM_PER_UNIT, Unit

#: What a cell between ribs can hold.
KINDS = ("rectangle", "island", "step", "slope", "triangles", "trapezoids", "lowered")


@dataclass(frozen=True)
class Layout:
    """Ribs and cells of a plate.

    Parameters
    ----------
    length, width : float, mm
    columns, rows : (k, 2), (l, 2) ndarray, mm
        Lower and upper face of each column and row of cells.
    rib : float, mm
        Width of the ribs between cells.
    height : float, mm
        Height of the ribs above the underside.
    blank : float, mm
        Thickness of the plate that it was cut from.
    """

    length: float
    width: float
    columns: Array
    rows: Array
    rib: float
    height: float = 40.0
    blank: float = 60.0


def even_layout(length: float, width: float, cols: int, rows: int, *, rib: float = 6.0, flange: float = 20.0) -> Layout:
    """Cells of equal size with a flange all round."""
    return Layout(length, width, _strips(length, cols, rib, flange), _strips(width, rows, rib, flange), rib)


def _strips(extent: float, count: int, rib: float, flange: float) -> Array:
    size = (extent - 2 * flange - (count - 1) * rib) / count
    low = flange + np.arange(count) * (size + rib)
    return np.column_stack([low, low + size])


@dataclass(frozen=True)
class Plate:
    """A part, its warp, and the stress that made it.

    Parameters
    ----------
    part : Part
    warp : Deflection
        Truth: callable ``(x, y) -> mm``.
    layout : Layout
    stress : float, MPa
        Middle stress s of the parabola that the warp amounts to.
    """

    part: Part
    warp: Deflection
    layout: Layout
    stress: float


@dataclass(frozen=True)
class Marks:
    """What a plate may show beside the smooth warp of its stress.

    Parameters
    ----------
    mean_dish : float, mm
        Dish that the middle of every web has in common: thin webs of one plate dish to one side.
    kink : float, rad
        Standard deviation of the angle by which the plate breaks over each rib that runs across it.
    clamps : int
        Number of places near the edge where a clamp has left its mark.
    clamp_height : float, mm
        About how high a mark stands: κ0 = 4 h / r² over a disc of `CLAMP_RADIUS`, of either sign.
    are_bosses_held : bool
        Whether a boss holds its web where it is; else it rides on it, as nothing is under it.
    bent : float, mm
        About how far each web bends by a stress of its own, with ribs that twist and bend along: root mean square over
        the webs of the range about their planes.
    """

    mean_dish: float = 0.0
    kink: float = 0.0
    clamps: int = 0
    clamp_height: float = 0.03
    are_bosses_held: bool = False
    bent: float = 0.0


#: Radius of a clamp's mark, mm: the foot of a strap clamp (common practice, no source).
CLAMP_RADIUS = 50.0


def random_plate(
    seed: int,
    length: float = 4000.0,
    width: float = 1200.0,
    rows: int = 5,
    cols: int = 14,
    *,
    warp_range: float | None = None,
    dish: float = 0.004,
    tolerance: float = 0.1,
    finish_stock: float | None = None,
    kinds: Sequence[str] | None = None,
    unit: Unit = "mm",
    marks: Marks | None = None,
) -> Plate:
    """Draw a plate.

    Parameters
    ----------
    seed : int
    length, width : float, mm
    rows, cols : int
        Cells; a cell holds one floor or, as a step, triangles or trapezoids, two.
    warp_range : float, mm, optional
        Highest less lowest warp over the floors; drawn from 0.2 to 3 if left out.
    dish : float, mm
        Standard deviation of the local dishing at the middle of a web.
    tolerance : float, mm
        The web limits are ± this.
    finish_stock : float, mm, optional
        Default: 0.3 above the range of the warp.
    kinds : sequence of str, optional
        One of `KINDS` for each cell, column by column; drawn if left out.
    unit : {"mm", "in"}
        Coordinates are rounded to 0.001 of it.
    marks : Marks, optional
        What the plate shows beside; nothing if left out.

    Returns
    -------
    Plate
    """
    rng = np.random.default_rng(seed)
    layout = even_layout(length, width, cols, rows, rib=float(rng.uniform(4, 8)), flange=float(rng.uniform(15, 30)))
    amount = float(rng.uniform(0.2, 3.0)) if warp_range is None else warp_range
    stock = amount + 0.3 if finish_stock is None else finish_stock
    chosen = _draw_kinds(rng, rows * cols) if kinds is None else kinds
    part = build_part(f"invented plate {seed}", layout, chosen, rng, tolerance=tolerance, stock=stock, unit=unit)
    return warp_plate(part, layout, rng, warp_range=amount, dish=dish, marks=marks)


def _draw_kinds(rng: np.random.Generator, count: int) -> list[str]:
    shares = np.array([0.62, 0.08, 0.06, 0.06, 0.06, 0.06, 0.06])
    return [str(k) for k in rng.choice(KINDS, size=count, p=shares)]


def build_part(
    name: str,
    layout: Layout,
    kinds: Sequence[str],
    rng: np.random.Generator,
    *,
    tolerance: float = 0.1,
    stock: float = 0.5,
    webs: Sequence[float] = (1.5, 2.0, 2.5, 3.0),
    unit: Unit = "mm",
) -> Part:
    """Fill the cells of a layout with floors, column by column; ``kinds`` has one entry a cell."""
    pockets: list[Pocket] = []
    cells = [(x0, y0, x1, y1) for x0, x1 in layout.columns for y0, y1 in layout.rows]
    for cell, kind in zip(cells, kinds, strict=True):
        for rings, offset, slope, underside in _floors(cell, kind, layout.rib, rng):
            web = _round(float(rng.choice(np.asarray(webs))) + offset, unit)
            boundary, *islands = (_round_ring(ring, unit) for ring in rings)
            low = _round(underside, unit)
            pockets.append(
                Pocket(
                    id=f"P{len(pockets) + 1:02d}",
                    boundary=boundary,
                    islands=tuple(islands),
                    floor_z=low + web,
                    web=web,
                    tolerance=Tolerance(-_round(tolerance, unit), _round(tolerance, unit)),
                    underside_z=low,
                    finish_stock=_round(stock, unit),
                    slope=slope,
                    corner_radius=_round(8.0, unit),
                )
            )
    edge = ((0.0, 0.0), (layout.length, 0.0), (layout.length, layout.width), (0.0, layout.width))
    return Part(name=name, outline=_round_ring(edge, unit), pockets=tuple(pockets), units=unit)


def _round(value: float, unit: Unit) -> float:
    scale = MM_PER_UNIT[unit]
    return round(value / scale, 3 if unit == "mm" else 4) * scale


def _round_ring(ring: ArrayLike, unit: Unit) -> Ring:
    return tuple((_round(float(x), unit), _round(float(y), unit)) for x, y in np.asarray(ring))


_Floor = tuple[list[Array], float, tuple[float, float], float]


def _floors(cell: tuple[float, float, float, float], kind: str, rib: float, rng: np.random.Generator) -> list[_Floor]:
    """Floors in one cell: rings, what is added to the web drawn for it, slope, underside."""
    x0, y0, x1, y1 = cell
    box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    flat = (0.0, 0.0)
    if kind == "island":
        return [([box, _boss(cell, rng)], 0.0, flat, 0.0)]
    if kind == "slope":
        return [([box], 1.0, (round(0.8 / (x1 - x0), 5), round(-0.3 / (y1 - y0), 5)), 0.0)]
    if kind == "lowered":
        return [([box], 0.0, flat, 4.0)]
    if kind == "step":
        cut = x0 + float(rng.uniform(0.4, 0.6)) * (x1 - x0)
        halves = [np.array([(a, y0), (b, y0), (b, y1), (a, y1)]) for a, b in ((x0, cut), (cut, x1))]
        return [([halves[0]], 0.0, flat, 0.0), ([halves[1]], 1.25, flat, 0.0)]
    if kind in ("triangles", "trapezoids"):
        lean = (x0, x1) if kind == "triangles" else (x0 + 0.35 * (x1 - x0), x0 + 0.65 * (x1 - x0))
        return [([ring], 0.0, flat, 0.0) for ring in _split(box, (lean[0], y0), (lean[1], y1), rib)]
    return [([box], 0.0, flat, 0.0)]


def _boss(cell: tuple[float, float, float, float], rng: np.random.Generator) -> Array:
    """An eight-sided boss somewhere near the middle."""
    x0, y0, x1, y1 = cell
    middle = np.array([rng.uniform(0.35, 0.65) * (x1 - x0) + x0, rng.uniform(0.4, 0.6) * (y1 - y0) + y0])
    angle = np.arange(8) * np.pi / 4 + np.pi / 8
    radius = min(18.0, 0.17 * min(x1 - x0, y1 - y0))
    return np.asarray(middle + radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def _split(box: Array, start: tuple[float, float], end: tuple[float, float], rib: float) -> list[Array]:
    """The two floors that a slanted rib leaves of a rectangle, left one first."""
    from shapely import LineString, Polygon
    from shapely.affinity import scale

    bar = scale(LineString([start, end]), 3.0, 3.0).buffer(rib / 2, cap_style="flat")
    pieces = sorted(Polygon(box).difference(bar).geoms, key=lambda p: p.centroid.x)
    return [np.array(piece.exterior.coords)[:-1] for piece in pieces]


def warp_plate(
    part: Part,
    layout: Layout,
    rng: np.random.Generator,
    *,
    warp_range: float,
    dish: float,
    marks: Marks | None = None,
) -> Plate:
    """Bend a part: the stress is scaled so that the warp over its floors has the range asked for."""
    marks = marks or Marks(are_bosses_held=True)
    x = mesh_lines([0.0, *layout.columns.ravel(), layout.length], 60.0, least=3)
    y = mesh_lines([0.0, *layout.rows.ravel(), layout.width], 60.0, least=3)
    pattern = _pattern(layout, rng)
    stiff = _RibsAndWebs(part, layout)
    pressures = _pressures(part, layout, rng, dish, marks.mean_dish)
    model = PlateModel(x, y, stiff.rigidity)
    released = deflect(model, Load(curvature=lambda a, b: stiff.curvature(a, b, pattern)))
    pressure = Load(pressure=lambda a, b: pressures[stiff.thickness(a, b)[1]])
    dished = deflect(model, pressure, support=stiff.is_rib if marks.are_bosses_held else stiff.is_wall)
    places = [floor_points(pocket, 12) for pocket in part.pockets]
    values = released(*np.concatenate(places).T)
    factor = warp_range / float(np.ptp(values))
    warp = released.scaled(factor).plus(dished)
    if marks.kink or marks.clamps:
        warp = warp.plus(deflect(model, Load(curvature=_marked(layout, marks, rng))))
    if marks.bent:
        warp = warp.plus(_bent(part, model, stiff, rng, places, marks.bent))
    return Plate(part, warp, layout, stress=10.0 * factor)


def _bent(
    part: Part, model: PlateModel, stiff: _RibsAndWebs, rng: np.random.Generator, places: list[Array], amount: float
) -> Deflection:
    """Webs that bend by a released curvature of their own, more along X or along Y; nothing but the ribs holds them."""
    own, uneven = np.zeros((2, len(part.pockets) + 1))  # the last serves the ribs, number −1
    own[:-1], uneven[:-1] = rng.normal(0.0, 1e-6, len(places)), rng.normal(0.0, 0.3, len(places))

    def curvature(x: Array, y: Array) -> tuple[Array, Array]:
        number = stiff.thickness(x, y)[1]
        return own[number] * (1 + uneven[number]), own[number] * (1 - uneven[number])

    found = deflect(model, Load(curvature=curvature))
    return found.scaled(amount / float(np.sqrt(np.mean([_range_about_plane(found, some) ** 2 for some in places]))))


def _range_about_plane(found: Deflection, places: Array) -> float:
    values, plane = found(*places.T), np.column_stack([np.ones(len(places)), places])
    return float(np.ptp(values - plane @ np.linalg.lstsq(plane, values, rcond=None)[0]))


def _marked(layout: Layout, marks: Marks, rng: np.random.Generator) -> Callable[[Array, Array], tuple[Array, Array]]:
    """Released curvature of kinks (an angle over the width of a rib) and of clamps (discs)."""
    faces = np.column_stack([layout.columns[:-1, 1], layout.columns[1:, 0]])
    angles = rng.normal(0.0, marks.kink, len(faces))
    spots = np.column_stack([rng.uniform(0, layout.length, marks.clamps), rng.uniform(0, layout.width, marks.clamps)])
    side = rng.integers(0, 4, marks.clamps)
    inside = 0.6 * CLAMP_RADIUS
    ends = np.array([[inside, layout.length - inside], [inside, layout.width - inside]])
    spots[np.arange(marks.clamps), side // 2] = ends[side // 2, side % 2]
    heights = marks.clamp_height * rng.choice([-1.0, 1.0], marks.clamps)

    def curvature(x: Array, y: Array) -> tuple[Array, Array]:
        along, both = np.zeros(x.shape), np.zeros(x.shape)
        for (low, high), angle in zip(faces, angles, strict=True):
            along += np.where((x > low) & (x < high), angle / (high - low), 0.0)
        for spot, height in zip(spots, heights, strict=True):
            away = (x - spot[0]) ** 2 + (y - spot[1]) ** 2
            both += np.where(away < CLAMP_RADIUS**2, -4 * height / CLAMP_RADIUS**2, 0.0)
        return along + both, both

    return curvature


def _pattern(layout: Layout, rng: np.random.Generator) -> Array:
    """Unevenness of the stress: amplitudes of cosines (2, 3, 3), the first set along, the second across."""
    shares = rng.normal(0.0, 1.0, (2, 3, 3)) * np.array([[0.0, 0.3, 0.15], [0.3, 0.15, 0.1], [0.15, 0.1, 0.05]])
    shares[:, 0, 0] = (1.0, rng.uniform(0.3, 0.9))
    return np.asarray(shares * rng.choice([-1.0, 1.0], p=[0.3, 0.7]))


class _RibsAndWebs:
    """Rigidity, released curvature and pressure of the roughed part at plan positions."""

    def __init__(self, part: Part, layout: Layout) -> None:
        self.part = part
        self.layout = layout
        self.skim = 2.0
        web = float(np.mean([p.web + p.finish_stock for p in part.pockets]))
        self.along = self._section(web, float(np.mean(np.diff(layout.rows))))
        self.across = self._section(web, float(np.mean(np.diff(layout.columns))))

    def _section(self, web: float, cell: float) -> Section:
        return Section(((0.0, web, cell + self.layout.rib), (web, self.layout.height, self.layout.rib)))

    def thickness(self, x: Array, y: Array) -> tuple[Array, NDArray[np.int64]]:
        """Web left by roughing at each place (0 on a rib), and the number of the floor (−1 on a rib)."""
        from shapely import contains_xy

        web, number = np.zeros(x.shape), np.full(x.shape, -1)
        for k, pocket in enumerate(self.part.pockets):
            x0, y0, x1, y1 = pocket.polygon.bounds
            near = np.nonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
            inside = contains_xy(pocket.polygon, x[near], y[near])
            here = tuple(index[inside] for index in near)
            web[here] = pocket.nominal_web(x[here], y[here]) + pocket.finish_stock
            number[here] = k
        return web, number

    def rigidity(self, x: Array, y: Array) -> Rigidity:
        """Webs as isotropic plates, ribs as strips (see ``plate_physics``)."""
        web, number = self.thickness(x, y)
        plate = plate_rigidity(np.where(number < 0, 1.0, web))
        ribs = [
            rib_rigidity(s.moments()[2], self.layout.rib, self.layout.height).d11 for s in (self.along, self.across)
        ]
        twist = rib_rigidity(1.0, self.layout.rib, self.layout.height).d66
        rib = number < 0
        return Rigidity(
            np.where(rib, ribs[0], plate.d11),
            np.where(rib, ribs[1], plate.d22),
            np.where(rib, 0.0, plate.d12),
            np.where(rib, twist, plate.d66),
        )

    def curvature(self, x: Array, y: Array, pattern: Array) -> tuple[Array, Array]:
        """Released curvature for s = 10 MPa: on a web 24 (1 − ν) s (h/2 − ζ0)/(E h²), on a rib of the section."""
        web, number = self.thickness(x, y)
        blank = self.layout.blank
        # A thin web takes (1 − ν) σ'(its middle)/E: the slope of the parabola there.
        own = (1 - NU) / E_MPA * 24 * 10.0 * (blank / 2 - self.skim - web / 2) / blank**2
        stress = parabolic_stress(10.0, blank, self.skim)
        ribs = [released_curvature(section, stress) for section in (self.along, self.across)]
        shares = _cosines(self.layout, x, y, pattern)
        return tuple(np.where(number < 0, rib, own) * share for rib, share in zip(ribs, shares, strict=True))

    def is_rib(self, x: Array, y: Array) -> NDArray[np.bool_]:
        """True where no floor lies strictly round a place: there the dishing webs are clamped."""
        from shapely import contains_xy

        inside = np.zeros(x.shape, dtype=bool)
        for pocket in self.part.pockets:
            inside |= contains_xy(pocket.polygon.buffer(-1e-6), x, y)
        return ~inside

    def is_wall(self, x: Array, y: Array) -> NDArray[np.bool_]:
        """The same, bosses left out."""
        from shapely import Polygon, contains_xy

        inside = np.zeros(x.shape, dtype=bool)
        for pocket in self.part.pockets:
            inside |= contains_xy(Polygon(pocket.boundary).buffer(-1e-6), x, y)
        return ~inside


def _cosines(layout: Layout, x: Array, y: Array, pattern: Array) -> tuple[Array, Array]:
    order = np.arange(3)
    cx = np.cos(np.pi * order[:, None, None] * x / layout.length)
    cy = np.cos(np.pi * order[:, None, None] * y / layout.width)
    along, across = (np.einsum("mn,mij,nij->ij", amplitudes, cx, cy) for amplitudes in pattern)
    return along, across


def _pressures(part: Part, layout: Layout, rng: np.random.Generator, dish: float, mean: float) -> Array:
    """Pressure that dishes each web by a random amount, by the clamped plate's α q a⁴/D with α = 0.0013 to 0.0025.

    Timoshenko & Woinowsky-Krieger 1959, table 35; the middle value 0.002 is taken, the truth is what comes out.
    """
    amounts = mean + rng.normal(0.0, dish, len(part.pockets))
    side = min(float(np.mean(np.diff(faces))) for faces in (layout.columns, layout.rows))
    webs = np.array([p.web + p.finish_stock for p in part.pockets])
    pressures = amounts * plate_rigidity(webs).d11 / (0.002 * side**4)
    return np.append(pressures, 0.0)  # the last serves the ribs, number −1


def floor_points(pocket: Pocket, count: int = 40, margin: float = 0.0) -> Array:
    """Grid of about ``count`` lines along the longer side over a floor, its corners included, (k, 2), mm."""
    from shapely import contains_xy, points

    area = pocket.polygon if margin == 0 else pocket.polygon.buffer(-margin)
    x0, y0, x1, y1 = area.bounds
    step = max(x1 - x0, y1 - y0) / count
    xs, ys = (np.linspace(a, b, max(4, round((b - a) / step) + 1)) for a, b in ((x0, x1), (y0, y1)))
    grid = np.array(np.meshgrid(xs, ys)).reshape(2, -1).T
    is_on = contains_xy(area, *grid.T)
    is_on[~is_on] = area.distance(points(grid[~is_on])) < 1e-9
    inside = grid[is_on]
    corners = np.array([xy for ring in (pocket.boundary, *pocket.islands) for xy in ring])
    return np.vstack([inside, corners]) if margin == 0 else inside


@dataclass(frozen=True)
class FloorTruth:
    """What a perfect gauge would know of one floor, mm: extremes of the warp, best shift, web limits' centre."""

    warp_min: float
    warp_max: float
    best_shift: float


def floor_truth(plate: Plate, pocket: Pocket, count: int = 60) -> FloorTruth:
    """Extremes of the true warp over a floor and the shift with equal margin to both limits."""
    w = plate.warp(*floor_points(pocket, count).T)
    low, high = float(w.min()), float(w.max())
    lower, upper = pocket.tolerance.lower, pocket.tolerance.upper
    aim = 0.0 if lower is None or upper is None else (lower + upper) / 2
    return FloorTruth(low, high, (low + high) / 2 + aim)


def with_tolerance(part: Part, lower: float | None, upper: float | None) -> Part:
    """The same part with other web limits on every floor, mm."""
    limits = Tolerance(lower, upper)
    return replace(part, pockets=tuple(replace(p, tolerance=limits) for p in part.pockets))

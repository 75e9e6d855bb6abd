"""Pocket names and numbers on the sheets: as large as fits, clear of readings, a number where the name does not fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from floorfit.arrays import Array, Rows
from floorfit.report.actions import label_of
from floorfit.report.fields import View
from floorfit.report.labels import GAP, MM_PER_POINT, Box, box_at, printable, text_size
from floorfit.report.marks import Marks
from floorfit.report.plan_view import DrawnFloor, PlanView
from floorfit.report.sheet import INK

__all__ = ["label_floors", "map_lines", "uncertainty_lines", "web_lines"]

#: Sizes tried for a label, points; the smallest is still readable on paper.
SIZES = (10.0, 9.0, 8.0, 7.0, 6.0)

#: A reading set aside is worth more than one used when a label has to cover one of them.
_ASIDE_WEIGHT = 4.0


_LINE = 1.25
#: Labels beside their floor, on one sheet, above which nobody can follow their leaders.
_MOST_BESIDE = 100
#: Searches in vain after which a drawing counts as full.
_MOST_MISSES = 300

_NOWHERE: Array = np.empty((0, 2))

#: Room for the arrow of a tilt before its slope, in heights of the text.
_ARROW = 1.6


@dataclass(frozen=True)
class Line:
    """One line of a label; an arrow for the way of a tilt stands before its slope."""

    text: str
    kind: str = "pocket"
    is_bold: bool = False
    angle: float | None = None


#: Ways to label a floor, best first; the first line is the name, or a number for it, the others say more.
Lines = Callable[[View, DrawnFloor], list[tuple[Line, ...]]]


@dataclass(frozen=True)
class _Label:
    """One floor to be labelled in one band, and the marks that its label should not cover."""

    view: View
    floor: DrawnFloor
    marks: Array
    weights: Array
    found: dict[tuple[float, float], Array] = field(default_factory=dict)
    leader: list[Array] = field(default_factory=list)


def label_floors(views: Sequence[View], marks: Marks | None, lines: Lines) -> list[DrawnFloor]:
    """Write a label in every floor.

    Parameters
    ----------
    views : sequence of View
        The bands; a floor is labelled in the one that holds its middle.
    marks : Marks or None
        Marks that labels keep clear of where they can.
    lines : callable
        Gives the ways to label a floor, best first.

    Returns
    -------
    list of Floor
        Those that got their number (``#7``, the order of the part file) because the name did not fit.
    """
    places, weights = _weighed(marks, views[0].plan)
    homes = [(view, floor) for view in views for floor in view.plan.floors if view.holds(*floor.label_at)]
    near = _near([floor for _, floor in homes], places)
    labels = [_Label(*home, places[rows], weights[rows]) for home, rows in zip(homes, near, strict=True)]
    ways = [lines(label.view, label.floor) for label in labels]
    points = _common_size(labels, ways)
    late = [(label, way) for label, way in zip(labels, ways, strict=True) if not _inside(label, way[0], points)]
    written = [(label, way, _smaller(label, way, points)) for label, way in late]
    small = [(label, way) for label, way, lines in written if not lines]
    other = _beside if len(small) <= _MOST_BESIDE else _number_alone
    written += [(label, way, other(label, way)) for label, way in small]
    numbered = [label.floor for label, way, lines in written if lines and lines[0] != way[0][0]]
    for view in views:
        if leaders := [label.leader for label in labels if label.view is view and label.leader]:
            _draw_leaders(view, leaders)
    return numbered


def map_lines(view: View, floor: DrawnFloor) -> list[tuple[Line, ...]]:
    """Return name, action and its numbers, wide and narrow; ? and ! mark the verdict.

    Parameters
    ----------
    view : View
    floor : Floor
    """
    said = label_of(floor.decision, view.plan.display)
    more = [Line(said.more, "more", False, said.angle)] if said.more else []
    together = Line(f"{said.action} {said.number}".strip(), "number", True)
    apart = [Line(text, "number", True) for text in (said.action, said.number) if text]
    low, dots, high = said.more.partition("…")
    ends = [Line(low + dots, "more"), Line(high, "more")] if dots else more
    names = (Line(printable(floor.id)), Line(f"#{floor.index + 1}"))
    return [way for name in names for way in ((name, together, *more), (name, *apart, *ends))]


def web_lines(after: bool) -> Lines:
    """Return the way to label webs: id, least and greatest web of the floor."""

    def lines(view: View, floor: DrawnFloor) -> list[tuple[Line, ...]]:
        decision, show = floor.decision, view.plan.display
        low = decision.web_after_min_mm if after else decision.web_before_min_mm
        high = decision.web_after_max_mm if after else decision.web_before_max_mm
        held = [show.words("hold")] if after else []
        numbers = [show.length(low), show.length(high)] if low is not None else held
        return _named(floor, [Line(text, "number") for text in numbers])

    return lines


def uncertainty_lines(view: View, floor: DrawnFloor) -> list[tuple[Line, ...]]:
    """Return id and expanded uncertainty of the offset.

    Parameters
    ----------
    view : View
    floor : Floor
    """
    u = floor.decision.offset_u_mm
    return _named(floor, [] if u is None else [Line(view.plan.display.pair(0.0, u)[1], "number", True)])


def _named(floor: DrawnFloor, numbers: list[Line]) -> list[tuple[Line, ...]]:
    """Return name and numbers, the name alone, and the same with a number in place of the name."""
    names = (Line(printable(floor.id)), Line(f"#{floor.index + 1}"))
    return [way for name in names for way in ((name, *numbers), (name,))]


def _weighed(marks: Marks | None, plan: PlanView) -> tuple[Array, Array]:
    """Return marks and places where another reading would help, with the weight that keeps labels off them."""
    if marks is None:
        return np.empty((0, 2)), np.empty(0)
    both = np.vstack([marks.used, marks.aside, plan.suggestions])
    late = len(both) - len(marks.used)
    return both, np.concatenate([marks.shares, np.full(late, _ASIDE_WEIGHT)])


def _near(floors: Sequence[DrawnFloor], marks: Array) -> list[Rows]:
    """Rows of the marks within the bounds of each floor."""
    from shapely import STRtree, box, points

    bounds = np.array([floor.bounds for floor in floors]).reshape(-1, 4)
    floor, mark = STRtree(list(np.asarray(points(marks)))).query(box(*bounds.T))
    order = np.lexsort((mark, floor))
    return np.split(mark[order], np.searchsorted(floor[order], np.arange(1, len(floors) + 1)))[:-1]


def _common_size(labels: Sequence[_Label], ways: Sequence[list[tuple[Line, ...]]]) -> float:
    """Return the largest size at which three labels in four fit their floor, with their name and one way or other."""
    for points in SIZES:
        small = 0
        for label, tried in zip(labels, ways, strict=True):
            named = (way for way in tried[:2] if len(way) > 1 or way == tried[0])
            small += not any(len(_places(label, _size(way, points))) for way in named)
            if small > 0.25 * len(labels):
                break
        else:
            return points
    return SIZES[-1]


def _size(lines: tuple[Line, ...], points: float) -> tuple[float, float]:
    high = points * MM_PER_POINT
    widths = [
        text_size(line.text, points, bold=line.is_bold)[0] + (0.0 if line.angle is None else _ARROW * high)
        for line in lines
    ]
    return (max(widths), len(lines) * _LINE * high)


def _places(label: _Label, size: tuple[float, float]) -> Array:
    """Return places in mm where a label of that size lies wholly on its floor, the best first; found once."""
    if size not in label.found:
        label.found[size] = _find_places(label, size)
    return label.found[size]


def _find_places(label: _Label, size: tuple[float, float]) -> Array:
    import shapely

    floor, scale = label.floor, label.view.scale
    x0, y0, x1, y1 = floor.bounds
    half = ((size[0] / 2 + GAP) / scale, (size[1] / 2 + GAP) / scale)
    if 2 * half[0] > x1 - x0 or 2 * half[1] > y1 - y0:
        return _NOWHERE
    xs, ys = np.linspace(x0 + half[0], x1 - half[0], 5), np.linspace(y0 + half[1], y1 - half[1], 7)
    places = np.vstack([floor.label_at, np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)])
    boxes = shapely.box(*(places - half).T, *(places + half).T)
    places = places[shapely.covers(floor.polygon, boxes)]
    apart = np.abs(places[:, None, :] - label.marks[None, :, :])
    covered = (apart < np.array(half) + 0.8 / scale).all(axis=-1) @ label.weights
    distance = np.hypot(*(places - floor.label_at).T)
    return np.asarray(places[np.lexsort((distance, covered))])


def _inside(label: _Label, lines: tuple[Line, ...], points: float) -> bool:
    size = _size(lines, points)
    for place in _places(label, size):
        if label.view.placer.claim(box_at(label.view.paper(*place), size)):
            _write(label.view, place, lines, points)
            return True
    return False


def _smaller(label: _Label, ways: list[tuple[Line, ...]], points: float) -> tuple[Line, ...]:
    """Label a floor that is too small for the common size; return what was written, nothing where there is no room."""
    name = ways[0][0]
    sizes = [size for size in SIZES if size <= points]
    tries = [(way[0] != name, len(way) == 1, -size, k) for k, way in enumerate(ways) for size in sizes]
    return next((ways[k] for _, _, size, k in sorted(tries) if _inside(label, ways[k], -size)), ())


def _number_alone(label: _Label, ways: list[tuple[Line, ...]]) -> tuple[Line, ...]:
    """Write the number of a floor on it: leaders to so many could not be followed."""
    number = ways[-1][:1]
    return number if _inside(label, number, SIZES[-1]) else ()


def _beside(label: _Label, ways: list[tuple[Line, ...]]) -> tuple[Line, ...]:
    """Label a floor beside it; return what was written, nothing where there is no room."""
    return next((lines for lines in ways if _outside(label, lines)), ())


def _outside(label: _Label, lines: tuple[Line, ...]) -> bool:
    """Write a label near a floor that is too small for it, with a leader; return whether there was room."""
    view, floor = label.view, label.floor
    if view.placer.misses > _MOST_MISSES:  # full: the search would be long and in vain
        return False
    box = view.placer.first_free(view.paper(*floor.label_at) + _around(), _size(lines, SIZES[-1]))
    if box is None:
        return False
    place = _on_part(view, box)
    label.leader.extend([np.array(floor.label_at), place])
    _write(view, place, lines, SIZES[-1])
    return True


def _draw_leaders(view: View, leaders: Sequence[Sequence[Array]]) -> None:
    """Draw lines from floors to labels beside them, all as one piece."""
    from matplotlib.collections import LineCollection

    lines = list(np.reshape(leaders, (-1, 2, 2)) * view.plan.display.per_mm)
    drawn = LineCollection(lines, colors=INK, linewidths=0.5, capstyle="projecting", zorder=8)
    view.axes.add_collection(drawn, autolim=False)


def _on_part(view: View, box: Box) -> Array:
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    return np.asarray(np.array(view.band.bounds[:2]) + (middle - view.band.box[:2]) / view.scale)


@cache
def _around() -> Array:
    """Places round a floor for its label, the nearest first, (n, 2), mm of paper from its middle."""
    rings = []
    for radius in np.arange(3.0, 33.0, 3.0):
        angle = np.linspace(0, 2 * np.pi, max(8, int(radius * 1.5)), endpoint=False)
        rings.append(radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    return np.vstack(rings)


def _write(view: View, place: Array, lines: tuple[Line, ...], points: float) -> None:
    """Write the lines one above the other, the way of a tilt as an arrow before its slope."""
    from floorfit.report.lettering import write

    unit = MM_PER_POINT * points / view.scale * view.plan.display.per_mm
    x, y = place * view.plan.display.per_mm
    top = y + _LINE * unit * (len(lines) - 1) / 2
    for k, line in enumerate(lines):
        level = top - k * _LINE * unit
        shift = 0.0 if line.angle is None else 0.5 * _ARROW * unit
        write(view.axes, x + shift, level, line.text, points, color=INK, bold=line.is_bold, ha="center", va="center",
              zorder=9, gid=line.kind)  # fmt: skip
        if line.angle is not None:
            wide = text_size(line.text, points)[0] / view.scale * view.plan.display.per_mm
            _arrow(view, (x - wide / 2, level), line.angle, points)


def _arrow(view: View, at: tuple[float, float], angle: float, points: float) -> None:
    """Draw an arrow round a place, as long as the text is high."""
    half = 0.6 * points * MM_PER_POINT / view.scale * view.plan.display.per_mm
    dx, dy = half * float(np.cos(angle)), half * float(np.sin(angle))
    style = {"arrowstyle": "-|>", "color": INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0, "mutation_scale": points}
    view.axes.annotate("", (at[0] + dx, at[1] + dy), (at[0] - dx, at[1] - dy), arrowprops=style, zorder=9,
                       annotation_clip=False)  # fmt: skip

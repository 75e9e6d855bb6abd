"""Pocket names and numbers on the sheets: as large as fits, clear of readings, a number where the name does not fit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from floorfit.record import ReadingsRecord
from floorfit.report.labels import Box, box_at, printable, text_size
from floorfit.report.layers import View
from floorfit.report.plan_view import Floor, Plan
from floorfit.report.sheet import INK

__all__ = ["label_floors", "map_lines", "uncertainty_lines", "web_lines"]

#: Sizes tried for a label, points; the smallest is still readable on paper.
SIZES = (10.0, 9.0, 8.0, 7.0, 6.0)

#: A reading set aside is worth more than one used when a label has to cover one of them.
_ASIDE_WEIGHT = 4.0

_LINE = 1.25
_MM_PER_POINT = 25.4 / 72

#: Ways to label a floor, best first; the first line is the name, the others are numbers.
Lines = Callable[[View, Floor], list[tuple[str, ...]]]


@dataclass(frozen=True)
class _Label:
    """One floor to be labelled in one band, and the marks that its label should not cover."""

    view: View
    floor: Floor
    marks: NDArray[np.float64]
    weights: NDArray[np.float64]
    found: dict[tuple[float, float], NDArray[np.float64]] = field(default_factory=dict)


def label_floors(views: Sequence[View], readings: ReadingsRecord | None, lines: Lines) -> list[Floor]:
    """Write a label in every floor.

    Parameters
    ----------
    views : sequence of View
        The bands; a floor is labelled in the one that holds its middle.
    readings : ReadingsRecord or None
        Marks that labels keep clear of where they can.
    lines : callable
        Gives the ways to label a floor, best first.

    Returns
    -------
    list of Floor
        Those that got their number (``#7``, the order of the part file) because the name did not fit.
    """
    marks, weights = _marks(readings, views[0].plan)
    labels = [
        _Label(view, floor, *_near(floor, marks, weights))
        for view in views
        for floor in view.plan.floors
        if view.holds(*floor.label_at)
    ]
    points = _common_size(labels, lines)
    late = [label for label in labels if not _inside(label, lines(label.view, label.floor)[0], points)]
    return [label.floor for label in late if _fallback(label, lines(label.view, label.floor), points)]


def map_lines(view: View, floor: Floor) -> list[tuple[str, ...]]:
    """Return id and offset; ``hold`` where held; ? and ! mark the verdict."""
    decision = floor.decision
    mark = {"conform": "", "undecided": " ?", "nonconform": " !"}[decision.verdict]
    number = view.plan.display.small_length(decision.offset_mm, sign=True) + mark
    second = "hold" if decision.action == "hold" else number
    return [(printable(floor.id), second), (f"#{floor.index + 1}", second)]


def web_lines(after: bool) -> Lines:
    """Return the way to label webs: id, least and greatest web of the floor."""

    def lines(view: View, floor: Floor) -> list[tuple[str, ...]]:
        decision, show = floor.decision, view.plan.display
        low = decision.web_after_min_mm if after else decision.web_before_min_mm
        high = decision.web_after_max_mm if after else decision.web_before_max_mm
        numbers = (show.web(low), show.web(high)) if low is not None else ("hold",) if after else ()
        name, number = printable(floor.id), f"#{floor.index + 1}"
        return [(name, *numbers), (name,), (number, *numbers), (number,)]

    return lines


def uncertainty_lines(view: View, floor: Floor) -> list[tuple[str, ...]]:
    """Return id and expanded uncertainty of the offset."""
    u = floor.decision.offset_u_mm
    numbers = () if u is None else (view.plan.display.small_pair(0.0, u)[1],)
    name, number = printable(floor.id), f"#{floor.index + 1}"
    return [(name, *numbers), (name,), (number, *numbers), (number,)]


def _marks(readings: ReadingsRecord | None, plan: Plan) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return readings and places where another would help, with the weight that keeps labels off them."""
    if readings is None:
        return np.empty((0, 2)), np.empty(0)
    spots = [floor.decision.suggestion_mm for floor in plan.floors if floor.decision.suggestion_mm is not None]
    places = np.array([readings.x_mm, readings.y_mm], dtype=float).reshape(2, -1).T
    weights = np.where(np.array(readings.used, dtype=bool), 1.0, _ASIDE_WEIGHT)
    both = np.vstack([places, np.array(spots, dtype=float).reshape(-1, 2)])
    return both, np.concatenate([weights, np.full(len(spots), _ASIDE_WEIGHT)])


def _near(
    floor: Floor, marks: NDArray[np.float64], weights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x0, y0, x1, y1 = floor.bounds
    inside = (marks[:, 0] >= x0) & (marks[:, 0] <= x1) & (marks[:, 1] >= y0) & (marks[:, 1] <= y1)
    return marks[inside], weights[inside]


def _common_size(labels: Sequence[_Label], lines: Lines) -> float:
    """Return the largest size at which three labels in four fit their floor."""
    for points in SIZES:
        fits = [len(_places(label, _size(lines(label.view, label.floor)[0], points))) > 0 for label in labels]
        if sum(fits) >= 0.75 * len(fits):
            return points
    return SIZES[-1]


def _size(lines: tuple[str, ...], points: float) -> tuple[float, float]:
    widths = [text_size(line, points, bold=k > 0 and len(lines) == 2)[0] for k, line in enumerate(lines)]
    return (max(widths), len(lines) * _LINE * points * _MM_PER_POINT)


def _places(label: _Label, size: tuple[float, float]) -> NDArray[np.float64]:
    """Return places in mm where a label of that size lies wholly on its floor, the best first; found once."""
    if size not in label.found:
        label.found[size] = _find_places(label, size)
    return label.found[size]


def _find_places(label: _Label, size: tuple[float, float]) -> NDArray[np.float64]:
    import shapely

    floor, scale = label.floor, label.view.scale
    x0, y0, x1, y1 = floor.bounds
    half = (np.array(size) / 2 + 0.4) / scale
    if 2 * half[0] > x1 - x0 or 2 * half[1] > y1 - y0:
        return np.empty((0, 2))
    xs, ys = np.linspace(x0 + half[0], x1 - half[0], 5), np.linspace(y0 + half[1], y1 - half[1], 7)
    places = np.vstack([floor.label_at, np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)])
    boxes = shapely.box(*(places - half).T, *(places + half).T)
    places = places[shapely.covers(floor.polygon, boxes)]
    covered = (np.abs(places[:, None, :] - label.marks[None, :, :]) < half + 0.8 / scale).all(axis=-1) @ label.weights
    distance = np.hypot(*(places - floor.label_at).T)
    return np.asarray(places[np.lexsort((distance, covered))])


def _inside(label: _Label, lines: tuple[str, ...], points: float) -> bool:
    size = _size(lines, points)
    for place in _places(label, size):
        box = box_at(label.view.paper(*place), size)
        if label.view.placer.is_free(box):
            label.view.placer.take(box)
            _write(label.view, place, lines, points)
            return True
    return False


def _fallback(label: _Label, ways: list[tuple[str, ...]], points: float) -> bool:
    """Label a floor that is too small for the common size; return whether it got a number for its name."""
    for lines in ways:
        for smaller in (size for size in SIZES if size <= points):
            if _inside(label, lines, smaller):
                return lines[0] != ways[0][0]
    _outside(label, ways[-1] if len(ways) > 2 else ways[1])
    return True


def _outside(label: _Label, lines: tuple[str, ...]) -> None:
    """Write a number near a floor that is too small for it, with a leader; leave it out where all is full."""
    view, floor = label.view, label.floor
    box = view.placer.first_free(_around(view.paper(*floor.label_at)), _size(lines, SIZES[-1]))
    if box is None:
        return
    place = _on_part(view, box)
    ends = np.array([floor.label_at, place]) * view.plan.display.per_mm
    view.axes.plot(ends[:, 0], ends[:, 1], color=INK, linewidth=0.5, zorder=8)
    _write(view, place, lines, SIZES[-1])


def _on_part(view: View, box: Box) -> NDArray[np.float64]:
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    return np.asarray(np.array(view.band.bounds[:2]) + (middle - view.band.box[:2]) / view.scale)


def _around(centre: tuple[float, float]) -> Iterator[tuple[float, float]]:
    for radius in np.arange(3.0, 60.0, 2.0):
        for angle in np.linspace(0, 2 * np.pi, max(8, int(radius * 2)), endpoint=False):
            yield (centre[0] + radius * float(np.cos(angle)), centre[1] + radius * float(np.sin(angle)))


def _write(view: View, place: NDArray[np.float64], lines: tuple[str, ...], points: float) -> None:
    """Write name and number one above the other, the number bold; three lines and more in one piece."""
    x, y = place * view.plan.display.per_mm
    step = _LINE * points * _MM_PER_POINT / view.scale * view.plan.display.per_mm
    if len(lines) == 2:
        _text(view, x, y + step / 2, lines[0], points, "normal", "pocket")
        _text(view, x, y - step / 2, lines[1], points, "bold", "number")
    else:
        _text(view, x, y, "\n".join(lines), points, "normal", "pocket")


def _text(view: View, x: float, y: float, text: str, points: float, weight: str, gid: str) -> None:
    view.axes.text(
        x, y, text, size=points, weight=weight, color=INK, ha="center", va="center", parse_math=False, zorder=9,
        gid=gid, linespacing=1.1,
    )  # fmt: skip

"""The causes of shared error that can be tried on the readings at hand, and the words for what was found."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.part.model import Part
from floorfit.readings.observations import Observations, Readings
from floorfit.readings.sequence import sequence
from floorfit.readings.systematic import Cause, Systematic
from floorfit.readings.warp import nominal_levels

__all__ = ["columns_to_try", "doubted_floors", "words_of"]

#: Fewest readings of a pocket, or of a row of pockets, that are tried for an error of their own.
FEWEST = 3
#: Webs that differ by less than this share say nothing of the velocity.
LEAST_SPREAD = 0.02
#: Slopes of floors and undersides that differ by less say nothing of the places; and half a way that gives slopes, mm.
LEAST_SLOPE, SHIFTED_MM = 0.002, 1.0
#: How the places are off: what to multiply the effect by, and words for the way.
PLACES_OFF = {
    "x": (1.0, "off along X, in mm,"), "y": (1.0, "off along Y, in mm,"),
    "scale": (1000.0, "scaled, in mm a metre,"), "turn": (1000.0, "turned, in mm a metre,"),
}  # fmt: skip


def columns_to_try(part: Part, seen: Observations, is_tried: Flags, step: float | None = None) -> list[Cause]:
    """Columns of what each cause adds to the warp; n rows, 0 where not tried.

    Parameters
    ----------
    part : Part
    seen : Observations
        n rows.
    is_tried : (n,) ndarray of bool
        Rows whose floor is known and that the fit looked at.
    step : float, optional
        Time or number of the first reading after a step, where the fit has one.
    """
    readings, floor = seen.readings, seen.floor
    out = [*_velocity(part, floor, is_tried), *_path(readings, is_tried, step), *_temperature(readings, is_tried)]
    out += _places(part, seen, is_tried)
    groups = [("pocket", pocket.id, np.array([index])) for index, pocket in enumerate(part.pockets)]
    groups += [("row", *one) for one in _rows_of_pockets(part)] + [("side", *one) for one in _sides(part)]
    for kind, name, members in groups:
        here = is_tried & np.isin(floor, members)
        if here.sum() >= FEWEST and (is_tried & ~here).sum() >= FEWEST:
            out.append(Cause(kind, name, here.astype(float)))
    return out


def doubted_floors(part: Part, found: Sequence[Systematic], margins: Sequence[float | None]) -> dict[int, str]:
    """Floors to hold for an error that all their readings share: one that would take the web out of its limits.

    What a pocket's readings share bends the surface to them, so that its own verdict cannot see it.

    Parameters
    ----------
    part : Part
    found : sequence of Systematic
    margins : sequence of float or None, mm
        Least distance of each floor's web to a limit; None where that is not known.

    Returns
    -------
    dict of int to str
        Why, for each floor to hold.
    """
    out = {}
    for one in found:
        for k, size in _errors_of(part, one).items():
            margin = margins[k]
            if margin is not None and size > margin:
                out[k] = (
                    f"its readings may be off by {size:.3f} mm together, which is more than the margin; "
                    "read a step block, and two places again"
                )
    return out


def _errors_of(part: Part, found: Systematic) -> dict[int, float]:
    """How far all readings of a floor are off by a shared error, mm; one of path or temperature differs on a floor."""
    if found.kind == "velocity":
        return {k: abs(found.effect) * (one.web + one.finish_stock) for k, one in enumerate(part.pockets)}
    if found.kind == "pocket":
        return {[one.id for one in part.pockets].index(found.name): abs(found.effect)}
    if found.kind in ("side", "place", "level"):  # which floors are off, or by how much, no reading tells
        return dict.fromkeys(range(len(part.pockets)), found.size)
    rows = dict(_rows_of_pockets(part)) if found.kind == "row" else {}
    return {int(k): abs(found.effect) for k in rows.get(found.name, ())}


def _velocity(part: Part, floor: Rows, is_tried: Flags) -> list[Cause]:
    """A velocity set too high by a share reads every web too thick by that share, and the warp too low."""
    rough = np.array([one.web + one.finish_stock for one in part.pockets] + [0.0])[floor]
    if is_tried.sum() < FEWEST or np.ptp(rough[is_tried]) < LEAST_SPREAD * rough[is_tried].mean():
        return []
    return [Cause("velocity", "thickness", np.where(is_tried, -rough, 0.0), "1")]


def _path(readings: Readings, is_tried: Flags, step: float | None) -> list[Cause]:
    when, by = sequence(readings)
    span = float(np.ptp(when[is_tried])) if is_tried.any() else 0.0
    if is_tried.sum() < 8 or span == 0.0:
        return []
    out = [Cause("drift", by, np.where(is_tried, (when - when[is_tried].min()) / span, 0.0))]
    if step is not None:
        first = f"{1 + int((when < step).sum())}"
        out.append(Cause("step", first, np.where(is_tried & (when >= step), 1.0, 0.0)))
    return out


def _temperature(readings: Readings, is_tried: Flags) -> list[Cause]:
    warm = readings.temperature
    if is_tried.sum() < 8 or not np.isfinite(warm[is_tried]).all() or np.ptp(warm[is_tried]) < 1.0:
        return []
    return [Cause("temperature", "temperature_c", np.where(is_tried, warm - warm[is_tried].mean(), 0.0), "mm/°C")]


def _places(part: Part, seen: Observations, is_tried: Flags) -> list[Cause]:
    """Places that are off along X or Y, turned or scaled: a reading is off by that times the slope of what it is of.

    Measured Z belong to the floor that was measured, and go with it.
    """

    def level(x: Array, y: Array) -> Array:
        rough, underside = nominal_levels(part, x, y, seen.floor)
        return np.where(seen.is_z_measured, 0.0, rough) - underside

    x, y, h = seen.readings.x, seen.readings.y, SHIFTED_MM
    slopes = [level(x + h, y) - level(x - h, y), level(x, y + h) - level(x, y - h)]
    along_x, along_y = (np.where(is_tried & np.isfinite(one), one / (2 * h), 0.0) for one in slopes)
    if is_tried.sum() < FEWEST or max(np.ptp(one[is_tried]) for one in (along_x, along_y)) < LEAST_SLOPE:
        return []
    x, y = x - np.mean(x[is_tried]), y - np.mean(y[is_tried])
    ways = {"x": along_x, "y": along_y, "scale": x * along_x + y * along_y, "turn": x * along_y - y * along_x}
    return [Cause("place", name, np.where(is_tried, one, 0.0), "mm/mm") for name, one in ways.items() if one.any()]


def _rows_of_pockets(part: Part) -> list[tuple[str, Rows]]:
    """Rows and columns of pockets, of several each."""
    return [
        (f"{words} of {part.pockets[int(members[0])].id}", members)
        for words, groups in _grid_of_pockets(part)
        for members in groups
        if len(members) > 1 and len(groups) > 1
    ]


def _sides(part: Part) -> list[tuple[str, Rows]]:
    """All that lies beyond a row or column of pockets, with it: two gauges, or a gauge set anew between them."""
    return [
        (f"{words}s from {part.pockets[int(groups[k][0])].id}", np.concatenate(groups[k:]))
        for words, groups in _grid_of_pockets(part)
        for k in range(1, len(groups))
        if 1 < k < len(groups) - 1 or len(groups) == 2  # one row of many is a cause already; of two either may be off
    ]


def _grid_of_pockets(part: Part) -> list[tuple[str, list[Rows]]]:
    """Rows and columns of pockets: floors whose middles lie within half a floor of each other across."""
    boxes = np.array([pocket.polygon.bounds for pocket in part.pockets])
    return [
        (words, _levels((boxes[:, low] + boxes[:, high]) / 2, boxes[:, high] - boxes[:, low]))
        for low, high, words in ((1, 3, "row"), (0, 2, "column"))
    ]


def _levels(middle: Array, size: Array) -> list[Rows]:
    order = np.argsort(middle, kind="stable")
    groups: list[list[int]] = []
    for k in order.tolist():
        if groups and middle[k] - middle[groups[-1][0]] <= size[groups[-1][0]] / 2:
            groups[-1].append(k)
        else:
            groups.append([k])
    return [np.sort(np.array(group, np.intp)) for group in groups]


def words_of(found: Systematic) -> str:
    """What was found, its size, and what would settle it; numbers with k = 2.

    Parameters
    ----------
    found : Systematic
    """
    about = f"up to {found.size:.3f} mm"
    if found.kind == "velocity":
        percent, u = 100 * found.effect, 200 * found.u
        way = "too high" if percent > 0 else "too low"
        return (
            f"residuals go with the webs' thickness: the sound velocity is set {abs(percent):.1f} ± {u:.1f} % {way} "
            f"({about}, and nearly as much on all floors). Read a step block of the part's metal, and give `correct "
            "--gauge`; where one was given, see whether the readings had been corrected before."
        )
    # A reading too thick says a warp too low: w = z − t − underside.
    way = "thinner" if found.effect > 0 else "thicker"
    if found.kind == "drift":
        return (
            f"the readings drift over the {found.name}: at the end the gauge reads {abs(found.effect):.3f} ± "
            f"{2 * found.u:.3f} mm {way} than at the start. Read a step block, and the first places again."
        )
    if found.kind == "step":
        return (
            f"from reading {found.name} on the gauge reads {abs(found.effect):.3f} ± {2 * found.u:.3f} mm {way} than "
            "before: its zero, probe or couplant changed, or the Z. Which part is right no reading tells, and offsets "
            "lie between. Read a step block, and the first places again."
        )
    if found.kind == "return":
        return (
            f"the {found.name} places that were read again read {abs(found.effect):.3f} ± {2 * found.u:.3f} mm {way} "
            "the last time: zero, probe or couplant changed in between, or the Z. Which are right no reading tells. "
            "Read a step block, and all places again."
        )
    if found.kind == "temperature":
        return (
            f"the readings go with the temperature: {1000 * found.effect:+.1f} ± {2000 * found.u:.1f} µm of warp a "
            f"degree ({about}). Read a step block at the part's temperature, and give `correct --gauge`."
        )
    return _words_of_places(found, about)


def _words_of_places(found: Systematic, about: str) -> str:
    """The same of all readings or places, a pocket, a row of pockets or a side of the plate."""
    if found.kind == "place":
        factor, way = PLACES_OFF[found.name]
        return (
            f"residuals go with the slopes of floors and undersides: places are {way} by "
            f"{factor * found.effect:+.1f} ± {2 * factor * found.u:.1f} ({about}). Check the zero of X and Y, the way "
            "from spindle to probe, and which model the places are of."
        )
    if found.kind == "level":
        return (
            f"the readings stand on two levels, {abs(found.effect):.3f} ± {2 * found.u:.3f} mm apart, {found.name} % "
            "of them on the thicker: the gauge takes another half wave of the echo, or two probes were used by turns. "
            "Which is right no reading tells. Look at the echo, read a step block, and all places again."
        )
    way = "thin" if found.effect > 0 else "thick"
    if found.kind == "side":
        line, _, first = found.name.partition(" from ")
        side = f"the rows from {first} on" if line == "rows" else f"the columns from {first} on"
        return (
            f"the readings of all of {side} are {abs(found.effect):.3f} ± {2 * found.u:.3f} mm too {way} beside the "
            "others, or their Z is off: two gauges, the gauge set anew, or a step of the machine's Z. Which side is "
            "right no reading tells. Read a step block with each gauge, then two places on either side again."
        )
    line, _, first = found.name.partition(" of ")
    rows = f"the row of {first}" if line == "row" else f"the column of {first}"
    what = f"pocket {found.name}" if found.kind == "pocket" else rows
    cause = "couplant, label, or the floor's Z" if found.kind == "pocket" else "the floors' Z, or the gauge set anew"
    return (
        f"the readings of {what} are {abs(found.effect):.3f} ± {2 * found.u:.3f} mm too {way} together, or their Z is "
        f"off: {cause}. Read a step block, then two places there again, with their Z."
    )

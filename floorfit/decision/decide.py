"""From a fitted warp to one decision for each floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.decision.candidates import Proposal, best_candidate
from floorfit.decision.decision import Decision, Reason, known, verdict_of
from floorfit.decision.floor_warp import FloorMean, FloorWarp, floor_means, floor_warp
from floorfit.decision.follow import follow_grid
from floorfit.decision.rules import Wording, hold_reason, metal_notes
from floorfit.decision.settings import DecisionSettings
from floorfit.one_thread import one_thread
from floorfit.part.model import LocalLimits, Part, Pocket
from floorfit.surface.posterior import Posterior
from floorfit.web import Webs, left_after, margin

__all__ = ["decide", "hold_all", "hold_each", "hold_some"]

#: Readings on a floor below which its verdict rests on its neighbours: a plane needs three.
FEW = 3


@one_thread()
def decide(
    part: Part,
    webs: Webs,
    posterior: Posterior,
    used: Sequence[int],
    given: Sequence[int],
    settings: DecisionSettings,
    *,
    common_u: float = 0.0,
    seed: int = 1,
    floors: Sequence[FloorMean] | None = None,
) -> tuple[Decision, ...]:
    """Decide every floor of a part.

    Parameters
    ----------
    part : Part
    webs : Webs
        The warp, and what roughing left.
    posterior : Posterior
        Joint samples of the warp.
    used, given : sequence of int
        Readings of each floor that the fit used, and that the file held, in the part's order.
    settings : DecisionSettings
    common_u : float, mm
        Standard uncertainty that all readings share (calibration, Z of the machine): it does not average out.
    seed : int
        Of what the joint samples of the surface do not hold: the common part.
    floors : sequence of FloorMean, optional
        From `floor_means` of the same part and webs, where they are known already.

    Returns
    -------
    tuple of Decision, in the part's order
    """
    floors = floor_means(part, webs) if floors is None else floors
    generator = np.random.default_rng([seed, 2])
    common = common_u * generator.standard_normal(posterior.count)
    samples = posterior.samples_over([one.points for one in floors])
    words, out = Wording(part.units), []
    for k, mean in enumerate(floors):
        floor = floor_warp(mean, samples(k), common)
        out.append(_measured(floor, used[k], webs, settings, words) if used[k] else _unmeasured(floor, given[k]))
    return tuple(out)


def hold_all(part: Part, given: Sequence[int], words: str) -> tuple[Decision, ...]:
    """Hold every floor because there is no surface.

    Parameters
    ----------
    part : Part
    given : sequence of int
        Readings that each floor has in the file.
    words : str
        Why there is no surface.
    """
    return tuple(
        _blank(pocket, Reason("too-few-readings" if count else "no-readings", words))
        for pocket, count in zip(part.pockets, given, strict=True)
    )


def hold_some(decisions: Sequence[Decision], words: Mapping[int, str]) -> tuple[Decision, ...]:
    """Hold floors that were decided on readings too few to believe.

    Parameters
    ----------
    decisions : sequence of Decision
        In the part's order; those that are held already keep their reason.
    words : mapping of int to str
        Why, for each floor to hold.
    """
    return tuple(
        replace(one, **_NOT_CUT, reason=Reason("too-few-readings", words[k]), follow=None, notes=())
        if k in words and one.action != "hold"
        else one
        for k, one in enumerate(decisions)
    )


#: What a decision says of a floor that is not cut: what is known of it stays, what a cut would leave does not.
_NOT_CUT: dict[str, Any] = {
    "action": "hold",
    "offset_mm": None,
    "slope_x": 0.0,
    "slope_y": 0.0,
    "web_after_min_mm": None,
    "web_after_max_mm": None,
    "web_after_interval_mm": (None, None),
    "verdict": "undecided",
}


def hold_each(part: Part, decisions: Sequence[Decision], reason: Reason) -> tuple[Decision, ...]:
    """Hold floors that were decided, for a reason that no reading answers.

    Parameters
    ----------
    part : Part
    decisions : sequence of Decision
        In the part's order; those that are held already keep their reason.
    reason : Reason
    """
    return tuple(
        one if one.action == "hold" else replace(_blank(pocket, reason), readings_used=one.readings_used)
        for pocket, one in zip(part.pockets, decisions, strict=True)
    )


def _measured(floor: FloorWarp, count: int, webs: Webs, settings: DecisionSettings, wording: Wording) -> Decision:
    chosen = best_candidate(floor, settings)
    held = reason = hold_reason(floor, chosen, settings, wording)
    verdict = verdict_of(chosen.chances.conform, settings.level)
    if reason:
        verdict = "nonconform" if reason.code in ("no-stock", "tolerance") else "undecided"
    elif verdict != "conform":
        reason = _undecided(floor, chosen, wording)
    if not reason and count < FEW:
        words = f"{count} on this floor, three are the least; the verdict rests on its neighbours"
        reason = Reason("too-few-readings", words)
    found = dict(
        _before(floor),
        offset_u_mm=2 * _offset_deviation(floor, chosen),
        conformance_probability=chosen.chances.conform,
        verdict=verdict,
        margin_mm=known(float(margin(floor.limits, _after(floor, chosen)).min())),
        thin_probability=chosen.chances.thin,
        thick_probability=chosen.chances.thick,
        readings_used=count,
        suggestion_mm=_suggestion(floor) if verdict != "conform" else None,
    )
    if not held:
        found |= _cut(floor, chosen, webs, metal_notes(floor, chosen, settings, wording))
    return _blank(floor.pocket, reason, **found)


def _unmeasured(floor: FloorWarp, total: int) -> Decision:
    words = "every reading of this floor was set aside" if total else "no reading lies on this floor"
    reason = Reason("no-readings", f"{words}; take at least three, spread over it")
    found = {"offset_u_mm": 2 * float(floor.deviation.max()), "suggestion_mm": _suggestion(floor)}
    return _blank(floor.pocket, reason, **_before(floor), **found)


def _blank(pocket: Pocket, reason: Reason, **found: Any) -> Decision:
    """A floor of which nothing is known but its limits and what was found: held without more."""
    lower, upper = pocket.tightest.lower, pocket.tightest.upper
    blank: dict[str, Any] = {
        **_NOT_CUT,
        "pocket": pocket.id,
        "centroid_mm": pocket.centroid,
        "offset_u_mm": None,
        "web_before_min_mm": None,
        "web_before_max_mm": None,
        "web_lower_limit_mm": None if lower is None else pocket.web + lower,
        "web_upper_limit_mm": None if upper is None else pocket.web + upper,
        "conformance_probability": None,
        "thin_probability": None,
        "thick_probability": None,
        "reason": reason,
        "margin_mm": None,
    }
    return Decision(**(blank | found))


def _before(floor: FloorWarp) -> dict[str, Any]:
    web = floor.pocket.web + left_after(0.0, floor.mean, floor.left)
    return {"web_before_min_mm": float(web.min()), "web_before_max_mm": float(web.max())}


def _cut(floor: FloorWarp, chosen: Proposal, webs: Webs, notes: list[str]) -> dict[str, Any]:
    height, slope_x, slope_y = chosen.plane
    follow = follow_grid(floor.pocket, webs, height) if chosen.action == "follow" else None
    web = floor.pocket.web + _after(floor, chosen)
    return {
        "action": chosen.action,
        "offset_mm": height if follow is None else height + float(webs.aimed(*floor.pocket.centroid)),
        "slope_x": slope_x,
        "slope_y": slope_y,
        "follow": follow,
        "web_after_min_mm": float(web.min()),
        "web_after_max_mm": float(web.max()),
        "web_after_interval_mm": _interval(floor, chosen),
        "inside": _inside(floor, chosen),
        "notes": tuple(notes),
    }


def _after(floor: FloorWarp, chosen: Proposal) -> Array:
    return left_after(chosen.offset, floor.mean, floor.left)


def _inside(floor: FloorWarp, chosen: Proposal) -> Flags:
    """Whether the whole floor lies within its limits in each joint sample."""
    if isinstance(floor.limits, LocalLimits):
        deviation = floor.reached(chosen.offset) - floor.samples
        inside = np.asarray((margin(floor.limits, deviation) >= 0).all(axis=1))
    else:
        low, high = margin(floor.limits, chosen.low), margin(floor.limits, chosen.high)
        inside = np.minimum(low, high) >= 0
    inside.flags.writeable = False
    return inside


def _interval(floor: FloorWarp, chosen: Proposal) -> tuple[float, float]:
    """95 % interval that holds the least and the greatest web over the floor."""
    low, high = float(np.quantile(chosen.low, 0.025)), float(np.quantile(chosen.high, 0.975))
    return floor.pocket.web + low, floor.pocket.web + high


def _offset_deviation(floor: FloorWarp, chosen: Proposal) -> float:
    """Standard uncertainty of the offset: how far from it the best offset of each joint sample lies, rms.

    A mean surface is smoother than the samples about it, so that its own offset need not be the mean of theirs.
    """
    shape = chosen.offset - chosen.plane[0]
    low, high = floor.ends(shape)
    own = floor.mean - shape
    miss = (low + high + own.max() + own.min()) / 2
    return float(np.sqrt(np.mean(miss**2)))


def _suggestion(floor: FloorWarp) -> tuple[float, float]:
    """The place of the floor, no nearer to its edge than need be, where the warp is known least."""
    import shapely

    reach = min(8.0, 0.45 * float(shapely.minimum_clearance(floor.pocket.polygon)))
    inner = floor.pocket.polygon.buffer(-reach)
    inside = shapely.intersects_xy(inner, floor.points[:, 0], floor.points[:, 1])
    deviation = np.where(inside, floor.deviation, -1.0) if inside.any() else floor.deviation
    place = floor.points[int(np.argmax(deviation))]
    if not inside.any():  # a narrow floor, with none of its points so far from both walls
        place = shapely.get_coordinates(shapely.shortest_line(inner, shapely.Point(place)))[0]
    return (float(place[0]), float(place[1]))


def _undecided(floor: FloorWarp, chosen: Proposal, wording: Wording) -> Reason:
    place = wording.place(np.array(_suggestion(floor)))
    share = 100 * chosen.chances.conform
    words = f"a limit lies within the uncertainty ({share:.0f} % likely to conform)"
    return Reason("tolerance", f"{words}; two more readings near {place} may decide it")

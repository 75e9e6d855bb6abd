"""The layers of the map: warp, uncertainty, webs and margin on one grid over the part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from floorfit.arrays import Array
from floorfit.decision.decision import Decision
from floorfit.decision.written_form import WRITTEN, JsonArray, JsonIndex
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.surface.posterior import Posterior
from floorfit.web import Webs, left_after, margin

__all__ = ["WebMap", "web_map"]

#: Nodes of the map, about: fine enough to draw, small enough for a page.
NODES = 16_000
#: Decimals of the layers, mm: a nanometre.
DECIMALS = 6


@dataclass(frozen=True)
class WebMap:
    """Layers on one rectangular grid, ``layer[j][i]`` at ``(x_mm[i], y_mm[j])``; NaN outside what it describes.

    Webs are local: on a floor or over an underside that slopes, each place has a nominal web of its own.

    Parameters
    ----------
    x_mm, y_mm : ndarray
        Node positions.
    warp_mm, warp_u_mm : (len(y_mm), len(x_mm)) ndarray
        Warp and its standard uncertainty, over the part's outline.
    pocket : ndarray of int
        Index of the floor in the part's order, -1 for none.
    web_before_mm, web_after_mm, margin_mm : ndarray
        Over the floors; after and margin not where the floor is held.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = WRITTEN

    x_mm: JsonArray
    y_mm: JsonArray
    warp_mm: JsonArray
    warp_u_mm: JsonArray
    pocket: JsonIndex
    web_before_mm: JsonArray
    web_after_mm: JsonArray
    margin_mm: JsonArray


def web_map(part: Part, webs: Webs, posterior: Posterior, decisions: Sequence[Decision]) -> WebMap:
    """Evaluate the layers on a grid.

    Parameters
    ----------
    part : Part
    webs : Webs
    posterior : Posterior
    decisions : sequence of Decision
        In the part's order.
    """
    x, y = _nodes(part)
    xx, yy = np.meshgrid(x, y)
    inside = part.holds(xx, yy)
    pocket = assign_floors(part, xx.ravel(), yy.ravel()).reshape(xx.shape)
    before, after, margins, aimed, over = (np.full(xx.shape, np.nan) for _ in range(5))
    on_floors = xx[pocket >= 0], yy[pocket >= 0]
    aimed[pocket >= 0], over[pocket >= 0] = webs.aimed(*on_floors), webs.left_over(*on_floors)
    for k, (one, decision) in enumerate(zip(part.pockets, decisions, strict=True)):
        here = pocket == k
        at = xx[here], yy[here]
        nominal, left = one.nominal_web(*at), one.finish_stock + over[here]
        before[here] = nominal + left_after(0.0, aimed[here], left)
        if decision.action != "hold":
            deviation = left_after(decision.correction.at(*at), aimed[here], left)
            after[here], margins[here] = nominal + deviation, margin(one.limits_on(*at), deviation)
    warp = np.where(inside, webs.warp.on_grid(x, y).T, np.nan)
    warp_u = np.where(inside, posterior.std_on_grid(x, y).T, np.nan)
    layers: list[Array] = [np.asarray(np.round(one, DECIMALS)) for one in (warp, warp_u, before, after, margins)]
    return WebMap(x, y, layers[0], layers[1], pocket, *layers[2:])


def _nodes(part: Part) -> tuple[Array, Array]:
    x0, y0, x1, y1 = part.bounds
    step = np.sqrt((x1 - x0) * (y1 - y0) / NODES)
    counts = (max(2, round((x1 - x0) / step) + 1), max(2, round((y1 - y0) / step) + 1))
    return np.linspace(x0, x1, counts[0]), np.linspace(y0, y1, counts[1])

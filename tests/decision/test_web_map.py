"""The grid of the map, and what stands at its nodes: closed forms of a plane warp."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_warp import KnownSurface, known_webs, rectangle

from floorfit.decision import DecisionSettings, decide
from floorfit.decision.web_map import NODES, WebMap, web_map
from floorfit.part import Part, Pocket, Tolerance

PLACES = [(0.0, 0.0), (-300.0, -90.0), (2000.0, 500.0)]
#: The warp, mm, at a place of the part's own frame.
RISE = 0.05 / 240


def _map(x0: float, y0: float) -> WebMap:
    """A plate of 240 × 120 mm anywhere, with a floor of 100 × 80 to cut and one to hold; the warp rises along X."""
    boxes = [rectangle(x0 + 10, y0 + 20, 100, 80), rectangle(x0 + 130, y0 + 20, 100, 80)]
    pockets = tuple(Pocket(f"P{k}", box, (), 2.0, 2.0, Tolerance(-0.1, 0.1), 0.0, 0.5) for k, box in enumerate(boxes))
    part = Part("invented", rectangle(x0, y0, 240, 120), pockets)
    webs = known_webs(lambda x, y: RISE * (x - x0))
    spread = KnownSurface(lambda x, y: 0.002 + 0 * x)
    posterior: Any = SimpleNamespace(
        count=9,
        samples_over=lambda places: lambda k: np.linspace(-0.002, 0.002, 9)[:, None] + np.zeros(len(places[k])),
        std_on_grid=spread.on_grid,
    )
    decisions = decide(part, webs, posterior, [7, 0], [7, 0], DecisionSettings(most="shift"))
    return web_map(part, webs, posterior, decisions)


@pytest.mark.parametrize("corner", PLACES)
def test_nodes_cover_the_part_evenly_wherever_it_lies(corner: tuple[float, float]) -> None:
    found = _map(*corner)
    assert (found.x_mm[0], found.y_mm[0]) == corner
    assert (found.x_mm[-1] - corner[0], found.y_mm[-1] - corner[1]) == pytest.approx((240, 120))
    # Squares of area A/N: as many cells as nodes are wanted, and a row and a column of nodes more.
    steps = [float(np.diff(nodes).mean()) for nodes in (found.x_mm, found.y_mm)]
    assert steps == pytest.approx([np.sqrt(240 * 120 / NODES)] * 2, rel=0.01)


@pytest.mark.parametrize("corner", PLACES)
def test_layers_have_the_closed_form_of_a_plane_warp(corner: tuple[float, float]) -> None:
    found = _map(*corner)
    x, y = np.meshgrid(found.x_mm - corner[0], found.y_mm - corner[1])
    cut, held = ((x > a) & (x < a + 100) & (y > 20) & (y < 100) for a in (10, 130))
    assert found.warp_mm == pytest.approx(RISE * x, abs=1e-6)  # layers are kept to a nanometre
    assert found.warp_u_mm == pytest.approx(np.full(x.shape, 0.002))
    for floor in (cut, held):
        assert found.web_before_mm[floor] == pytest.approx(2.0 - RISE * x[floor], abs=1e-6)
    # The shift answers the middle of the warp's range on the floor, at its centre 60 mm from the left.
    after = 2.0 + RISE * (60 - x[cut])
    assert found.web_after_mm[cut] == pytest.approx(after, abs=1e-6)
    assert found.margin_mm[cut] == pytest.approx(0.1 - np.abs(after - 2.0), abs=1e-6)
    assert np.isnan(found.web_after_mm[held]).all() and np.isnan(found.margin_mm[held]).all()
    assert np.isnan(found.web_before_mm[found.pocket == -1]).all()

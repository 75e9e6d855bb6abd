"""A floor whose corners lie off its edges is asked about. Truth: construction; a segment's area is r² (π/4 − 1/2).

ISO 10303-42 wants an edge on both of its faces; where a gap was sewn, edges stand between them, and a kernel that makes
facets cuts each arc at its chord.
"""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import box, mesh_of, rounded_ring, shaped_pocket
from manifold3d import Manifold, Mesh64

from floorfit.cad import extract_pockets

RADIUS, STEPS = 6.0, 12


def sewn_pocket(drop):
    """The metal over a floor at 2.0 with its corners' arcs ``drop`` lower, up to 41."""
    ring = rounded_ring(20, 20, 100, 120, RADIUS, 0.0, steps=STEPS)
    count, ends = len(ring), np.arange(4) * (STEPS + 1)
    low = np.column_stack([ring, np.full(count, 2.0 - drop)])
    feet = np.sort(np.r_[ends, ends + STEPS])
    low[feet, 2] = 2.0
    fans = [(end, end + k + 1, end + k) for end in ends for k in range(1, STEPS)]
    bottom = np.array([(feet[0], feet[k + 1], feet[k]) for k in range(1, 7)] + fans)
    here = np.arange(count)
    after = np.roll(here, -1)
    sides = [np.column_stack([here, after, after + count]), np.column_stack([here, after + count, here + count])]
    lid = np.array([(count, count + k, count + k + 1) for k in range(1, count - 1)])
    top = np.column_stack([ring, np.full(count, 41.0)])
    faces = np.concatenate([bottom, lid, *sides]).astype(np.uint64)
    return Manifold(Mesh64(np.concatenate([low, top]), faces))


@pytest.mark.parametrize("drop", [0.0025, 0.025, 0.1, -0.0025, -0.025, -0.05])
def test_corners_that_hang_off_the_edges_of_a_floor_are_asked_about(drop):
    extraction = extract_pockets(mesh_of(box(0, 0, 0, 120, 140, 40) - sewn_pocket(drop)), units="mm")
    torn = [face for face in extraction.rejected if face.code == "torn"]
    assert [face.area for face in torn] == [pytest.approx(RADIUS**2 * (np.pi / 4 - 0.5), rel=0.02)] * 4
    assert extraction.open_questions == 4


def test_a_sound_floor_is_not_asked_about():
    extraction = extract_pockets(mesh_of(box(0, 0, 0, 120, 140, 40) - sewn_pocket(0.0)), units="mm")
    assert extraction.open_questions == 0 and extraction.floors[0].web == pytest.approx(2.0)


@pytest.mark.parametrize("ramp", [2.0, 10.0])
def test_a_ramp_down_to_another_floor_is_not_asked_about(ramp):
    """A joggle of 0.5 mm between two floors."""
    height = lambda x, y: 2.5 - 0.5 * np.clip((x - 60.0) / ramp, 0.0, 1.0)  # noqa: E731
    edges = np.array([20.0, 60.0, 60.0 + ramp, 100.0])
    tool = shaped_pocket(0, 20, 3, 120, lambda x, y: height(edges[np.rint(x).astype(int)], y), 3, 1, 41)
    tool = tool.warp_batch(lambda p: np.column_stack([np.interp(p[:, 0], np.arange(4), edges), p[:, 1:]]))
    extraction = extract_pockets(mesh_of(box(0, 0, 0, 120, 140, 40) - tool), units="mm")
    assert [face.code for face in extraction.rejected if face.code == "torn"] == []

"""Arcs in rings of chords, against the circle they were made from."""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import rounded_ring

from floorfit.cad.boundary import arcs_of


@pytest.mark.parametrize("steps", [2, 3, 9, 40, 200])
@pytest.mark.parametrize("radius", [1.0, 8.0, 30.0])
def test_corners_of_a_rounded_rectangle(steps, radius):
    arcs = arcs_of(rounded_ring(0, 0, 160, 120, radius, 0.0, steps=steps))
    assert [arc.radius for arc in arcs] == pytest.approx([radius] * 4)
    assert [arc.sweep for arc in arcs] == pytest.approx([np.pi / 2] * 4)
    # Sagitta of a chord: r (1 − cos(half its angle)).
    assert arcs[0].sagitta == pytest.approx(radius * (1 - np.cos(np.pi / 4 / steps)))


def test_direction_does_not_matter():
    ring = rounded_ring(0, 0, 160, 120, 8, 0.0, steps=9)
    assert [arc.sweep for arc in arcs_of(ring[::-1])] == pytest.approx([np.pi / 2] * 4)


def test_full_circle_and_sharp_corners():
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    (arc,) = arcs_of(20 * np.column_stack([np.cos(angle), np.sin(angle)]))
    assert arc.radius == pytest.approx(20)
    assert arcs_of(np.array([(0, 0), (100, 0), (100, 100), (0, 100)], float)) == []
    assert arcs_of(np.array([(0, 0), (100, 0), (0, 100)], float)) == []


def test_an_outer_corner_turns_right():
    angle = np.linspace(0, np.pi / 2, 10)
    # An L whose inner corner at (40, 40) is rounded with 10 mm: the outline turns right there.
    bend = np.column_stack([50 - 10 * np.sin(angle), 50 - 10 * np.cos(angle)])
    ring = np.vstack([[(0, 0), (100, 0), (100, 40)], bend, [(40, 100), (0, 100)]])
    (arc,) = arcs_of(ring)
    assert arc.radius == pytest.approx(10)
    assert arc.sweep == pytest.approx(-np.pi / 2)

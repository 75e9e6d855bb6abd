"""A floor on a sphere as STEP: the tessellation has a pole with slivers in the floor's middle. Truth is the formula."""

from __future__ import annotations

import numpy as np
import pytest
from step_solids import StepSolid, arc, back, box_ring

from floorfit.cad import extract_pockets

pytest.importorskip("cascadio")

LOW, HIGH, MIDDLE, LEAST = 20.0, 180.0, 100.0, 3.0


def height(x, y, radius):
    return LEAST + radius - np.sqrt(radius**2 - (x - MIDDLE) ** 2 - (y - MIDDLE) ** 2)


def plate(path, radius):
    w, top = StepSolid(), LEAST + radius
    z = float(height(LOW, LOW, radius))
    a, b, c, d = (LOW, LOW, z), (HIGH, LOW, z), (HIGH, HIGH, z), (LOW, HIGH, z)
    middles = [(MIDDLE, LOW, top), (HIGH, MIDDLE, top), (MIDDLE, HIGH, top), (LOW, MIDDLE, top)]
    floor = [arc(p, q, middle) for p, q, middle in zip((a, b, c, d), (b, c, d, a), middles, strict=True)]
    at = w.placement((MIDDLE, MIDDLE, top), (0, 0, 1), (1, 0, 0))
    w.face([floor], f"SPHERICAL_SURFACE('',{at},{radius:.1f})", inside=True)
    mouth = box_ring(LOW, LOW, HIGH, HIGH, 40.0)
    w.sides(floor, mouth, hole=True)
    low, high = (box_ring(0, 0, 200, 200, z) for z in (0.0, 40.0))
    w.plane([high, back(mouth)], (0, 0, 1))
    w.plane([back(low)], (0, 0, -1))
    w.sides(low, high, hole=False)
    path.write_text(w.text(), encoding="ascii")
    return path


@pytest.mark.parametrize(("radius", "chord"), [(800.0, 0.03), (2000.0, 0.1), (2000.0, 0.02)])
def test_floor_on_a_sphere_is_whole(radius, chord, tmp_path):
    extraction = extract_pockets(plate(tmp_path / "plate.step", radius), chord_tolerance=chord)
    (pocket,) = extraction.part.pockets
    assert pocket.islands == ()
    assert pocket.polygon.area == pytest.approx((HIGH - LOW) ** 2, abs=0.01)
    x, y = np.random.default_rng(2).uniform(LOW + 1, HIGH - 1, (2, 300))
    # The kernel's tessellation is up to twice the chord off a surface that bends two ways; it says so (`coarse-floor`).
    assert np.abs(pocket.floor_at(x, y) - height(x, y, radius)).max() <= 2.0 * chord + 2e-3
    assert extraction.open_questions == 0
    coarse = [finding.text for finding in extraction.findings if finding.code == "coarse-floor"]
    assert all("--chord-tolerance" in text for text in coarse)  # the facets are ours: the file need not be finer

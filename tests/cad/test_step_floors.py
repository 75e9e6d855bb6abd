"""One solid with ten floors as STEP: four tessellations, six orientations, far away. Truth is its formulas."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation
from step_solids import (
    StepSolid,
    arc,
    back,
    bernstein_poles,
    box_ring,
    filleted_foot,
    line,
    polygon,
    ring_of_poles,
    rounded_ring,
)

from floorfit.cad import extract_pockets

pytest.importorskip("cascadio")

TOP = 40.0
#: Heights of the floors that are no rounded plane, over the whole plate.
DOME = ((135, 15, 245, 95), lambda x, y: 6.0 - ((x - 190.0) ** 2 + (y - 55.0) ** 2) / 4000.0)
SLOPE = ((255, 15, 365, 95), lambda x, y: 5.0 + 0.01 * (x - 310.0) + 0.005 * (y - 55.0))
ARCH = ((375, 15, 485, 95), lambda x, y: 604.0 - np.sqrt(600.0**2 - (x - 430.0) ** 2))
TWIST = ((135, 105, 245, 185), lambda x, y: 6.0 + (x - 190.0) * (y - 145.0) / 2000.0)
WAVE = ((375, 105, 485, 185), lambda x, y: 6.0 + 2.0 * (((x - 430.0) / 55.0) ** 3 - (x - 430.0) / 55.0))
UNDER_ARCH = lambda x, y: 604.0 - np.sqrt(602.0**2 - (x - 430.0) ** 2)  # noqa: E731  (a formula like those above)


def rounded(x0, y0, x1, y1, radius):
    inner = shapely.box(x0 + radius, y0 + radius, x1 - radius, y1 - radius)
    return inner.buffer(radius, quad_segs=256)


def level(z):
    return lambda x, y: np.full(np.shape(x), z)


PAD = (30, 130, 60, 160)
#: By id, in reading order: outline, height, underside.
TRUTH = {
    "P01": (rounded(18, 18, 122, 92, 5), level(2.0), level(0.0)),
    "P02": (shapely.box(*DOME[0]), DOME[1], level(0.0)),
    "P03": (shapely.box(*SLOPE[0]), SLOPE[1], level(0.0)),
    "P04": (shapely.box(*ARCH[0]), ARCH[1], UNDER_ARCH),
    "P05": (shapely.box(*PAD), level(4.5), level(0.0)),
    "P06": (rounded(15, 105, 125, 185, 8) - shapely.box(*PAD), level(2.5), level(0.0)),
    "P07": (shapely.box(*TWIST[0]), TWIST[1], level(0.0)),
    "P08": (shapely.box(255, 105, 308.5, 185) | shapely.box(308, 140, 310, 150), level(3.0), level(0.0)),
    "P09": (shapely.box(311.5, 105, 365, 185) | shapely.box(310, 140, 312, 150), level(3.0), level(0.0)),
    "P10": (shapely.box(*WAVE[0]), WAVE[1], level(0.0)),
}


def arched_ring(x0, y0, x1, y1, height):
    z, middle = float(height(x0, y0)), (x0 + x1) / 2
    a, b, c, d = (x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)
    return [arc(a, b, (middle, y0, 604.0)), line(b, c), arc(c, d, (middle, y1, 604.0)), line(d, a)]


def bays(w):
    """Writes the floors and walls of all bays; returns the rings that they leave in the top and in the bottom."""
    up, mouths = (0, 0, 1), []

    def bay(floor, mouth):
        w.sides(floor, mouth, hole=True)
        mouths.append(back(mouth))

    foot, ring = rounded_ring(18, 18, 122, 92, 5, 2.0), rounded_ring(15, 15, 125, 95, 8, 5.0)
    w.plane([foot], up)
    filleted_foot(w, ring, foot, 3.0)
    bay(ring, rounded_ring(15, 15, 125, 95, 8, TOP))
    for (box, height), degree in ((DOME, 2), (TWIST, 1), (WAVE, 3)):
        poles = bernstein_poles(height, *box, degree)
        w.polynomial([ring_of_poles(poles)], poles)
        bay(ring_of_poles(poles), box_ring(*box, TOP))
    x0, y0, x1, y1 = SLOPE[0]
    slope = polygon([(x, y, SLOPE[1](x, y)) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))])
    w.plane([slope], (-0.01, -0.005, 1))
    bay(slope, box_ring(*SLOPE[0], TOP))
    arch, below = (arched_ring(*ARCH[0], height) for height in (ARCH[1], UNDER_ARCH))
    w.cylinder(arch, (430, 15, 604), (0, 1, 0), 600.0, inside=True)
    bay(arch, box_ring(*ARCH[0], TOP))
    w.cylinder(back(below), (430, 15, 604), (0, 1, 0), 602.0, inside=False)
    w.sides(box_ring(*ARCH[0], 0.0), below, hole=True)
    pad = box_ring(*PAD, 2.5)
    w.plane([rounded_ring(15, 105, 125, 185, 8, 2.5), back(pad)], up)
    w.sides(pad, box_ring(*PAD, 4.5), hole=False)
    w.plane([box_ring(*PAD, 4.5)], up)
    bay(rounded_ring(15, 105, 125, 185, 8, 2.5), rounded_ring(15, 105, 125, 185, 8, TOP))
    right = [(308.5, 105), (308.5, 140), (311.5, 140), (311.5, 105), (365, 105), (365, 185)]
    joined = [(255, 105), *right, (311.5, 185), (311.5, 150), (308.5, 150), (308.5, 185), (255, 185)]
    w.plane([polygon(joined, 3.0)], up)
    bay(polygon(joined, 3.0), polygon(joined, TOP))
    return mouths, [box_ring(*ARCH[0], 0.0)]


def plate(path, rotation=None, shift=(0.0, 0.0, 0.0)):
    w = StepSolid(rotation, shift)
    mouths, below = bays(w)
    low, high = (box_ring(0, 0, 500, 200, z) for z in (0.0, TOP))
    w.plane([high, *mouths], (0, 0, 1))
    w.plane([back(low), *below], (0, 0, -1))
    w.sides(low, high, hole=False)
    path.write_text(w.text(), encoding="ascii")
    return path


def check(extraction, chord, far=0.0):
    """Counts, ids, outlines, heights and webs; ``far`` is what single precision leaves of a coordinate, mm."""
    assert {pocket.id for pocket in extraction.part.pockets} == set(TRUTH)
    assert extraction.open_questions == 0
    rng = np.random.default_rng(2)
    for pocket in extraction.part.pockets:
        outline, height, under = TRUTH[pocket.id]
        assert pocket.polygon.hausdorff_distance(outline) <= chord + 1e-3 + far, pocket.id
        inner = outline.buffer(-1.0)
        x, y = rng.uniform(inner.bounds[:2], inner.bounds[2:], (300, 2)).T
        x, y = np.array([(a, b) for a, b in zip(x, y, strict=True) if shapely.contains_xy(inner, a, b)]).T
        own = 0.5 * chord if pocket.floor else 0.0  # facets of curved floors are finer than asked
        assert np.abs(pocket.floor_at(x, y) - height(x, y)).max() <= 2e-3 + own + far, pocket.id
        assert (pocket.web_along == "normal") == (under is UNDER_ARCH)
        web = height(x, y) - under(x, y)
        assert np.abs(pocket.nominal_web(x, y) - web).max() <= 2e-3 + own + far, pocket.id


@pytest.mark.parametrize("chord", [0.1, 0.03, 0.01, 0.002])
def test_tessellations(chord, tmp_path):
    check(extract_pockets(plate(tmp_path / "plate.step"), chord_tolerance=chord), chord)


TURNS = {
    "+x": Rotation.from_euler("y", 90, degrees=True),
    "-x": Rotation.from_euler("y", -90, degrees=True),
    "+y": Rotation.from_euler("x", -90, degrees=True),
    "-y": Rotation.from_euler("x", 90, degrees=True),
    "-z": Rotation.from_euler("x", 180, degrees=True),
    "oblique": Rotation.from_rotvec([0.3, 0.5, -0.8]),
}


@pytest.mark.parametrize("name", TURNS)
def test_orientations(name, tmp_path):
    rotation = TURNS[name].as_matrix()
    model = plate(tmp_path / "plate.step", rotation)
    check(extract_pockets(model, up=tuple(rotation[:, 2]), x_axis=tuple(rotation[:, 0]), chord_tolerance=0.05), 0.05)


def test_twenty_metres_from_the_origin(tmp_path):
    """Single precision steps by 0.0019 mm at 20 m: a coordinate is off by half of that, along each axis."""
    shift = (20_000.0, -20_000.0, 20_000.0)
    model = plate(tmp_path / "plate.step", shift=shift)
    check(extract_pockets(model, origin=shift, chord_tolerance=0.05), 0.05, far=1e-3)


def test_two_planes_of_a_step_file_that_meet_in_a_ridge_are_not_asked_about(tmp_path):
    """Slopes of 1 in 100 over 80 mm each way: as one curved face their chords would be 0.2 mm off, 0.01 was asked."""
    w, top, ridge = StepSolid(), 30.0, 5.0 + 0.8
    low, high, mouth = (
        box_ring(*ring) for ring in ((0, 0, 200, 100, 0), (0, 0, 200, 100, top), (20, 20, 180, 80, top))
    )
    west = polygon([(20, 20, 5), (100, 20, ridge), (100, 80, ridge), (20, 80, 5)])
    east = polygon([(100, 20, ridge), (180, 20, 5), (180, 80, 5), (100, 80, ridge)])
    w.plane([west], (-0.01, 0, 1))
    w.plane([east], (0.01, 0, 1))
    w.plane([polygon([(20, 20, 5), (20, 20, top), (180, 20, top), (180, 20, 5), (100, 20, ridge)])], (0, 1, 0))
    w.plane([polygon([(180, 80, 5), (180, 80, top), (20, 80, top), (20, 80, 5), (100, 80, ridge)])], (0, -1, 0))
    w.plane([polygon([(20, 80, 5), (20, 80, top), (20, 20, top), (20, 20, 5)])], (1, 0, 0))
    w.plane([polygon([(180, 20, 5), (180, 20, top), (180, 80, top), (180, 80, 5)])], (-1, 0, 0))
    w.plane([high, back(mouth)], (0, 0, 1))
    w.plane([back(low)], (0, 0, -1))
    w.sides(low, high, hole=False)
    (tmp_path / "ridge.step").write_text(w.text(), encoding="ascii")
    extraction = extract_pockets(tmp_path / "ridge.step")
    assert [pocket.slope for pocket in extraction.part.pockets] == [
        pytest.approx((0.01, 0.0), abs=1e-6),
        pytest.approx((-0.01, 0.0), abs=1e-6),
    ]
    assert extraction.open_questions == 0

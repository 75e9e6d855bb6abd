"""Bodies that touch or overlap under a floor; the solids are boxes, put together without being united."""

from __future__ import annotations

import pytest
import trimesh
from cad_plates import box, mesh_of

from floorfit.cad import extract_pockets

BAY = box(20, 20, 3, 180, 180, 41)


def codes(*solids, **choices):
    extraction = extract_pockets(trimesh.util.concatenate([mesh_of(solid) for solid in solids]), units="mm", **choices)
    found = {finding.code for finding in extraction.findings}
    assert ("bodies-touch" in found) == bool(extraction.open_questions)
    return found


TOUCHING = {
    "a smaller plate under it": (box(0, 0, 1, 200, 200, 40) - BAY, box(50, 50, -4, 150, 150, 1)),
    "a block that overlaps it": (box(0, 0, 0, 200, 200, 40) - BAY, box(50, 50, -4, 150, 150, 2)),
}


@pytest.mark.parametrize("name", TOUCHING)
def test_a_body_under_the_web_is_told(name):
    assert "bodies-touch" in codes(*TOUCHING[name], body="all")


def test_bodies_beside_each_other_are_no_question():
    """Touching side by side, and with air between them one over the other."""
    plate = box(0, 0, 0, 200, 200, 40) - BAY
    for other in (box(200, 0, 0, 260, 200, 40), box(0, 0, -30, 200, 200, -10)):
        assert "bodies-touch" not in codes(plate, other, body="all")


@pytest.mark.parametrize(("gap", "is_told"), [(0.05, False), (0.0005, True)])
def test_air_under_the_web_is_no_contact(gap, is_told):
    """Nothing that is sawn or laid together lies nearer than a micrometre (common practice, no source)."""
    plates = box(0, 0, 1, 200, 200, 40) - BAY, box(50, 50, -4, 150, 150, 1 - gap)
    assert ("bodies-touch" in codes(*plates, body="all")) is is_told

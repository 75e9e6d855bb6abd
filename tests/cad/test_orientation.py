"""Turning the model: rotations, and the size that is questioned."""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import box, mesh_of, sloped_pocket
from scipy.spatial.transform import Rotation

from floorfit.cad import extract_pockets
from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.orientation import check_size, check_webs, is_askew, rotation_to_part
from floorfit.errors import InputError


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -1, 0), (1, 2, 3), (1e-9, 0, -1), (-3, 1, -9)])
@pytest.mark.parametrize("side", ["top", "bottom"])
def test_up_becomes_z(up, side):
    rotation = rotation_to_part(ExtractSettings(up=up, side=side))
    direction = rotation @ np.array(up, float) / np.linalg.norm(up)
    assert direction == pytest.approx([0, 0, 1 if side == "top" else -1], abs=1e-9)
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(rotation) == pytest.approx(1.0)


def test_the_shortest_turn_is_taken():
    up = np.array([0.3, -0.5, 0.8])
    rotation = rotation_to_part(ExtractSettings(up=tuple(up)))
    angle = np.arccos(up[2] / np.linalg.norm(up))
    assert Rotation.from_matrix(rotation).magnitude() == pytest.approx(angle)


def test_axis_directions_are_exact():
    """No rounding comes into a plate whose pockets look along an axis."""
    for up in ((0, 0, 1), (0, 0, -1), (1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)):
        assert set(np.unique(np.abs(rotation_to_part(ExtractSettings(up=up))))) == {0.0, 1.0}


@pytest.mark.parametrize(("size", "refused"), [(19.9, True), (20.0, False), (20_000.0, False), (20_001.0, True)])
def test_sizes(size, refused):
    box = np.array([(0, 0, 0), (size, 5, 1)], float)
    if refused:
        with pytest.raises(InputError, match=r"the largest side is .* mm in the unit given \(mm\).*--units"):
            check_size(box, "a.stl", "mm", ExtractSettings())
    else:
        check_size(box, "a.stl", "mm", ExtractSettings())
    check_size(box, "a.stl", "mm", ExtractSettings(any_size=True))


@pytest.mark.parametrize("lean", [0.05, 1.0, 4.0])
def test_a_part_that_lies_askew_is_asked_about(lean):
    """Turned by hand about Y: the webs are those of the part only along the direction that is proposed."""
    solid = box(0, 0, 0, 400, 200, 40) - box(20, 20, 2, 180, 180, 41) - box(200, 20, 2, 380, 180, 41)
    extraction = extract_pockets(mesh_of(solid.rotate((0.0, lean, 0.0))), units="mm")
    (note,) = [finding for finding in extraction.findings if finding.code == "askew"]
    proposed = [float(word) for word in note.text.split("--up ")[-1].rstrip(".").split(",")]
    assert proposed == pytest.approx([np.sin(np.radians(lean)), 0.0, np.cos(np.radians(lean))], abs=1e-6)
    assert extraction.open_questions


def test_a_part_with_sloped_floors_does_not_lie_askew():
    slope = (0.02, 0.0)
    solid = box(0, 0, 0, 400, 200, 40)
    for x0 in (20, 200):
        solid -= sloped_pocket(x0, 20, x0 + 180, 180, 6.0, slope, 41)
        solid -= box(x0, 20, -1, x0 + 180, 180, 41) - sloped_pocket(x0, 20, x0 + 180, 180, 3.0, slope, 41)
    assert not {"askew"} & {finding.code for finding in extract_pockets(mesh_of(solid), units="mm").findings}


@pytest.mark.parametrize(
    ("webs", "refused"),
    [
        ([0.1, 0.19], True),
        ([0.1, 0.2], False),
        ([25.0, 40.0], False),
        ([25.1, 40.0], True),
        ([0.1, 40.0], False),
        ([], False),
    ],
)
def test_webs(webs, refused):
    """Questioned where all are thinner than 0.2 mm, or all thicker than 25: the limits that the message states."""
    if refused:
        with pytest.raises(InputError, match=r"0\.2 mm to 25 mm was expected.*--units"):
            check_webs(webs, "a.dxf", "mm", ExtractSettings())
    else:
        check_webs(webs, "a.dxf", "mm", ExtractSettings())
    check_webs(webs, "a.dxf", "mm", ExtractSettings(any_size=True))


@pytest.mark.parametrize(("level", "askew"), [(0.5, True), (2.0, False)])
def test_a_part_lies_askew_where_less_than_a_hundredth_of_it_is_level(level, askew):
    """Floors of 100 mm² that lean by 1 degree, their facets off by the rounding of single precision (5e-5 rad)."""
    lean = np.radians(1.0) + np.array([0.0, 5e-5, -5e-5])
    facets = np.column_stack([np.sin(lean), 0.0 * lean, np.cos(lean)])
    vectors = np.concatenate([facets * [[1.0], [50.0], [49.0]], [[0.0, 0.0, level], [30.0, 0.0, 0.0]]])
    assert is_askew(vectors, facets[:1]) is askew
    assert not is_askew(vectors, facets[:0])

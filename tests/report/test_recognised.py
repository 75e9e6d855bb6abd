"""The picture of what was recognised: read back from the figure, not from its pixels."""

from __future__ import annotations

import numpy as np
import pytest
from cad_plates import box, mesh_of, round_pocket, sloped_pocket

from floorfit.cad import extract_pockets
from floorfit.report.recognised import picture_figure


@pytest.fixture(scope="module")
def texts_and_patches():
    solid = box(0, 0, 0, 400, 160, 30) - (round_pocket(20, 20, 180, 140, 8, 2, 31, 0.01) - box(80, 60, 0, 100, 80, 9))
    solid -= sloped_pocket(200, 20, 380, 140, 15.0, (0.12, 0.0), 31)  # 6.8 degrees
    extraction = extract_pockets(mesh_of(solid), units="mm", name="name with $math_{1}$ in it")
    figure = picture_figure(extraction)
    figure.canvas.draw()
    return extraction, figure.axes[0]


def test_each_floor_has_its_id_and_web(texts_and_patches):
    extraction, axes = texts_and_patches
    texts = [text.get_text() for text in axes.texts]
    assert "P01\n2.000" in texts
    assert "too-steep" in texts
    assert axes.get_title(loc="left").startswith("name with $math_{1}$ in it\n1 floors")
    assert len(extraction.floors) == 1


def test_label_lies_on_the_floor_and_not_on_its_island(texts_and_patches):
    extraction, axes = texts_and_patches
    (label,) = [text for text in axes.texts if text.get_text().startswith("P01")]
    from shapely import Point

    assert extraction.part.pockets[0].polygon.contains(Point(label.get_position()))


def test_outline_and_axes_are_in_the_part_s_unit(texts_and_patches):
    _, axes = texts_and_patches
    x, y = axes.lines[0].get_data()
    assert (np.min(x), np.max(x), np.min(y), np.max(y)) == (0, 400, 0, 160)
    assert axes.get_xlabel() == "X (mm)"

"""Smeared rigidity of a ribbed part, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import small_part
from even_plate import even
from ribbed_part import HEIGHT, PITCH, RIB, STOCK, WEB, ribbed

from floorfit.part.model import Pocket
from floorfit.plate.rigidity import NU, part_rigidity


def test_ribs_share_the_bending_along_them_and_add_little_across() -> None:
    # By hand: along the ribs rigidities add, across them compliances do; a web has E t³/(12 (1 − ν²)), a rib and its
    # share of web the second moment of a T about its centroid (parallel-axis theorem, shapely's polygon as a check).
    share, t = RIB / PITCH, WEB + STOCK
    web = t**3 / (12 * (1 - NU**2))
    beam = shapely.union_all([shapely.box(0, 0, PITCH, t), shapely.box(0, 0, RIB, HEIGHT)])
    second = _second_moment(beam) / PITCH - (1 - share) * t**3 / 12
    found = part_rigidity(ribbed(), (4, 5), HEIGHT)
    along = second + (1 - share) * web
    across = 1 / (share / (HEIGHT**3 / 12) + (1 - share) / web)
    assert found.d11 == pytest.approx(np.full((4, 5), along), rel=0.01)  # 1.5 mm steps
    assert found.d22 == pytest.approx(np.full((4, 5), across), rel=0.01)
    assert found.d12 == pytest.approx(np.full((4, 5), NU * (1 - share) * web), rel=0.01)


def _second_moment(section: shapely.Polygon) -> float:
    """∫ (z − z̄)² dA, slice by slice."""
    low, high = section.bounds[1], section.bounds[3]
    z = (np.arange(3000) + 0.5) / 3000 * (high - low) + low
    width = np.array([section.intersection(shapely.LineString([(-1e3, h), (1e3, h)])).length for h in z])
    middle = (width * z).sum() / width.sum()
    return float((width * (z - middle) ** 2).sum() * (high - low) / 3000)


def test_a_rib_twists_as_a_narrow_bar() -> None:
    # Timoshenko & Goodier, Theory of Elasticity, §109: torsional rigidity G H b³/3 of a narrow rectangle; smeared over
    # the pitch it is 4 d66, beside that of the web.
    web = (WEB + STOCK) ** 3 / 12 / (2 * (1 + NU)) * (1 - RIB / PITCH)
    bar = HEIGHT * RIB**3 / 3 / (2 * (1 + NU)) / PITCH / 4
    found = part_rigidity(ribbed(), (1, 1), HEIGHT).d66[0, 0]
    # The half ribs along the edges are bars of half the width, (1/2)³ each: 4 whole ones and 2 of an eighth.
    assert found == pytest.approx(web + bar * (4 + 2 / 8) / 5, rel=0.02)


def test_a_part_without_ribs_is_an_even_plate() -> None:
    part = ribbed(1)
    whole = replace(part.pockets[0], boundary=part.outline)
    found = part_rigidity(replace(part, pockets=(whole,)), (3, 2), HEIGHT)
    alike = even(WEB + STOCK, (3, 2))
    for name in ("d11", "d22", "d12", "d66"):
        assert getattr(found, name) == pytest.approx(getattr(alike, name), rel=1e-9)


def test_turning_the_part_turns_the_rigidity() -> None:
    part = small_part.part()
    turned = replace(part, outline=_turned(part.outline), pockets=tuple(_turned_pocket(p) for p in part.pockets))
    one, two = part_rigidity(part, (7, 5), HEIGHT), part_rigidity(turned, (5, 7), HEIGHT)
    assert np.allclose(one.d11, two.d22.T) and np.allclose(one.d22, two.d11.T) and np.allclose(one.d66, two.d66.T)


def _turned(ring: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((y, x) for x, y in ring)


def _turned_pocket(pocket: Pocket) -> Pocket:
    return replace(pocket, boundary=_turned(pocket.boundary))

"""Floor Z: measured, estimated with the others' spread, stated with its uncertainty, or the floors are held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_part import part, plane, readings

import floorfit
from floorfit.errors import InputError
from floorfit.readings.floor_z import settle_floor_z


def _without_z(rows: slice = slice(None)):
    table = readings(plane)
    z = table.z.copy()
    z[rows] = np.nan
    return replace(table, z=z)


def test_nothing_known_holds_every_floor_with_the_remedy():
    result = floorfit.correct(part(), _without_z())
    assert {one.action for one in result.decisions} == {"hold"}
    assert all(one.reason.code == "floor-z-unknown" for one in result.decisions)
    assert "--moved-u" in result.decisions[0].reason.words and not result.conforms


def test_a_stated_movement_goes_into_every_offset_and_verdict():
    """JCGM 100:2008, 5.1.2: independent parts add in squares; U is at least 2 × the stated 0.2 mm."""
    stated = floorfit.Settings(floor_z="as-programmed", moved_u=0.2)
    result = floorfit.correct(part(), _without_z(), stated)
    assert all(one.offset_u_mm >= 2 * 0.2 * 0.9 for one in result.decisions)  # 400 samples: 0.2 ± 3.5 %, three of them
    assert all(one.verdict != "conform" for one in result.decisions)
    assert result.decisions[0].budget_mm["movement since roughing"] == 0.2


@pytest.mark.parametrize(("floor_z", "moved"), [("as-programmed", None), ("measured", 0.1), ("guessed", None)])
def test_half_a_statement_is_refused(floor_z: str, moved: float | None):
    with pytest.raises(InputError, match=r"--floor-z|--moved-u"):
        settle_floor_z(part(), readings(), floor_z, moved, 0.01)


def test_some_without_are_estimated_with_the_spread_of_the_others():
    """A floor Z that moved on a plane is found on the plane (a polynomial holds it); its u grows, the others' stays."""
    table = readings(plane)
    moved = 2.5 + plane(table.x, table.y)
    z = np.where(np.arange(len(table)) % 3 == 0, np.nan, moved)
    known = settle_floor_z(part(), replace(table, z=z), "measured", None, 0.01)
    np.testing.assert_allclose(known.readings.z, moved, atol=1e-6)
    assert (known.readings.u[::3] > 0.01).all() and [one.code for one in known.findings] == ["z-estimated"]


def small(x, y):
    """A warp of some hundredths."""
    return 0.4 * (plane(x, y) - 0.1)


def _codes(table) -> list[str]:
    return [one.code for one in settle_floor_z(part(), table, "measured", None, 0.01).findings]


def test_z_of_the_finished_floors_beside_webs_with_their_stock_is_called_out():
    """The drawing's Z 2.0 in place of the roughed floor's 2.5 makes every underside 0.5 too low: web = z - t - w."""
    table = readings(small)
    assert _codes(replace(table, z=table.z - 0.5)) == ["z-finished"]
    assert not floorfit.correct(part(), replace(table, z=table.z - 0.5)).conforms
    # Roughed down to the finished floor in truth: the webs have no stock either, and nothing contradicts.
    assert _codes(replace(table, z=table.z - 0.5, thickness=table.thickness - 0.5)) == []
    assert _codes(table) == []


@pytest.mark.parametrize("off", [-0.3, 0.3])
def test_an_underside_that_stands_off_alike_everywhere_is_asked_about(off: float):
    table = readings(small)
    assert _codes(replace(table, z=table.z + off)) == ["common-height"]
    # A plate that is bent by as much is none of that.
    assert _codes(readings(lambda x, y: off + 10 * small(x, y))) == []

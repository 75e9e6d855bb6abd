"""Floor Z: measured, estimated with the others' spread, stated with its uncertainty, or the floors are held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_part import document, part, plane, readings

import floorfit
from floorfit.errors import Finding, InputError
from floorfit.part import part_from_document
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
    thickness = table.thickness + plane(table.x, table.y)  # the underside stays where it was
    known = settle_floor_z(part(), replace(table, z=z, thickness=thickness), "measured", None, 0.01)
    np.testing.assert_allclose(known.readings.z, moved, atol=1e-6)
    assert (known.readings.u[::3] > 0.01).all() and [one.code for one in known.findings] == ["z-estimated"]


def small(x, y):
    """A warp of some hundredths."""
    return 0.4 * (plane(x, y) - 0.1)


def _found(table) -> list[Finding]:
    return list(settle_floor_z(part(), table, "measured", None, 0.01).findings)


def _codes(table) -> list[str]:
    """What is found, but for Z that are the programme's: invented ones do not scatter. Those have their own test."""
    return [one.code for one in _found(table) if one.code != "z-programmed"]


def test_z_of_the_finished_floors_beside_webs_with_their_stock_is_called_out():
    """The drawing's Z 2.0 in place of the roughed floor's 2.5 makes every underside 0.5 too low: web = z - t - w."""
    table = readings(small)
    assert _codes(replace(table, z=table.z - 0.5)) == ["z-finished"]
    assert not floorfit.correct(part(), replace(table, z=table.z - 0.5)).conforms
    # One that is missing takes nothing from what the others show.
    z = np.where(np.arange(len(table)) == 4, np.nan, table.z - 0.5)
    assert _codes(replace(table, z=z)) == ["z-estimated", "z-finished"]
    # Roughed down to the finished floor in truth: the webs have no stock either, and nothing contradicts.
    assert _codes(replace(table, z=table.z - 0.5, thickness=table.thickness - 0.5)) == []
    assert _codes(table) == []


@pytest.mark.parametrize("off", [-0.3, 0.3])
def test_an_underside_that_stands_off_alike_everywhere_is_asked_about(off: float):
    table = readings(small)
    assert _codes(replace(table, z=table.z + off)) == ["common-height"]
    # A plate that is bent by as much is none of that.
    assert _codes(readings(lambda x, y: off + 10 * small(x, y))) == []


def bent(x, y):
    """0.18 mm from corner to corner of the floors."""
    return 2 * plane(x, y)


def test_z_that_are_the_programmes_under_a_bent_plate_may_not_be_measured():
    """A floor that moved by m since roughing is at nominal + stock + m (contract); a probe repeats to some µm (common
    practice, no source). Thirty-six Z to 0.001 mm that are all the programme's were written down, not probed."""
    table = readings(bent)
    (found,) = _found(table)
    assert found.code == "z-programmed"
    assert "36 Z" in found.text and "--moved-u" in found.text
    result = floorfit.correct(part(), table)
    assert "z-programmed" in [one.code for one in result.findings] and not result.conforms
    some = np.where(np.arange(len(table)) % 9 == 4, 0.001, 0.0)
    for honest in (replace(table, z=table.z + some), readings(lambda x, y: 0.2 * bent(x, y)), _without_z()):
        assert not _found(honest)
    for count, is_told in ((11, False), (12, True)):
        few = _found(readings(lambda x, y: 5 * bent(x, y), slice(count)))
        assert ("z-programmed" in [one.code for one in few]) is is_told


def test_an_estimated_z_adds_its_spread_in_squares():
    """JCGM 100:2008, 5.1.2. Of Z on a plane the spread is the least that is ever taken: 0.02 mm."""
    table = readings(plane)
    z = np.where(np.arange(len(table)) % 3 == 0, np.nan, 2.5 + plane(table.x, table.y))
    known = settle_floor_z(part(), replace(table, z=z), "measured", None, 0.03)
    assert known.readings.u[::3] == pytest.approx(np.hypot(0.03, 0.02), rel=1e-3)


@pytest.mark.parametrize(("count", "is_known"), [(5, False), (6, True)])
def test_six_measured_z_are_the_fewest_that_others_are_estimated_from(count: int, is_known: bool):
    assert settle_floor_z(part(), _without_z(slice(count, None)), "measured", None, 0.01).is_known is is_known


def test_what_is_no_z_of_the_finished_floors_is_not_called_so():
    """Web = z - t - underside (contract); the stock is 0.5 mm."""
    table = readings(small)
    sign = np.where(np.arange(len(table)) % 2, 1.0, -1.0)
    # 0.1 mm above the finished floors; and webs that are 0.5 mm too thick under Z that are those of the roughed floors.
    assert _codes(replace(table, z=table.z - 0.4)) == ["common-height"]
    assert _codes(replace(table, thickness=table.thickness + 0.5)) == ["common-height"]
    # In the middle at the finished floors, and nowhere there.
    assert _codes(replace(table, z=table.z - 0.5 + 0.3 * sign)) == []
    # A stock of 0.1 mm is no more than readings scatter by.
    thin = readings(small, z=np.full(len(table), 2.0))
    thin = replace(thin, thickness=2.1 - small(thin.x, thin.y))
    found = settle_floor_z(part(finish_stock=0.1), thin, "measured", None, 0.01)
    assert found.findings == ()


@pytest.mark.parametrize(("off", "scatter", "told"), [(0.15, 0.01, False), (0.25, 0.09, True), (0.25, 0.11, False),
                                                     (0.5, 0.24, True), (0.5, 0.26, False)])  # fmt: skip
def test_a_common_height_is_told_where_no_end_of_the_warp_comes_near(off: float, scatter: float, told: bool):
    """Half of the readings at off + scatter, half at off - scatter: told from off - scatter > 0.15 and > scatter on."""
    table = readings(lambda x, y: 0.0 * x)
    sign = np.where(np.arange(len(table)) % 2, 1.0, -1.0)
    table = replace(table, z=table.z + off + scatter * sign)
    assert _codes(table) == (["common-height"] if told else [])
    # Readings that gave a time of flight alone say nothing here, and take nothing away.
    some = np.arange(len(table)) % 6 < 2
    timed = replace(table, thickness=np.where(some, np.nan, table.thickness), tof=np.where(some, 0.8, np.nan))
    assert _codes(timed) == (["common-height"] if told else [])
    assert _codes(readings(lambda x, y: 0.0 * x + off, slice(5))) == []


def test_a_height_counts_from_the_underside():
    """The same plate drawn 1 mm higher: floors at 3, underside at 1."""
    drawn = document()
    drawn["underside_z"] = 1.0
    for pocket in drawn["pockets"]:
        pocket["floor_z"] = 3.0
    table = readings(small)
    found = settle_floor_z(part_from_document(drawn), replace(table, z=table.z + 1.0), "measured", None, 0.01)
    assert found.findings == ()


def test_a_bow_that_touches_its_table_is_no_common_height_and_one_a_millimetre_above_it_is():
    """A bowed plate touches its table where it is lowest (common practice, no source): bent by 0.5, not 1 mm up."""

    def bow(x, y):
        return 0.5 * np.sin(np.pi * x / x.max())

    assert _codes(readings(bow)) == [] and _codes(readings(lambda x, y: -bow(x, y))) == []
    assert _codes(readings(lambda x, y: 1.0 + bow(x, y))) == ["common-height"]


def _stated(table, text: str):
    found = _found(replace(table, identity={"stands_off": text}))
    return [(one.code, one.severity) for one in found if one.code != "z-programmed"]  # as in `_codes`


AGREES, DISAGREES = [("stands-off", "note")], [("common-height", "warning")]


@pytest.mark.parametrize("off", [-0.5, 0.5])
def test_a_height_that_is_stated_and_read_is_no_finding(off: float):
    """Web = z - t - underside (contract): on shims of 0.5 mm the underside is read at 0.5 plus what the plate is bent.

    25.4 mm an inch (NIST SP 811, B.8); two standard uncertainties of a reading: k = 2 (JCGM 100:2008, 6.2).
    """
    flat = readings(lambda x, y: off + 0.0 * x)
    assert _codes(flat) == ["common-height"]
    assert _stated(flat, f"{off:+.3f} mm") == _stated(flat, f"{off / 25.4:+.6f} in") == AGREES
    assert _stated(flat, f"{off + 0.019:+.3f} mm") == _stated(flat, f"{off - 0.019:+.3f} mm") == AGREES
    # Off by more than the readings are uncertain, of the other sign, of no size, or in the other unit.
    for wrong in (off + 0.021, off - 0.021, -off, 0.0, off / 25.4, off * 25.4):
        assert _stated(flat, f"{wrong:+.4f} mm") == DISAGREES
    rough = settle_floor_z(
        part(), replace(flat, identity={"stands_off": f"{off + 0.05:+.2f} mm"}), "measured", None, 0.03
    )
    assert [one.code for one in rough.findings] == ["stands-off"]


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_bent_plate_touches_its_shims_somewhere(way: float):
    """It rests where it is lowest, clamped down where it is highest (common practice, no source): 0.5 ± its bow of 0.4.

    The readings are those of floors: they end at 0.03 of the plate's length, where the sine has 0.04 of its bow. Of an
    even warp from a to a + 1, less a twentieth at both ends, heights are agreed with from a - 0.175 to a + 1.175.
    """

    def bow(x, y):
        return 0.4 * np.sin(np.pi * x / 400.0)

    bent = readings(lambda x, y: 1.0 + way * bow(x, y))
    assert _stated(bent, "+1.0 mm") == _stated(bent, f"{1.0 + way * 0.4:+} mm") == AGREES
    assert _stated(bent, f"{1.0 - way * 0.2:+} mm") == _stated(bent, f"{1.0 + way * 0.6:+} mm") == DISAGREES
    table = readings(lambda x, y: 0.0 * x)
    even = replace(table, z=table.z + 2.0 + np.linspace(0.0, 1.0, len(table)))
    for stated, found in (("1.84", AGREES), ("1.81", DISAGREES), ("3.16", AGREES), ("3.19", DISAGREES)):
        assert _stated(even, f"+{stated} mm") == found


def test_a_stated_height_that_nothing_shows_is_said_to_be_unchecked():
    table = readings(small, slice(5))
    assert _stated(table, "+0.5 mm") == [("stands-off-unchecked", "warning")]
    programmed = replace(_without_z(), identity={"stands_off": "+0.5 mm"})
    found = settle_floor_z(part(), programmed, "as-programmed", 0.1, 0.01)
    assert [one.code for one in found.findings] == ["stands-off-unchecked"] and found.is_known
    # On a plate that is read where its datum is, a stated height is wrong; one of nothing is right.
    assert _stated(readings(small), "+0.5 mm") == DISAGREES and _stated(readings(small), "+0.00 mm") == AGREES


def test_a_stated_height_changes_no_offset_and_is_kept():
    """Offsets are what the readings show: web = z - t - underside, dz = w for the middle of the limits (contract)."""
    table = readings(lambda x, y: 0.5 + 0.0 * x)
    stated = replace(table, identity={"stands_off": "+0.5 mm"})
    plain, known = floorfit.correct(part(), table), floorfit.correct(part(), stated)
    assert not plain.conforms and plain.unsettled == ["common-height"]
    assert known.conforms and known.unsettled == []
    assert [one.offset_mm for one in known.decisions] == [one.offset_mm for one in plain.decisions]
    assert all(one.offset_mm == pytest.approx(0.5, abs=0.002) for one in known.decisions)
    record = known.record()
    assert record.identity["stands_off"] == "+0.5 mm" and record.findings[0]["code"] == "stands-off"
    with pytest.raises(InputError, match="sign and unit"):
        floorfit.correct(part(), replace(table, identity={"stands_off": "0.5"}))


def test_thicknesses_in_the_place_of_z_are_refused_but_not_a_flat_plate():
    """Web = z - t - underside (contract): with z = t every underside is level, whatever the plate did."""
    bent = readings(plane)
    bent = replace(bent, thickness=bent.thickness - plane(bent.x, bent.y))
    with pytest.raises(InputError, match="same number in all"):
        floorfit.correct(part(), replace(bent, z=bent.thickness))
    flat = readings(lambda x, y: 0.0 * x)
    assert floorfit.correct(part(), replace(flat, z=flat.thickness)).conforms


@pytest.mark.parametrize(("noise", "told"), [(0.002, True), (0.0, False), (0.004, False)])
def test_thickness_and_z_in_each_others_column_are_asked_about(noise: float, told: bool):
    """A web's thickness repeats to some 0.010 mm, a machine's Z to 0.002 (common practice, no source).

    Exchanged, both stand where a flat plate has them, and the warp has its other sign: web = z - t - underside.
    """
    table, rng = readings(small), np.random.default_rng(3)
    table = replace(table, z=table.z + noise * rng.standard_normal(len(table)))
    exchanged = replace(table, z=table.thickness + 0.01 * rng.standard_normal(len(table)), thickness=table.z)
    assert _codes(exchanged) == (["z-thickness-exchanged"] if told else [])
    right = replace(table, thickness=table.thickness + 0.01 * rng.standard_normal(len(table)))
    assert _codes(right) == []
    # A gauge that is stated to be as good as that is believed.
    assert settle_floor_z(part(), exchanged, "measured", None, 0.002).findings == ()


def test_a_stock_of_three_tenths_is_seen_in_webs():
    """Web = z - t - underside (contract): the drawing's Z under webs that still have 0.3 mm."""
    rough = readings(small, z=np.full(36, 2.3))
    rough = replace(rough, thickness=2.3 - small(rough.x, rough.y))
    found = settle_floor_z(part(finish_stock=0.3), replace(rough, z=rough.z - 0.3), "measured", None, 0.01)
    assert [one.code for one in found.findings] == ["z-finished"]


@pytest.mark.parametrize(("z_noise", "rows", "told"), [(0.010, slice(None), True), (0.003, slice(None), False),
                                                      (0.010, slice(14), False)])  # fmt: skip
def test_exchanged_columns_are_asked_about_where_z_scatters_far_more_and_many_readings_say_so(z_noise, rows, told):
    """A standard deviation of 11 degrees of freedom is off by a fifth, of 24 by a seventh: 1 / √(2 ν).

    (JCGM 100:2008, E.4.3.) Alike to one and a half times, the two columns do not tell which is which.
    """
    table, rng = readings(small), np.random.default_rng(4)
    noise = rng.standard_normal((2, len(table)))
    table = replace(table, thickness=table.thickness + 0.002 * noise[0], z=table.z + z_noise * noise[1])
    cut = readings(small, rows, z=table.z[rows])
    cut = replace(cut, thickness=table.thickness[rows])
    assert _codes(cut) == (["z-thickness-exchanged"] if told else [])

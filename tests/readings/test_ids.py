"""Labels as people write them, against the ids of the part."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from lying_readings import honest_rows, plate

from floorfit.errors import InputError
from floorfit.readings import Readings, readings_from_arrays
from floorfit.readings.ids import match_labels, plain, read_ids

PART = plate()


def _readings(labels: dict[str, str] | None = None) -> Readings:
    rows = honest_rows(PART, 4, np.random.default_rng(3))
    names = [(labels or {}).get(row.label, row.label) for row in rows]
    columns = ([row.x for row in rows], [row.y for row in rows], [row.thickness for row in rows])
    return readings_from_arrays(*columns, pocket=names)


@pytest.mark.parametrize(("label", "same"), [("a1", "A1"), ("A01", "A1"), ("p 007", "P7"), ("P100", "P100")])
def test_case_blanks_and_leading_zeros_do_not_count(label: str, same: str):
    assert plain(label) == plain(same)


@pytest.mark.parametrize(("label", "other"), [("A10", "A1"), ("P0", "P"), ("1P", "P1")])
def test_numbers_count(label: str, other: str):
    assert plain(label) != plain(other)


def test_right_labels_are_left_alone():
    readings = _readings()
    assert match_labels(PART, readings) == (readings, ())


def test_small_letters_are_forgiven_and_said():
    readings = _readings({p.id: p.id.lower() for p in PART.pockets})
    matched, found = match_labels(PART, readings)
    np.testing.assert_array_equal(matched.pocket, _readings().pocket)
    assert [one.code for one in found] == ["labels-respelt"]
    assert '"p00" → P00' in found[0].text


def test_a_spelling_of_two_ids_is_not_guessed():
    first = replace(PART.pockets[0], id="p1")
    part = replace(PART, pockets=(first, replace(PART.pockets[1], id="P01"), *PART.pockets[2:]))
    readings = replace(_readings(), pocket=np.array(["P1"] + [""] * (len(_readings()) - 1)))
    assert match_labels(part, readings) == (readings, ())


def test_another_numbering_is_read_by_place_and_said():
    """As after `extract`, whose ids run by rows while the drawing's run by columns."""
    ids = [pocket.id for pocket in PART.pockets]
    order = np.random.default_rng(5).permutation(len(ids))
    readings = _readings({one: f"C{k:02d}" if k % 2 else ids[k] for one, k in zip(ids, order, strict=True)})
    matched, found = match_labels(PART, readings)
    np.testing.assert_array_equal(matched.pocket, _readings().pocket)
    assert [one.code for one in found] == ["labels-by-place"]


def test_a_reading_off_its_label_is_still_found():
    """A single slip among other labels is no other numbering: screening names it."""
    names = _readings().pocket.copy()
    names[0] = PART.pockets[5].id
    readings = replace(_readings(), pocket=names)
    assert match_labels(PART, readings) == (readings, ())


def test_a_plate_that_lies_the_other_way_round_is_not_read_by_place():
    """Half a turn of a regular lay-out maps floors on floors: the labels are the only witness."""
    rows = _readings()
    x0, y0, x1, y1 = PART.bounds
    turned = replace(rows, x=x0 + x1 - rows.x, y=y0 + y1 - rows.y)
    matched, found = match_labels(PART, turned)
    assert matched is turned
    assert [one.code for one in found] == ["turned"]
    assert "half round" in found[0].text


def test_map_file(tmp_path: Path):
    path = tmp_path / "ids.csv"
    path.write_text("label,pocket\nbay 1,P00\nbay 2,P01\n", encoding="utf-8")
    readings = _readings({"P00": "bay 1", "P01": "bay 2"})
    matched, found = match_labels(PART, readings, read_ids(path))
    np.testing.assert_array_equal(matched.pocket, _readings().pocket)
    assert found == ()
    with pytest.raises(InputError, match='no pocket "P99"'):
        match_labels(PART, readings, {"bay 1": "P99"})


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("label,floor\na,b\n", "line 1: the column pocket is missing"),
        ("label,pocket\na,b\na,c\n", '"a" is there twice'),
    ],
)
def test_bad_maps_are_refused(tmp_path: Path, text: str, match: str):
    path = tmp_path / "ids.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=match):
        read_ids(path)


def test_a_label_that_no_pocket_bears_is_read_by_place_where_no_other_names_the_floor():
    """A spreadsheet makes 1000 of 1E3 and 02-Jan of 1-2 (common knowledge, no source); three places make a floor."""
    first, second = (replace(PART.pockets[k], id=name) for k, name in enumerate(("1E3", "1-2")))
    part = replace(PART, pockets=(first, second, *PART.pockets[2:]))
    matched, found = match_labels(part, _readings({"P00": "1000", "P01": "02-Jan"}))
    np.testing.assert_array_equal(matched.pocket, _readings({"P00": "1E3", "P01": "1-2"}).pocket)
    assert [one.code for one in found] == ["labels-by-place"] and '"1000" → 1E3' in found[0].text
    # Two readings alone, or half of them named by another label of the same floor: nothing is guessed.
    names = np.array(["1000", "1000", "1E3", "1E3"])
    for kept in (names, np.where(names == "1E3", "", names)):
        readings = replace(
            _readings({"P01": "1-2"}), pocket=np.concatenate([kept, _readings({"P01": "1-2"}).pocket[4:]])
        )
        assert match_labels(part, readings) == (readings, ())

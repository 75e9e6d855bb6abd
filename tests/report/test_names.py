from dataclasses import replace

import numpy as np
import record_factory
import shapely
from drawn_text import with_gid
from matplotlib.collections import LineCollection

from floorfit.report.bands import lay_bands
from floorfit.report.fields import open_band
from floorfit.report.marks import reading_marks
from floorfit.report.names import label_floors, map_lines, uncertainty_lines
from floorfit.report.plan_view import plan_of
from floorfit.report.sheet import AREA, blank_sheet


def labelled(record, lines=map_lines):
    plan = plan_of(record)
    scale, bands = lay_bands(plan.bounds, [floor.bounds for floor in plan.floors], AREA)
    figure = blank_sheet(record, plan, "A title", "1 of 1")
    views = [open_band(figure, band, plan, scale) for band in bands]
    return figure, views, label_floors(views, reading_marks(record.readings, plan), lines)


def test_names_that_fit_are_written_whole() -> None:
    record = record_factory.long_part()
    figure, _, numbered = labelled(record)
    assert numbered == []
    assert len(with_gid(figure, "pocket")) == 120


def test_name_of_two_hundred_letters_becomes_a_number() -> None:
    figure, _, numbered = labelled(record_factory.odd_names())
    assert [floor.id for floor in numbered] == ["x" * 200]
    assert "#5" in with_gid(figure, "pocket")


def test_labels_keep_to_their_floor_and_apart() -> None:
    record = record_factory.frame()
    _, views, _ = labelled(record)
    view = views[0]
    floors = [shapely.Polygon(floor.boundary, floor.islands) for floor in view.plan.floors]
    for box in view.placer.taken:
        low, high = ([b / view.scale for b in box[k : k + 2]] for k in (0, 2))
        shift = np.array(view.band.bounds[:2]) - np.array(view.band.box[:2]) / view.scale
        place = shapely.box(*(np.array(low) + shift), *(np.array(high) + shift))
        assert sum(floor.buffer(1e-6).covers(place) for floor in floors) == 1


def test_tiny_pockets_get_their_label_beside_them() -> None:
    record = record_factory.frame()
    part = {**record.part, "pockets": [dict(pocket) for pocket in record.part["pockets"]]}
    for pocket in part["pockets"]:
        centre = np.mean(pocket["boundary"][:4], axis=0)
        pocket["boundary"] = [(centre + d).tolist() for d in ((-2, -2), (2, -2), (2, 2), (-2, 2))]
        pocket["islands"] = []
    figure, _, numbered = labelled(record.model_copy(update={"part": part}))
    assert numbered == []  # beside the floor, at the end of a leader, there is room for the name
    assert len(set(with_gid(figure, "pocket"))) == 18


def test_uncertainty_is_rounded_to_two_digits() -> None:
    record = record_factory.frame()
    figure, _, _ = labelled(record, uncertainty_lines)
    # JCGM 100:2008, 7.2.6.
    assert all(len(number.replace(".", "").strip("0")) <= 2 for number in with_gid(figure, "number"))


def test_six_hundred_small_floors_have_their_numbers_and_no_leaders() -> None:
    # Common practice, no source: of more than some hundred leaders on one sheet none can be followed.
    record = record_factory.frame()
    frame = record.part["pockets"][0]
    rows = [(10.0 + 32.0 * i, 10.0 + 28.0 * j) for i in range(36) for j in range(17)]
    pockets = [
        {**frame, "id": f"P{k:03d}", "boundary": [[x, y], [x + 26, y], [x + 26, y + 26], [x, y + 26]], "islands": []}
        for k, (x, y) in enumerate(rows)
    ]
    decisions = [replace(record.decisions[0], pocket=one["id"]) for one in pockets]
    many = record.model_copy(update={"part": {**record.part, "pockets": pockets}, "decisions": decisions})
    figure, views, numbered = labelled(many)
    assert [floor.id for floor in numbered] == [one["id"] for one in pockets]
    assert with_gid(figure, "pocket") == [f"#{k + 1}" for k in range(len(pockets))]
    assert not any(isinstance(one, LineCollection) for one in views[0].axes.collections)

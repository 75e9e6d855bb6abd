import numpy as np
import record_factory

from floorfit.report.plan_view import plan_of
from floorfit.report.rows import MOST_LISTED, details, flat, pocket_rows, readings_of, set_aside, tagged


def test_number_is_escaped_and_keeps_its_value() -> None:
    text = str(tagged('/a"b', 0.1, "<0.1>", "µm"))
    assert "<0.1>" not in text and '"/a"b"' not in text
    assert 'value="0.1"' in text


def test_unknown_number_is_a_dash() -> None:
    assert str(tagged("/a", None, "", "mm")) == "–"


def test_rows_are_every_pocket_once() -> None:
    record = record_factory.long_part()
    rows = pocket_rows(record, plan_of(record))
    assert sorted(row.index for row in rows) == list(range(120))


def test_readings_belong_to_their_floor() -> None:
    record = record_factory.frame()
    found = readings_of(record)
    assert sum(len(rows) for rows in found.values()) == len(record.readings.used)
    assert all(record.readings.floor[k] == floor for floor, rows in found.items() for k in rows)


def test_set_aside_is_all_of_them() -> None:
    record = record_factory.frame()
    assert len(set_aside(record, plan_of(record))) == record.readings.used.count(False)


def test_many_readings_of_a_pocket_are_cut_and_counted() -> None:
    record = record_factory.frame()
    readings = record.readings
    n = len(readings.used)
    crowded = record.model_copy(update={"readings": readings.model_copy(update={"floor": ["P01"] * n})})
    plan = plan_of(crowded)
    first = next(d for d in details(crowded, plan, pocket_rows(crowded, plan)) if d.row.id == "P01")
    assert len(first.readings) == MOST_LISTED and first.unlisted == n - MOST_LISTED
    shown = {line["line"] for line in first.readings}
    assert {line for line, used in zip(readings.line, readings.used, strict=True) if not used} <= shown


def test_settings_become_dotted_names() -> None:
    document = {"a": {"b": 1.5, "c": [1, 2]}, "d": None, "e": list(np.arange(20.0)), "f": True, "g": []}
    assert list(flat(document)) == [
        ("a.b", "1.5"), ("a.c", "1, 2"), ("d", "–"), ("e", "20 values, in record.json"), ("f", "yes"), ("g", "–"),
    ]  # fmt: skip


def test_held_come_first_then_doubtful_then_by_margin() -> None:
    record = record_factory.long_part()
    order = [record.decisions[row.index] for row in pocket_rows(record, plan_of(record))]
    ranks = [0 if d.action == "hold" else 1 if d.verdict != "conform" else 2 for d in order]
    assert ranks == sorted(ranks) and ranks[0] == 0
    margins = [d.margin_mm for d in order if d.verdict == "conform"]
    assert margins == sorted(margins)

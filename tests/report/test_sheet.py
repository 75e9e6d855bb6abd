import record_factory
from drawn_text import texts

from floorfit.report.plan_view import plan_of
from floorfit.report.sheet import PAPER, SIGN_WORDS, blank_sheet, left_out


def test_left_out_counts_every_reading_set_aside() -> None:
    record = record_factory.long_part()
    lines = left_out(record, plan_of(record).display)
    counts = [int(line.split()[0]) for line in lines if "set aside" in line]
    assert sum(counts) == record.readings.used.count(False)
    assert lines[-1].startswith("1 of 120 pockets held")


def test_nothing_left_out_is_said_too() -> None:
    record = record_factory.frame()
    readings = record.readings.model_copy(update={"used": [True] * len(record.readings.used)})
    assert (
        left_out(record.model_copy(update={"readings": readings}), plan_of(record).display)[0] == "no reading set aside"
    )


def test_no_pocket_held_is_said_in_words() -> None:
    record = record_factory.frame()
    summary = record.summary.model_copy(update={"held": 0})
    assert left_out(record.model_copy(update={"summary": summary}), plan_of(record).display)[-1] == "no pocket held"


def test_sheet_is_a3_and_carries_the_sign_in_words() -> None:
    record = record_factory.frame()
    figure = blank_sheet(record, plan_of(record), "A title", "1 of 1")
    assert PAPER == (420.0, 297.0)  # ISO 216, A3
    said = " ".join(text.get_text() for text, _ in texts(figure))
    for line in SIGN_WORDS:
        assert all(word in said for word in line.split())
    for mark in ("+ warp", "+ offset", "nominal underside"):
        assert mark in said

import re
from pathlib import Path

import pytest
import record_factory

from floorfit.report.plan_view import plan_of
from floorfit.report.sign_off import write_sign_off


def written(record, folder: Path) -> bytes:
    write_sign_off(record, plan_of(record), folder)
    return (folder / "sign_off.pdf").read_bytes()


def pages(data: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b(?!s)", data))


@pytest.mark.parametrize(
    ("make", "most"),
    [(record_factory.frame, 2), (record_factory.long_part, 7), (record_factory.no_surface, 2)],
)
def test_one_page_to_sign_and_a_short_appendix(make, most, tmp_path: Path) -> None:
    assert 2 <= pages(written(make(), tmp_path)) <= most


@pytest.mark.parametrize(
    ("make", "size"), [(record_factory.frame, (210.0, 297.0)), (record_factory.inch_part, (215.9, 279.4))]
)
def test_paper_is_a4_or_letter_by_the_unit(make, size, tmp_path: Path) -> None:
    # ISO 216 and ANSI Y14.1, in points.
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", written(make(), tmp_path))
    assert box is not None
    assert (float(box[1]), float(box[2])) == pytest.approx((size[0] / 25.4 * 72, size[1] / 25.4 * 72), abs=1)


def test_same_record_same_bytes(tmp_path: Path) -> None:
    record = record_factory.inch_part()
    assert written(record, tmp_path) == written(record, tmp_path)


def test_sheet_has_who_what_counts_worst_and_three_signatures() -> None:
    from drawn_text import overlaps, texts

    from floorfit.report import paper, sign_off

    record = record_factory.frame()
    plan = plan_of(record)
    sheet = sign_off._sheet(record, plan)
    figure = paper._front(sheet, plan.display, "1 / 2")
    said = [text.get_text() for text, _ in texts(figure)]
    for words in (
        "part number",
        "serial number",
        "operator",
        "gauge number",
        "prepared",
        "checked",
        "released",
        "page 1 / 2",
    ):
        assert words in said
    assert said.count("signature") == 3
    held = [d.pocket for d in record.decisions if d.action == "hold"]
    assert [row[0] for row in sheet.worst.rows][: len(held)] == held and len(sheet.worst.rows) == 5
    assert len(sheet.appendix.rows) == len(record.decisions)
    assert overlaps(figure) == []


def test_known_identity_takes_the_place_of_the_blank_line() -> None:
    from floorfit.report.sign_off import identity_lines

    show = plan_of(record_factory.frame()).display
    lines = dict(identity_lines([("serial number", "0042")], [("job", "j")], show))
    assert lines["serial number"] == "0042" and lines["part number"] == "" and len(lines) == 7


@pytest.mark.parametrize(
    ("language", "field", "words"),
    [("en", "stands off its datum, as stated", "the readings agree"),
     ("de", "steht neben seinem Bezug, laut Angabe", "die Messwerte stimmen damit überein")],
)  # fmt: skip
def test_a_stated_height_stands_on_sheet_and_page(language: str, field: str, words: str) -> None:
    """A signer has to know that a plate is on shims (common practice, no source), and what the readings show of it."""
    import small_part

    import floorfit
    from floorfit.report import page, sign_off
    from floorfit.report.format import Writing
    from floorfit.report.language import language as language_of

    table = small_part.readings(lambda x, y: 0.5 + 0.0 * x, identity={"stands_off": "+0.5 mm"})
    record = floorfit.correct(small_part.part(), table).record()
    plan = plan_of(record, Writing(language=language_of(language)))
    sheet = sign_off._sheet(record, plan)
    assert (field, "+0.5 mm") in sheet.identity and words in sheet.warnings[0]
    html = page.page_text(record, plan)
    assert field in html and "+0.5 mm" in html and words in html

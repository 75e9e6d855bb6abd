import json
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
import record_factory
from page_reader import PER_MM, Page, read_page

from floorfit.report import page as pages
from floorfit.report.plan_view import plan_of


def page_text(record) -> str:
    return pages.page_text(record, plan_of(record))


MAKERS = [record_factory.frame, record_factory.inch_part, record_factory.odd_names, record_factory.no_surface]


@pytest.fixture(scope="module", params=MAKERS, ids=lambda make: make.__name__)
def case(request):
    record = request.param()
    return record, page_text(record)


def lookup(document, pointer: str):
    for step in pointer.split("/")[1:]:
        name = step.replace("~1", "/").replace("~0", "~")  # RFC 6901
        document = document[int(name)] if isinstance(document, list) else document[name]
    return document


def last_digit(text: str) -> Decimal:
    return Decimal(1).scaleb(int(Decimal(text).as_tuple().exponent))


def test_every_number_equals_the_record_to_its_printed_digits(case) -> None:
    record, text = case
    document = json.loads(record.model_dump_json())
    numbers = read_page(text).numbers
    assert len(numbers) > 40
    for number in numbers:
        truth = lookup(document, number.at)
        assert number.value == truth, number.at
        digit = last_digit(number.text)
        room = float(digit) / 2 * (1 + 1e-9)  # half of the last digit printed, and one rounding
        assert abs(float(number.text) - truth * PER_MM[number.unit]) <= room, number


def test_decisions_and_readings_are_all_there(case) -> None:
    record, text = case
    at = {number.at for number in read_page(text).numbers}
    for k, decision in enumerate(record.decisions):
        for name in ("offset_mm", "offset_u_mm", "web_before_min_mm", "web_after_max_mm", "margin_mm",
                     "conformance_probability", "web_lower_limit_mm"):  # fmt: skip
            assert (f"/decisions/{k}/{name}" in at) == (getattr(decision, name) is not None)
    for k, used in enumerate(record.readings.used):
        if not used or record.readings.floor[k]:
            assert f"/readings/x_mm/{k}" in at


def test_names_do_no_harm() -> None:
    record = record_factory.odd_names()
    hostile, plain = read_page(page_text(record)), read_page(page_text(record_factory.frame()))
    assert [tag for tag, _ in hostile.tags].count("script") == [tag for tag, _ in plain.tags].count("script") == 2
    assert not any(tag == "img" or any(name.startswith("on") for name in attrs) for tag, attrs in hostile.tags)
    for decision in record.decisions:
        assert " ".join(decision.pocket.split()) in hostile.text
    names = [" ".join(d.pocket.split()) for d in record.decisions]
    assert [floor["id"] for floor in json.loads(hostile.data)["floors"]] == names


def test_nothing_on_the_page_asks_a_network(case) -> None:
    _, text = case
    for tag, attributes in read_page(text).tags:
        for name in ("src", "href", "action", "poster", "data", "srcset"):
            link = attributes.get(name)
            assert link is None or link.startswith(("#", "data:")), (tag, link)
    style = text[text.index("<style>") : text.index("</style>")]
    assert "url(" not in style and "@import" not in style


def test_data_has_no_nan_and_cannot_end_its_script(case) -> None:
    _, text = case
    data = read_page(text).data
    assert not set("<>&") & set(data)
    json.loads(data, parse_constant=lambda name: pytest.fail(f"{name} in the page's data"))


def test_table_starts_with_the_held(case) -> None:
    record, text = case
    rows = [attributes for tag, attributes in read_page(text).tags if tag == "tr" and "data-pocket" in attributes]
    actions = [record.decisions[int(row["data-pocket"])].action == "hold" for row in rows]
    assert actions == sorted(actions, reverse=True) and len(rows) == len(record.decisions)


def test_every_held_pocket_stands_at_the_top_with_its_reason(case) -> None:
    record, text = case
    top = text[text.index('class="summary"') : text.index('class="sign"')]
    held = [d for d in record.decisions if d.action == "hold"]
    assert top.count("<li><a href=") == len(held)
    assert all(d.reason.code in top for d in held)


def test_readings_set_aside_have_their_reason(case) -> None:
    record, text = case
    said = read_page(text).text
    section = said[said.index("Readings set aside") :]
    for used, reason in zip(record.readings.used, record.readings.reason, strict=True):
        assert used or reason in section


def test_page_says_what_it_was_made_from(case) -> None:
    record, text = case
    said = read_page(text).text
    for item in record.inputs.values():
        assert item.name in said and item.sha256 in said
    for name, version in record.versions.items():
        assert name in said and version in said
    assert f"{record.summary.corrected} of {record.summary.pockets} pockets corrected" in said
    for words in ("prove it out above the part", "released", "The program signs nothing", "k = 2"):
        assert words in said


def test_signature_is_space_only(case) -> None:
    _, text = case
    block = text[text.index('class="sign"') : text.index("</section>", text.index('class="sign"'))]
    assert block.count("<span></span>") == 3 and text.count('class="sign"') == 1
    assert "<input" not in block and "<svg" not in block


def test_keyboard_can_reach_what_a_mouse_can(case) -> None:
    record, text = case
    tags = read_page(text).tags
    plot = next(attributes for tag, attributes in tags if attributes.get("id") == "plot")
    assert plot["tabindex"] == "0" and plot["aria-describedby"] == "readout"
    go = [attributes for tag, attributes in tags if tag == "button" and attributes.get("class") == "go"]
    assert len(go) == len(record.decisions)
    assert sum(tag == "button" and "data-sort" in attributes for tag, attributes in tags) == 7


def test_same_record_same_bytes(tmp_path: Path) -> None:
    record = record_factory.frame()
    written = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        pages.write_page(record, plan_of(record), tmp_path / name)
        written.append((tmp_path / name / "report.html").read_bytes())
    assert written[0] == written[1]


def test_page_of_120_pockets_stays_under_five_megabytes() -> None:
    assert len(page_text(record_factory.long_part()).encode()) < 5e6


def test_settings_are_shown_whole(case) -> None:
    _, text = case
    page: Page = read_page(text)
    assert re.search(r"screen\.fence\s+4\.0", page.text) and re.search(r"max_offset_mm\s+1\.0", page.text)


def test_one_sided_limits_are_said_in_words() -> None:
    record = record_factory.frame()
    changes = ({"web_upper_limit_mm": None}, {"web_lower_limit_mm": None})
    first = [replace(d, **change) for d, change in zip(record.decisions[:2], changes, strict=True)]
    said = read_page(page_text(record.model_copy(update={"decisions": [*first, *record.decisions[2:]]}))).text
    assert "at least 1.900" in said and "at most 2.100" in said


def test_awkward_records_are_shown_too() -> None:
    record = record_factory.frame()
    none = {name: [] for name in record.readings.model_dump()}
    bare = record.model_copy(update={"readings": type(record.readings)(**none), "neighbours": [], "findings": []})
    assert "No reading lies on this floor" in read_page(page_text(bare)).text

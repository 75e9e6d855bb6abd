import ast
import re
from pathlib import Path

import pytest
import record_factory
from drawn_text import texts
from jinja2 import Environment
from jinja2.ext import extract_from_ast

import floorfit
from floorfit.report.format import Writing
from floorfit.report.language import LANGUAGES, language, messages
from floorfit.report.map import map_figure
from floorfit.report.page import page_text
from floorfit.report.plan_view import plan_of

HOUSE = Path(floorfit.__file__).parent
#: Functions whose first argument is a text for the catalogue.
MARKS = {"say", "words", "marked"}


def in_source(path: Path) -> set[str]:
    """Texts that a module marks for the catalogue, those inside formatted strings included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name in MARKS and isinstance(node.args[0].value, str):
                found.add(node.args[0].value)
    return found


def in_template(path: Path) -> set[str]:
    tree = Environment().parse(path.read_text("utf-8"))
    return {text for _, _, text in extract_from_ast(tree, {"_"}) if isinstance(text, str)}


def all_texts() -> set[str]:
    modules = [*HOUSE.glob("report/*.py"), *HOUSE.glob("verify/*.py")]
    templates = HOUSE.glob("report/templates/*.html")
    return set().union(*(in_source(path) for path in modules), *(in_template(path) for path in templates))


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_catalogue_is_complete_and_has_nothing_left_over(code: str) -> None:
    assert set(language(code).texts) == all_texts()


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_translation_has_the_same_fields(code: str) -> None:
    for text, other in language(code).texts.items():
        assert sorted(re.findall(r"{\w+}", text)) == sorted(re.findall(r"{\w+}", other)), text


def test_catalogue_reads_as_the_standard_compiler_reads_it() -> None:
    # GNU gettext manual, "The Format of PO Files": strings over several lines are put together.
    text = 'msgid ""\nmsgstr ""\n"Language: de\\n"\n\n# note\nmsgid "a "\n"b\\"c"\nmsgstr "x "\n"y"\n'
    assert messages(text) == {'a b"c': "x y"}


def test_page_and_map_speak_german_with_a_decimal_comma() -> None:
    record = record_factory.frame()
    plan = plan_of(record, Writing(language=language("de")))
    page = page_text(record, plan)
    assert '<html lang="de">' in page and "17 von 18 Taschen korrigiert" in page and ">2,100<" in page
    said = " ".join(text.get_text() for text, _ in texts(map_figure(record, plan)))
    assert "Versatz +0,135" in said and "gesperrt" in said


def test_unknown_text_stays_english() -> None:
    assert language("de").words("no such text") == "no such text"

import ast
import random
import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from string import Formatter

import pytest
import record_factory
from drawn_text import texts
from jinja2 import Environment
from jinja2.ext import extract_from_ast
from page_reader import english_left

import floorfit
from floorfit.record import Record
from floorfit.report.format import Writing, display_for
from floorfit.report.language import LANGUAGES, language, messages
from floorfit.report.map import map_figure
from floorfit.report.page import page_text
from floorfit.report.plan_view import plan_of

HOUSE = Path(floorfit.__file__).parent
OTHERS = [code for code in LANGUAGES if code != "en"]
#: Functions whose first argument is a text for the catalogue.
MARKS = {"say", "words", "marked"}
#: Rooms whose words reach no page: they speak on the terminal, of files, models and programmes.
SILENT = ("applied.py", "cad/", "cli/", "errors.py", "nc/", "planning/")
#: Modules that say something of a run, of finished webs or of a series, each with its functions that only refuse.
SAYING: dict[str, set[str]] = {
    "as_cut.py": {"_read", "_refuse"},
    "decision/budget.py": set(), "decision/decide.py": set(), "decision/odd_web.py": set(), "decision/rules.py": set(),
    "identity.py": {"_bad_height", "_faults", "missing_facts", "refuse_other_clamping", "thermal_growth"},
    "noticed.py": set(), "prepared.py": set(), "readings/causes.py": set(),
    "readings/datum.py": {"_bad_fit", "_check_fit", "_check_points", "_datums", "same_shape"},
    "readings/floor_z.py": set(),
    "readings/gauge.py": {"budget"}, "readings/gauge_applied.py": set(),
    "readings/ids.py": {"_check_table", "read_ids"},
    "readings/kinds.py": set(), "readings/misplaced.py": {"refuse_slipped"},
    "readings/outliers.py": set(), "readings/ratios.py": {"refuse_other_unit"}, "readings/screening.py": set(),
    "readings/display.py": set(), "readings/sequence.py": set(),
    "run.py": {"_check_tolerances", "_refuse_other"}, "sealed.py": set(), "surface/blocks.py": set(),
    "surface/expected.py": set(), "surface/given.py": set(), "verify/doubts.py": set(), "verify/misfiled.py": set(),
    "verify/otherwise.py": set(), "verify/parts.py": set(), "verify/stream.py": set(), "verify/taken.py": set(),
    "verify/verify_job.py": {"_prediction"}, "verify/webs.py": set(),
}  # fmt: skip
#: Beginnings of texts in other functions of theirs with which an input is refused.
REFUSALS = (
    "the gauge is calibrated for",
    'gauge "{}" was read with',
    "its pockets are not those",
    "pocket {}: its webs are not those",
    "are the readings that the job",
    '{} "{}" came, the job is of',
    "no job folder",
    "thickness_mm (or",
)


def text_of(node: ast.AST) -> str | None:
    """A string, or a formatted one with ``{}`` for what is filled in."""
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def is_silent(node: ast.AST, refusing: set[str]) -> bool:
    """Whether nothing in a piece of source reaches a page: documentation, a refusal, a step of the progress."""
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return node.name in refusing
    if isinstance(node, ast.Raise):
        return not ast.unparse(node).startswith("raise NumericalError")
    if isinstance(node, ast.Call):
        return ast.unparse(node.func) in ("tell", "check_ranges")
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def strings(node: ast.AST, refusing: set[str]) -> Iterator[str]:
    """Every string of a module, in order."""
    text = text_of(node)
    if text is not None:
        yield text
    parts = [part.value for part in ast.walk(node) if isinstance(part, ast.FormattedValue)]
    inner = parts if isinstance(node, ast.JoinedStr) else list(ast.iter_child_nodes(node))
    for child in inner:
        if not is_silent(child, refusing):
            yield from strings(child, refusing)


def pieces(text: str) -> list[str]:
    """A code before a colon and the words behind it are texts of their own."""
    code, colon, words = text.partition(": ")
    return [code, words] if colon and re.fullmatch("[a-z]+(-[a-z]+)*", code) else [text]


@cache
def run_says() -> tuple[set[str], set[str]]:
    """Sentences, and all strings, of the modules in `SAYING`."""
    found = [
        piece
        for name, refusing in SAYING.items()
        for text in strings(ast.parse((HOUSE / name).read_text("utf-8")), refusing)
        for piece in pieces(text)
    ]
    long = {text for text in found if sum(bool(re.search("[a-z]{2}", word)) for word in text.split()) > 1}
    return {text for text in long if not text.startswith(REFUSALS)}, set(found)


def fields(text: str) -> list[tuple[str, str]]:
    """Name, or number in order, and kind of each field of a text."""
    found = [(name, kind) for _, name, kind, _ in Formatter().parse(text) if name is not None and kind is not None]
    return [(name or str(k), kind) for k, (name, kind) in enumerate(found)]


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


@cache
def all_texts() -> set[str]:
    modules = [*HOUSE.glob("report/*.py"), *HOUSE.glob("verify/*.py")]
    templates = HOUSE.glob("report/templates/*.html")
    return set().union(*(in_source(path) for path in modules), *(in_template(path) for path in templates))


@pytest.mark.parametrize("code", OTHERS)
def test_catalogue_is_complete_and_has_nothing_left_over(code: str) -> None:
    sentences, strings_of_a_run = run_says()
    assert set(language(code).texts) >= all_texts() | sentences
    assert set(language(code).texts) <= all_texts() | strings_of_a_run


@pytest.mark.parametrize("code", OTHERS)
def test_translation_has_the_same_fields(code: str) -> None:
    for text, other in language(code).texts.items():
        assert sorted(name for name, _ in fields(text)) == sorted(name for name, _ in fields(other)), text


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


def filled(code: str, rng: random.Random) -> Iterator[tuple[str, str]]:
    """Each sentence of a run with something in its fields, and what its translation must be."""
    catalogue = language(code)
    simple = sorted(text for text in run_says()[0] if re.fullmatch("[A-Za-z' ]+", text))
    for text, other in catalogue.texts.items():
        kinds = dict(fields(other))
        if not set(kinds.values()) & {"n", "t", ""} or text in all_texts():
            continue
        names, given, wanted = [name for name, _ in fields(text)], {}, {}
        for name in names:
            number, place = f"{rng.uniform(-9, 9):+.3f}", f"({rng.random():.1f}, {rng.random():.1f})"
            piece = {"n": rng.choice([number, place]), "t": rng.choice(simple)}
            given[name] = piece.get(kinds[name], f"P{rng.randrange(99)}.web Größe")
            point, semicolon = (",", ";") if kinds[name] == "n" else (".", ",")
            wanted[name] = given[name].replace(",", semicolon).replace(".", point)
            if kinds[name] == "t":
                wanted[name] = catalogue.texts[given[name]]
        yield put(text, given), put(other, wanted)


def put(text: str, pieces_by_name: dict[str, str]) -> str:
    """Fill the fields of a text, by name or order, with texts as they are."""
    names = iter(name for name, _ in fields(text))
    return re.sub(r"{[^{}]*}", lambda found: pieces_by_name[next(names)], text)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("code", OTHERS)
def test_sentence_keeps_its_numbers_and_names(code: str, seed: int) -> None:
    found = list(filled(code, random.Random(seed)))
    assert len(found) > 60
    for english, wanted in found:
        assert language(code).sentence(english) == wanted


def test_units_codes_and_clauses_are_said_in_german() -> None:
    # JCGM 100, 7.2.2, and ISO 80000-1, 7.3.2: decimal comma in German; a list of such numbers takes a semicolon.
    held = "outside-readings: the warp is known to 0.120 mm only (k = 2) near (16.2, 3.5); one or two readings there "
    said = language("de").sentence(held + "would decide it")
    assert said.startswith("außerhalb der Messwerte: der Verzug ist bei (16,2; 3,5) nur auf 0,120 mm bekannt (k = 2)")
    inch = "inch: place (1.25, 3.5) mm looks like inches among millimetres (or the other way round): read as inches it "
    said = language("de").sentence(inch + "lies on pocket Tür.2, at (31.750, 88.900) mm. Correct the row in the file")
    assert "(1,25; 3,5) mm" in said and "als Zoll gelesen liegt sie auf Tasche Tür.2, bei (31,750; 88,900) mm" in said
    assert display_for("mm", Writing(None, language("de"), ".")).sentence("thickness 2.5 mm") == "Dicke 2.5 mm"


def test_every_room_that_says_something_is_looked_at() -> None:
    """A reason, a warning or a note that can reach a page stands in a module of `SAYING`."""
    for path in HOUSE.rglob("*.py"):
        name = path.relative_to(HOUSE).as_posix()
        text = path.read_text("utf-8")
        if re.search(r"\bReason\(\"|\bReason\(\n|Finding\([^)]*\"(warning|note)\"|\breason_of\(", text):
            assert name in SAYING or name.startswith(SILENT), name


@pytest.mark.parametrize("make", [record_factory.frame, record_factory.inch_part, record_factory.no_surface])
def test_german_page_has_no_english_reason(make: Callable[[], Record]) -> None:
    record = make()
    english, german = (page_text(record, plan_of(record, Writing(language=language(code)))) for code in ("en", "de"))
    assert len(english_left(english)) > 15
    assert "Tasche" in german and not english_left(german)

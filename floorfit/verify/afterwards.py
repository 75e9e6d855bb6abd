"""The pages of a verification and of a series: one self-contained file each, in the report's style."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from floorfit.report.format import MISSING, Display, display_for, fixed
from floorfit.report.plan_view import plain_text
from floorfit.verify.pictures import as_data_url, png_of, verification_figure
from floorfit.verify.proved import FloorProof, Verification

__all__ = ["Picture", "Row", "Sheet", "Table", "page_text", "verification_answers", "write_verification_page"]

SIGNS = (
    "Bias: measured web less predicted web. Plus: the webs came out thicker than predicted.",
    "The bias offered for the next pockets is taken off every offset: plus lowers the floors (cuts more).",
)

CAUTIONS = (
    "A verdict on a whole floor rests on the readings and a fitted surface. Between readings it is an estimate.",
    "Simulate a corrected programme, and prove it out above the part before it cuts.",
    "Licensed people and local practice decide what is released.",
)


@dataclass(frozen=True)
class Row:
    """A row of a table: its cells, and a mark that the style sheet knows."""

    cells: Sequence[str]
    mark: str = ""


@dataclass(frozen=True)
class Table:
    """A table: heading, head, rows; ``verdict`` is the column of a verdict, -1 for none."""

    title: str
    head: Sequence[str]
    rows: Sequence[Row]
    note: str = ""
    verdict: int = -1


@dataclass(frozen=True)
class Picture:
    """A picture as an address in the page, and what it shows in words."""

    url: str
    words: str


@dataclass(frozen=True)
class Sheet:
    """Everything on a page, as text."""

    name: str
    title: str
    facts: str
    sentence: str
    answers: Sequence[str]
    findings: Sequence[str]
    pictures: Sequence[Picture]
    tables: Sequence[Table]


def page_text(sheet: Sheet) -> str:
    """Return a page as one HTML document; every text in it is escaped."""
    from importlib.resources import files

    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("floorfit.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    style = Markup((files("floorfit.report") / "templates" / "report.css").read_text(encoding="utf-8"))
    return environment.get_template("afterwards.html").render(
        **vars(sheet), signs=SIGNS, cautions=CAUTIONS, style=style
    )


def write_verification_page(found: Verification, folder: Path) -> None:
    """Write ``verify.html`` and ``verify.png`` into an existing folder."""
    png = png_of(verification_figure(found))
    (folder / "verify.png").write_bytes(png)
    words = (
        "Each reading of a finished web: measured less predicted. Cross hatch: does not conform. Slant hatch: "
        "undecided. White: not read."
    )
    sheet = Sheet(
        name=plain_text(found.part.name),
        title="finished webs",
        facts=f"job {plain_text(found.job)} · readings {plain_text(found.source)} · {_units(found)}",
        sentence=plain_text(found.sentence),
        answers=verification_answers(found),
        findings=[plain_text(str(finding)) for finding in found.findings],
        pictures=[Picture(as_data_url(png), words)],
        tables=[_floors(found), _aside(found)],
    )
    (folder / "verify.html").write_text(page_text(sheet), encoding="utf-8", newline="\n")


def verification_answers(found: Verification) -> list[str]:
    """Bias, movement and intervals in a sentence each, in the part's units."""
    show = display_for(found.part.units)
    return [_bias_line(found, show), _movement_line(found, show), _interval_line(found)]


def _bias_line(found: Verification, show: Display) -> str:
    bias = found.bias
    if not bias.pockets:
        return "No finished pocket could be compared with a prediction: no common bias is known."
    value, u = show.small_pair(bias.value, bias.factor * bias.u)
    line = (
        f"Common bias {value} ± {u} {show.small} (95 %, from {bias.pockets} pockets and {bias.readings} readings); "
        f"pockets scatter by {show.small_length(bias.between, more=1)} {show.small}."
    )
    if found.offered_bias is None:
        return line + f" It is not offered for the pockets that remain: {found.withheld}."
    already = f" (the job had {found.applied_bias:+.4f} taken off already)" if found.applied_bias else ""
    return (
        line + f" For the pockets that remain: `correct --bias {found.offered_bias:.4f} --bias-u {bias.u:.4f}`"
        f"{already}. Nothing was applied."
    )


def _movement_line(found: Verification, show: Display) -> str:
    moved = found.movement
    size = show.small_length(moved.size if moved.size == moved.size else None)
    limit = show.small_length(moved.limit)
    unit, since = show.small, "since the first readings"
    return {
        "none": f"No movement of the plate {since} is seen (limit {limit} {unit}).",
        "small": f"The plate moved by up to {size} {unit} {since}, within the limit of {limit} {unit}.",
        "measure-again": f"Measure again: the plate moved by up to {size} {unit} {since} (limit {limit} {unit}).",
        "unclear": f"A movement of up to {size} {unit} cannot be told from the pockets' own scatter. Read more.",
        "unknown": "Too few finished pockets to tell a movement from a common bias (five are the least).",
    }[moved.state]


def _interval_line(found: Verification) -> str:
    held = found.intervals
    if not held.total:
        return "No reading could be compared with a predicted interval."
    low, high = held.limits
    return (
        f"{held.inside} of {held.total} readings ({100 * held.share:.0f} %, 95 % limits {100 * low:.0f} to "
        f"{100 * high:.0f} %) lie in their predicted 95 % interval, {held.inside_without_bias} without the bias; "
        f"{held.floors_inside} of {held.floors} floors lie whole in theirs."
    )


def _floors(found: Verification) -> Table:
    show = display_for(found.part.units)
    head = ["pocket", "verdict", "readings", f"web min, {show.unit}", f"web max, {show.unit}", "probability"]
    head += [f"bias, {show.small}", f"± (k = 2), {show.small}", "interval held", "reason"]
    order = {"nonconform": 0, "undecided": 1, "not-read": 2, "conform": 3}
    rows = sorted(found.floors, key=lambda floor: order[floor.verdict])
    return Table(
        "Floors", head, [_floor(floor, show) for floor in rows], "Over the whole floor, not only at the readings.", 1
    )


def _floor(floor: FloorProof, show: Display) -> Row:
    known = floor.bias == floor.bias
    value, u = show.small_pair(floor.bias, 2 * floor.bias_u) if known else (MISSING, MISSING)
    webs = [show.web(web if web == web else None) for web in (floor.web_min, floor.web_max)]
    chance = fixed(floor.probability, 3) if floor.probability == floor.probability else MISSING
    held = MISSING if floor.is_interval_held is None else "yes" if floor.is_interval_held else "no"
    words = {"conform": "conforms", "nonconform": "does not conform", "not-read": "not read"}
    cells = [plain_text(floor.pocket), words.get(floor.verdict, floor.verdict), str(floor.readings), *webs, chance]
    return Row([*cells, value, u, held, floor.reason], floor.verdict)


def _aside(found: Verification) -> Table:
    rows = [Row([f"line {found.line[k]}", reason], "aside") for k, reason in enumerate(found.readings.reason) if reason]
    return Table("Readings set aside", ["line", "reason"], rows[:500], f"{len(rows)} of {len(found.x)} readings.")


def _units(found: Verification) -> str:
    show = display_for(found.part.units)
    return f"webs in {show.unit}; bias in {show.small}"

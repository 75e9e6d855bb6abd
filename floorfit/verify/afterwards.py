"""The pages of a verification and of a series: one self-contained file each, in the report's style."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from floorfit.report.format import MISSING, Display, Writing, display_for
from floorfit.report.headline import identity_shown
from floorfit.report.language import marked
from floorfit.report.page import rendered
from floorfit.report.paper import SIGNATURES
from floorfit.report.plan_view import plain_text
from floorfit.verify.pictures import png_of, verification_figure
from floorfit.verify.proved import FloorProof, Verification
from floorfit.verify.release import ESTIMATE, by_need, floor_cells, proved_sentence, write_release
from floorfit.verify.written import write_tables
from floorfit.whole import whole_folder

__all__ = [
    "CheckRow",
    "CheckSheet",
    "CheckTable",
    "Picture",
    "page_text",
    "verification_answers",
    "write_verification",
    "write_verification_page",
]

SIGNS = (
    marked("Bias: measured web less predicted web. Plus: the webs came out thicker than predicted."),
    marked("The bias offered for the next pockets is taken off every offset: plus lowers the floors (cuts more)."),
)

CAUTIONS = (
    ESTIMATE,
    marked("Simulate a corrected programme, and prove it out above the part before it cuts."),
    marked("Licensed people and local practice decide what is released."),
)


@dataclass(frozen=True)
class CheckRow:
    """A row of a table: its cells, and a mark that the style sheet knows."""

    cells: Sequence[str]
    mark: str = ""


@dataclass(frozen=True)
class CheckTable:
    """A table: heading, head, rows; ``verdict`` is the column of a verdict, -1 for none."""

    title: str
    head: Sequence[str]
    rows: Sequence[CheckRow]
    note: str = ""
    verdict: int = -1


@dataclass(frozen=True)
class Picture:
    """A picture, and what it shows in words."""

    png: bytes
    words: str

    @property
    def url(self) -> str:
        """The picture as an address that a page can hold in itself."""
        return "data:image/png;base64," + base64.b64encode(self.png).decode("ascii")


@dataclass(frozen=True)
class CheckSheet:
    """Everything on a page, as text."""

    name: str
    title: str
    facts: str
    sentence: str
    answers: Sequence[str]
    findings: Sequence[str]
    pictures: Sequence[Picture]
    tables: Sequence[CheckTable]
    signed_on: str = ""


def page_text(sheet: CheckSheet, display: Display) -> str:
    """Return a page as one HTML document in the language of the page; every text in it is escaped.

    Parameters
    ----------
    sheet : CheckSheet
    display : Display
    """
    say = display.words
    words = {
        "signs": [say(line) for line in SIGNS], "cautions": [say(line) for line in CAUTIONS],
        "signatures": [say(word) for word in SIGNATURES],
    }  # fmt: skip
    return rendered("afterwards.html", display, **vars(sheet), **words)


def write_verification(
    found: Verification, folder: str | Path, *, replace: bool = False, writing: Writing | None = None
) -> None:
    """Write a verification as a folder.

    Parameters
    ----------
    found : Verification
        From `floorfit.verify`.
    folder : path
        Folder to make.
    replace : bool
        Whether an existing one may be replaced.
    writing : Writing, optional
        Unit, language and decimal sign of page and sheet.

    Raises
    ------
    OutputError
        If the folder exists and ``replace`` is false, or its parent cannot be written.
    """
    with whole_folder(folder, replace=replace) as temporary:
        write_tables(found, temporary)
        write_verification_page(found, temporary, writing=writing)


def write_verification_page(found: Verification, folder: Path, *, writing: Writing | None = None) -> None:
    """Write ``verify.html``, ``verify.png`` and ``verify.pdf`` into an existing folder.

    Parameters
    ----------
    found : Verification
    folder : Path
    writing : Writing, optional
        Unit, language and decimal sign.
    """
    show = display_for(found.part.units, writing)
    identity = identity_shown(found.identity, show)
    say, answers = show.words, verification_answers(found, show)
    png = png_of(verification_figure(found, show))
    (folder / "verify.png").write_bytes(png)
    write_release(found, identity, answers, show, folder / "verify.pdf")
    words = say(
        "Each reading of a finished web: measured less predicted. Cross hatch: does not conform. Dots: undecided. "
        "Grey: not read."
    )
    sheet = CheckSheet(
        name=plain_text(found.part.name),
        title=say("finished webs"),
        facts=" · ".join(
            [f"{say('job')} {plain_text(found.job)}", f"{say('readings')} {plain_text(found.source)}",
             *(f"{name}: {text}" for name, text in identity),
             say("every length in {unit}").format(unit=show.unit)]
        ),
        sentence=proved_sentence(found, show),
        answers=answers,
        findings=[plain_text(show.finding(one.source, one.place, one.text)) for one in found.findings],
        pictures=[Picture(png, words)],
        tables=[_floors(found, show), _aside(found, show)],
        signed_on="verify.pdf",
    )  # fmt: skip
    (folder / "verify.html").write_text(page_text(sheet, show), encoding="utf-8", newline="\n")


def verification_answers(found: Verification, display: Display | None = None) -> list[str]:
    """Bias, movement and intervals in a sentence each; in the part's units and English where no display is given.

    Parameters
    ----------
    found : Verification
    display : Display, optional
    """
    show = display_for(found.part.units) if display is None else display
    return [_bias_line(found, show), _movement_line(found, show), _interval_line(found, show)]


def _bias_line(found: Verification, show: Display) -> str:
    say, bias, unit = show.words, found.bias, show.unit
    if not bias.pockets:
        return say("No finished pocket could be compared with a prediction: no common bias is known.")
    value, u = show.pair(bias.value, bias.factor * bias.u)
    line = say(
        "Common bias {value} ± {u} {unit} (95 %, from {n} pockets and {m} readings); pockets scatter by {s} {unit}."
    ).format(value=value, u=u, unit=unit, n=bias.pockets, m=bias.readings, s=show.length(bias.between, more=1))
    if found.offered_bias is None:
        why = say("It is not offered for the pockets that remain: {why}.").format(why=show.sentence(found.withheld))
        return f"{line} {why}"
    offer = say("For the pockets that remain: `correct --bias {bias} --bias-u {u}`. Nothing was applied.")
    already = say("The job had {bias} mm taken off already.").format(bias=show.plain(found.applied_bias, 4, sign=True))
    offered = offer.format(bias=f"{found.offered_bias:.4f}", u=f"{bias.u:.4f}")
    return " ".join([line, offered, *([already] if found.applied_bias else [])])


def _movement_line(found: Verification, show: Display) -> str:
    say, moved = show.words, found.movement
    text = {
        "none": say("No movement of the plate since the first readings is seen (limit {limit} {unit})."),
        "small": say(
            "The plate moved by up to {size} {unit} since the first readings, within the limit of {limit} {unit}."
        ),
        "measure-again": say(
            "Measure again: the plate moved by up to {size} {unit} since the first readings (limit {limit} {unit})."
        ),
        "unclear": say("A movement of up to {size} {unit} cannot be told from the pockets' own scatter. Read more."),
        "unknown": say("Too few finished pockets to tell a movement from a common bias (five are the least)."),
    }[moved.state]
    return text.format(size=show.length(moved.size), limit=show.length(moved.limit), unit=show.unit)


def _interval_line(found: Verification, show: Display) -> str:
    say, held = show.words, found.intervals
    if not held.total:
        return say("No reading could be compared with a predicted interval.")
    low, high = held.limits
    return say(
        "{n} of {m} readings ({share} %, 95 % limits {low} to {high} %) lie in their predicted 95 % interval, {k} "
        "without the bias; {i} of {j} floors lie whole in theirs."
    ).format(
        n=held.inside, m=held.total, share=f"{100 * held.share:.0f}", low=f"{100 * low:.0f}", high=f"{100 * high:.0f}",
        k=held.inside_without_bias, i=held.floors_inside, j=held.floors,
    )  # fmt: skip


def _floors(found: Verification, show: Display) -> CheckTable:
    say = show.words
    head = [say("pocket"), say("verdict"), say("readings"), say("web min"), say("web max"), say("probability")]
    head += [say("bias"), "± (k = 2)", say("interval held"), say("reason")]
    note = say("Over the whole floor, not only at the readings.")
    return CheckTable(say("Floors"), head, [_floor(floor, show) for floor in by_need(found)], note, 1)


def _floor(floor: FloorProof, show: Display) -> CheckRow:
    held = {True: show.words("yes"), False: show.words("no"), None: MISSING}[floor.is_interval_held]
    *cells, reason = floor_cells(floor, show, 3)
    return CheckRow([*cells, held, reason], floor.verdict)


def _aside(found: Verification, show: Display) -> CheckTable:
    say = show.words
    aside = [(line, reason) for line, reason in zip(found.line, found.readings.reason, strict=True) if reason]
    rows = [CheckRow([f"{say('line')} {line}", show.sentence(reason)], "aside") for line, reason in aside]
    note = say("{n} of {m} readings.").format(n=len(rows), m=len(found.x))
    return CheckTable(say("Readings set aside"), [say("line"), say("reason")], rows[:200], note)

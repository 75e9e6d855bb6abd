"""What stands first and last on every page of a run: who the plate is, how it came out, and the next command."""

from __future__ import annotations

import shlex
from collections.abc import Mapping

from floorfit.record import Record
from floorfit.report.format import Display
from floorfit.report.language import marked
from floorfit.report.plan_view import plain_text
from floorfit.result import UNSETTLED, Settings

__all__ = ["IDENTITY", "headline", "identity_shown", "next_steps"]

#: Words for the facts of a plate, by the key of `floorfit.identity`.
IDENTITY = {
    "part_number": marked("part number"), "revision": marked("revision"), "serial": marked("serial number"),
    "side": marked("side"), "clamping": marked("clamping"), "operator": marked("operator"),
    "gauge": marked("gauge number"), "gauge_due": marked("gauge due"), "read_at": marked("read at"),
    "temperature_c": marked("part temperature, °C"), "stands_off": marked("stands off its datum, as stated"),
}  # fmt: skip


def identity_shown(identity: Mapping[str, str], display: Display) -> list[tuple[str, str]]:
    """Return what is known of the plate as (field, text) pairs; empty where nothing is.

    Parameters
    ----------
    identity : mapping of str to str
        Facts by the key of `floorfit.identity`.
    display : Display
        Language of the fields.
    """
    return [(display.words(IDENTITY[key]), plain_text(text)) for key, text in identity.items() if text]


def headline(record: Record, display: Display) -> str:
    """Return how the pockets came out, in one sentence.

    Parameters
    ----------
    record : Record
    display : Display
        Language of the sentence.
    """
    say, found = display.words, record.summary
    parts = [say("{n} of {m} pockets corrected").format(n=found.corrected, m=found.pockets)]
    undecided = sum(d.verdict == "undecided" and d.action != "hold" for d in record.decisions)
    nonconform = sum(d.verdict == "nonconform" and d.action != "hold" for d in record.decisions)
    if found.held:
        parts.append(say("{n} held: do not cut").format(n=found.held))
    if undecided:
        parts.append(say("{n} undecided").format(n=undecided))
    if nonconform:
        parts.append(say("{n} not conforming").format(n=nonconform))
    if len(parts) == 1:
        parts.append(say("all predicted to conform"))
    let_go = float(record.settings.get("systematic", Settings.systematic))
    large = [f"shared-{one.kind}" for one in record.systematic if one.size_mm > let_go]
    codes = dict.fromkeys(one.get("code", "") for one in record.findings)
    if unsettled := [code for code in codes if code in (*UNSETTLED, *large)]:
        parts.append(say("to settle before anything is cut: {codes}").format(codes=", ".join(unsettled)))
    return "; ".join(parts) + "."


def next_steps(record: Record, display: Display, job: str = "JOB", part: str = "PART") -> list[tuple[str, str]]:
    """Return what to do next, each with its command filled in.

    Parameters
    ----------
    record : Record
    display : Display
    job, part : str
        The job folder and the part file.
    """
    say, folder = display.words, shlex.quote(job)
    more = (
        say("Take more readings where they help most:"),
        f"floorfit plan {shlex.quote(part)} --after {folder} -o points.csv",
    )
    cut = say("Correct the finishing programme:"), f"floorfit apply {folder} PROGRAM -o corrected.nc"
    check = say("When the webs are finished:"), f"floorfit verify {folder} FINISHED.csv -o proof"
    doubtful = not all(one.is_sure for one in record.decisions)
    return [more, cut, check] if doubtful else [cut, check]

"""Which plate, read by whom, with what, in which state: short facts that travel with the readings.

A fact is a key and a text. Keys are few and fixed, so that two files can be compared; texts are the shop's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from floorfit.errors import Finding, InputError
from floorfit.units import MM_PER_UNIT

__all__ = [
    "KEYS", "SAME_PIECE", "days_between", "gauge_overdue", "identity_of", "missing_facts", "other_piece",
    "refuse_other_clamping", "refuse_other_piece", "same_fact", "stated_height", "thermal_growth",
]  # fmt: skip

#: The facts that are kept, in the order in which they are shown.
KEYS = (
    "part_number", "revision", "serial", "side", "clamping", "operator", "gauge", "gauge_due", "read_at",
    "temperature_c", "stands_off",
)  # fmt: skip
#: Facts that must agree for two files to be of one piece of metal, seen from one side.
SAME_PIECE = ("part_number", "revision", "serial", "side")
#: Facts of which a file has one; the others may change from row to row.
_ONE_EACH = (*SAME_PIECE, "clamping", "stands_off")
#: A height with its sign and unit: what it means is nobody's guess.
_HEIGHT = re.compile(r"([+-]\s*\d+(?:[.,]\d*)?)\s*(mm|in)")
#: Longest text of a fact, characters.
LONGEST = 256
#: Expansion of aluminium, 1/K: 7050 at 20 to 100 °C 23.5e-6 (maker's data sheet, reference values).
EXPANSION_PER_K = 23.5e-6
#: A plate that grows by more than this between its clamps bows, mm (our choice, no source).
MOST_GROWTH_MM = 0.2


def identity_of(
    comments: Iterable[tuple[int, str]], columns: Mapping[str, Sequence[str]], source: str
) -> dict[str, str]:
    """Gather the facts that a readings file states.

    Parameters
    ----------
    comments : iterable of (int, str)
        Line number and text of each comment line; ``# serial: 0012`` states a fact, other comments are passed over.
    columns : mapping of str to sequence of str
        Columns of text. One that is called as a fact states it; blank cells state nothing. Where operator, gauge or
        time change from row to row, all are kept, joined by ``"; "`` (of times the first and the last).
    source : str
        File name for messages.

    Returns
    -------
    dict of str to str
        In the order of `KEYS`.

    Raises
    ------
    InputError
        If a fact is stated twice and not alike, or is longer than 256 characters.
    """
    stated: dict[str, list[tuple[str, str]]] = {}
    for line, text in comments:
        key, colon, value = text.lstrip("# \t").partition(":")
        if colon and _key(key) in KEYS and value.strip():
            stated.setdefault(_key(key), []).append((f"line {line}", value.strip()))
    for name, cells in columns.items():
        if _key(name) in KEYS:
            found = dict.fromkeys(cell.strip() for cell in cells if cell.strip())
            stated.setdefault(_key(name), []).extend((f"column {name}", value) for value in found)
    faults = [fault for key, values in stated.items() for fault in _faults(key, values, source)]
    if faults:
        raise InputError(faults)
    return {key: _joined(key, [value for _, value in stated[key]]) for key in KEYS if key in stated}


def _key(text: str) -> str:
    return text.strip().lower().replace(" ", "_").replace("-", "_")


def _faults(key: str, values: Sequence[tuple[str, str]], source: str) -> list[Finding]:
    long = [place for place, value in values if len(value) > LONGEST]
    if long:
        text = f"the {key} is longer than {LONGEST} characters. Shorten it."
        return [Finding("long-fact", source, long[0], text)]
    odd = [(place, value) for place, value in values if key == "temperature_c" and not _degrees(value)]
    if odd:
        text = f'"{odd[0][1][:60]}" came, degrees Celsius from -50 to 150 were expected, as in 21.5. Correct it.'
        return [Finding("bad-temperature", source, odd[0][0], text)]
    unread = [(place, value) for place, value in values if key == "stands_off" and not _HEIGHT.fullmatch(value)]
    if unread:
        return [_bad_height(source, *unread[0])]
    different = {_folded(value): (place, value) for place, value in values}
    if key not in _ONE_EACH or len(different) < 2:
        return []
    (_, first), (place, second) = list(different.values())[:2]
    text = f'the {key} is "{first[:60]}" and also "{second[:60]}". Give a file for each.'
    return [Finding("two-identities", source, place, text)]


def _joined(key: str, values: Sequence[str]) -> str:
    unique = list(dict.fromkeys(values))
    if key in _ONE_EACH or len(unique) == 1:
        return unique[0]
    if key == "read_at":
        return f"{min(unique)}; {max(unique)}"
    if key == "temperature_c":
        known = [one for value in unique for one in _degrees(value)]
        return f"{min(known):g}; {max(known):g}"
    return "; ".join(unique)[:LONGEST]


def stated_height(identity: Mapping[str, str], source: str) -> float | None:
    """Height by which the whole plate is stated to stand off its datum, mm, plus where it stands higher; or None.

    Parameters
    ----------
    identity : mapping of str to str
        ``stands_off`` as a number with its sign and unit.
    source : str
        File name for messages.

    Raises
    ------
    InputError
        If the text has no sign or no unit.

    Examples
    --------
    >>> stated_height({"stands_off": "-0,5 mm"}, "readings.csv")
    -0.5
    """
    text = identity.get("stands_off", "").strip()
    if not text:
        return None
    if (found := _HEIGHT.fullmatch(text)) is None:
        raise InputError([_bad_height(source, "stands_off", text)])
    number = found[1].replace(",", ".").replace(" ", "")
    return float(number) * (MM_PER_UNIT["in"] if found[2] == "in" else 1.0)


def _bad_height(source: str, place: str, value: str) -> Finding:
    text = (
        f'"{value[:60]}" came, a height with its sign and unit was expected, as in +0.48 mm (plus: the plate stands '
        "higher than its datum says). Correct it."
    )
    return Finding("bad-height", source, place, text)


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


def missing_facts(identity: Mapping[str, str], required: Iterable[str], source: str) -> list[Finding]:
    """Errors for the facts that a shop requires and a file does not state.

    Parameters
    ----------
    identity : mapping of str to str
    required : iterable of str
        Keys; one that floorfit does not know is an error as well.
    source : str
        File name for messages.
    """
    out = []
    for key in required:
        if key not in KEYS:
            text = f'"{key[:60]}" is no fact that can be required; these can: {", ".join(KEYS)}.'
            out.append(Finding("unknown-fact", "--require", "", text))
        elif not identity.get(key, "").strip():
            text = f'no {key} is stated, and it is required. Add a line "# {key}: …", a column {key}, or --fact.'
            out.append(Finding("missing-fact", source, "", text))
    return out


def other_piece(first: Mapping[str, str], second: Mapping[str, str]) -> list[str]:
    """Keys of `SAME_PIECE` that both state and that differ; case and spaces do not count.

    Parameters
    ----------
    first, second : mapping of str to str
        Facts by key.

    Examples
    --------
    >>> other_piece({"serial": "0012", "side": "A"}, {"serial": "0013", "side": "a"})
    ['serial']
    """
    return [key for key in SAME_PIECE if not same_fact(first.get(key, ""), second.get(key, ""))]


def same_fact(first: str, second: str) -> bool:
    """Whether two texts of a fact may be one: alike but for case and spaces, or one is blank.

    Parameters
    ----------
    first, second : str
    """
    return not first or not second or _folded(first) == _folded(second)


def days_between(first: str, second: str) -> int | None:
    """Days from one date to the last of another fact's; None where one is no date.

    Parameters
    ----------
    first, second : str
        ISO 8601 dates; several joined by ``"; "``.

    Examples
    --------
    >>> days_between("2031-03-01", "2031-05-17; 2031-05-18")
    78
    """
    start, end = ([day for part in text.split(";") if (day := _day(part))] for text in (first, second))
    return (max(end) - max(start)).days if start and end else None


def refuse_other_piece(job: Mapping[str, str], other: Mapping[str, str], source: str) -> list[Finding]:
    """Refuse what belongs to another piece than a job; return warnings where that cannot be told.

    Parameters
    ----------
    job : mapping of str to str
        Facts of the job, from its record.
    other : mapping of str to str
        Facts of a programme, of readings, of another job.
    source : str
        Name of the other for messages.

    Returns
    -------
    list of Finding
        A warning for each of part number, serial and side that the job states and the other does not.

    Raises
    ------
    InputError
        If part number, revision, serial or side differ, each named.
    """
    texts = [
        f'{key} "{other[key][:60]}" came, the job is of "{job[key][:60]}". Give what belongs to the job.'
        for key in other_piece(job, other)
    ]
    if texts:
        raise InputError([Finding("other-piece", source, "", text) for text in texts])
    silent = [key for key in ("part_number", "serial", "side") if key in job and key not in other]
    texts = [f'states no {key}; the job is of "{job[key][:60]}". Check it.' for key in silent]
    return [Finding("piece-not-stated", source, "", text, "warning") for text in texts]


def refuse_other_clamping(job: Mapping[str, str], other: Mapping[str, str], source: str) -> None:
    """Refuse to cut in another clamping than the one in which the webs were read.

    Parameters
    ----------
    job, other : mapping of str to str
        Facts of the job, and of what is to be cut.
    source : str
        Name of the other for messages.

    Raises
    ------
    InputError
        If both state a clamping and they differ: the plate lets go of stress whenever it is unclamped.
    """
    if "clamping" in job and "clamping" in other and _folded(job["clamping"]) != _folded(other["clamping"]):
        text = (
            f'the clamping is "{other["clamping"][:60]}", the webs were read in "{job["clamping"][:60]}": the plate '
            "may have moved since. Read the webs again as it is clamped now, and run `correct` anew; or show by "
            "--datums (four points or more, measured in both clampings) that it kept its shape."
        )
        raise InputError([Finding("other-clamping", source, "", text)])


def thermal_growth(job: Mapping[str, str], other: Mapping[str, str], length_mm: float, source: str) -> list[Finding]:
    """Warn where a part is cut at another temperature than that at which its webs were read, or that is not stated.

    Parameters
    ----------
    job, other : mapping of str to str
        Facts of the job, and of what is to be cut; ``temperature_c`` is one number, or lowest and highest.
    length_mm : float, mm
        Greatest length of the part.
    source : str
        Name of the other for messages.

    Returns
    -------
    list of Finding
        Empty where the job states no temperature.

    Examples
    --------
    >>> [one.code for one in thermal_growth({"temperature_c": "21"}, {"temperature_c": "26"}, 8000.0, "finish.nc")]
    ['other-temperature']
    """
    read, cut = _degrees(job.get("temperature_c", "")), _degrees(other.get("temperature_c", ""))
    if not read:
        return []
    if not cut:
        text = (
            f"states no temperature; the webs were read at {job['temperature_c']} °C. Cut at the same, and say it with "
            "--fact temperature_c=…"
        )
        return [Finding("temperature-not-stated", source, "", text, "warning")]
    change = max((a - b for a in cut for b in read), key=abs)
    growth = EXPANSION_PER_K * length_mm * change
    if abs(growth) <= MOST_GROWTH_MM:
        return []
    text = (
        f"the part is cut at {other['temperature_c']} °C and was read at {job['temperature_c']} °C: over its "
        f"{length_mm / 1000:.1f} m it changes by {growth:+.2f} mm, and between clamps it bows. Let it come to the "
        "temperature of the readings, or read again."
    )
    return [Finding("other-temperature", source, "", text, "warning")]


def _degrees(text: str) -> list[float]:
    """Numbers of a temperature fact; empty where it has none, or one that no shop has."""
    try:
        found = [float(one.replace(",", ".")) for one in text.split(";")]
    except ValueError:
        return []
    return found if all(-50.0 <= one <= 150.0 for one in found) else []


def gauge_overdue(identity: Mapping[str, str], source: str) -> list[Finding]:
    """Warn where readings were taken after the gauge's calibration was due, or where that cannot be told.

    Parameters
    ----------
    identity : mapping of str to str
        ``gauge_due`` and ``read_at`` as ISO 8601 dates (a time may follow).
    source : str
        File name for messages.
    """
    if "gauge_due" not in identity:
        return []
    days = [[_day(part) for part in identity.get(key, "").split(";")] for key in ("gauge_due", "read_at")]
    if None in days[0] or None in days[1]:
        text = "cannot be told: state gauge_due and read_at as dates, year first, as in 2031-05-17."
        return [Finding("gauge-due", source, "", f"whether the gauge was in calibration {text}", "warning")]
    due, last = min(day for day in days[0] if day), max(day for day in days[1] if day)
    if last <= due:
        return []
    text = f"the gauge's calibration was due on {due}, readings were taken on {last}. Calibrate it and read again."
    return [Finding("gauge-overdue", source, "", text, "warning")]


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip()[:10])
    except ValueError:
        return None

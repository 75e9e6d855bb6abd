"""Labels of readings brought to the ids of the part: by a map, by spelling, by where the readings lie.

A label that is no id is read without regard to case and leading zeros (``a1``, ``A01``), where that is unique. Where
labels and places still disagree for most readings, but each label stands for one floor and the floors' places agree,
the labels follow another numbering, and the places are used. Whatever is done is said.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from floorfit.arrays import Flags, Rows, read_only
from floorfit.errors import Finding, InputError
from floorfit.part.assign import assign_floors
from floorfit.part.model import Part
from floorfit.readings.columns import Layout
from floorfit.readings.observations import Readings
from floorfit.readings.table_file import read_table

__all__ = ["match_labels", "read_ids"]

#: Share of the labelled readings whose label and place must disagree before the places are asked, and the share of
#: them that one floor for each label must bring right (our choice, no source).
DISAGREE, AGREE = 0.5, 0.8
#: Readings of a label that no pocket bears from which its place is believed (our choice, no source).
FEWEST = 3


def read_ids(path: str | os.PathLike[str]) -> dict[str, str]:
    """Read a map of ids: CSV with the columns ``label`` and ``pocket``.

    Parameters
    ----------
    path : path

    Returns
    -------
    dict of str to str
        Label as in the readings, id as in the part.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or gives a label twice.
    """
    sheet = read_table(path, Layout({}, (), example="label,pocket"))
    texts = {name.strip().lower(): cells for name, cells in sheet.texts.items()}
    name = Path(path).name
    for column in ("label", "pocket"):
        if column not in texts:
            text = f"the column {column} is missing, label and pocket were expected. Add it."
            raise InputError([Finding("missing-column", name, "line 1", text)])
    out: dict[str, str] = {}
    for line, label, pocket in zip(sheet.line, texts["label"], texts["pocket"], strict=True):
        if label.strip() in out:
            text = f'the label "{label.strip()[:60]}" is there twice. Keep one.'
            raise InputError([Finding("doubled-label", name, f"line {int(line)}", text)])
        out[label.strip()] = pocket.strip()
    return out


def match_labels(
    part: Part, readings: Readings, table: Mapping[str, str] | None = None, floor: Rows | None = None
) -> tuple[Readings, tuple[Finding, ...]]:
    """Bring the labels of readings to the ids of the part.

    Parameters
    ----------
    part : Part
    readings : Readings
        In the part frame.
    table : mapping of str to str, optional
        From `read_ids`; it comes before all else.
    floor : (n,) ndarray of int, optional
        Of each reading, where that is known already: `assign_floors`.

    Returns
    -------
    readings : Readings
        With ids in place of labels that were understood; the others as they came.
    findings : tuple of Finding
        A warning for each thing that was done.

    Raises
    ------
    InputError
        If the map names a pocket that the part does not have.
    """
    ids = {pocket.id.strip(): pocket.id for pocket in part.pockets}
    names, label = np.unique(readings.pocket, return_inverse=True)
    label = label.reshape(-1)
    labels = {name: name.strip() for name in names.tolist()}
    findings: list[Finding] = []
    if table:
        _check_table(table, ids)
        labels = {label: table.get(stripped, stripped) for label, stripped in labels.items()}
    spelt = _by_spelling(labels, ids)
    if spelt:
        shown = ", ".join(f'"{label}" → {ids[found]}' for label, found in list(spelt.items())[:3])
        text = f"{len(spelt)} labels were read without regard to case and leading zeros: {shown}."
        findings.append(Finding("labels-respelt", readings.source, "column pocket", text, "warning"))
        labels = {label: spelt.get(label, found) for label, found in labels.items()}
    floor = assign_floors(part, readings.x, readings.y) if floor is None else floor
    by_place, words = _by_place(part, readings, list(labels.values()), label, list(ids), floor)
    labels |= {names[k].item(): found for k, found in by_place.items()}
    if all(name == found for name, found in labels.items()):
        return readings, (*findings, *words)
    renamed = np.array(list(labels.values()), dtype=np.str_)[label]
    read_only(renamed)
    return replace(readings, pocket=renamed), (*findings, *words)


def _check_table(table: Mapping[str, str], ids: Mapping[str, str]) -> None:
    unknown = [pocket for pocket in table.values() if pocket not in ids]
    if unknown:
        text = f'the part has no pocket "{unknown[0][:60]}". Correct the map; the part has {", ".join(list(ids)[:6])}.'
        raise InputError([Finding("unknown-pocket", "--map", "", text)])


def plain(label: str) -> str:
    """A label without case, blanks and leading zeros of its numbers."""
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", re.sub(r"\s+", "", label)).casefold()


def _by_spelling(labels: Mapping[str, str], ids: Mapping[str, str]) -> dict[str, str]:
    """Ids of the labels that are none but are spelt like exactly one."""
    spellings: dict[str, list[str]] = {}
    for name in ids:
        spellings.setdefault(plain(name), []).append(name)
    out = {}
    for label, found in labels.items():
        like = spellings.get(plain(found), [])
        if found and found not in ids and len(like) == 1:
            out[label] = like[0]
    return out


def _by_place(
    part: Part, readings: Readings, labels: list[str], label: Rows, ids: list[str], floor: Rows
) -> tuple[dict[int, str], list[Finding]]:
    """Ids by place of labels, by their number, that follow another numbering, and what to say of it."""
    order = {name: index for index, name in enumerate(ids)}
    said = np.array([order.get(name, -1) for name in labels], np.intp)[label]
    is_labelled = np.array([bool(name) for name in labels], bool)[label]
    count = int(is_labelled.sum())
    if count < FEWEST:
        return {}, []
    home = _one_floor_each(label, floor, is_labelled)
    if (said != floor)[is_labelled].mean() < DISAGREE:
        return _strangers(readings, label, said, floor, {one: (k, ids[k]) for one, k in home.items()})
    agree = sum(int(((floor == k) & (label == one)).sum()) for one, k in home.items())
    if agree < AGREE * count:
        return {}, []
    turn = _turned(part, readings, said, is_labelled)
    if turn:
        text = (
            f"most labels name other floors than the places lie on, and they agree when the plate is {turn}: it may "
            "lie the other way round. Nothing was changed; check the set-up, give --datums, or --map if it is so."
        )
        return {}, [Finding("turned", readings.source, "", text, "warning")]
    text = (
        f"{int((said != floor)[is_labelled].sum())} of {count} labels follow another numbering than the part; each "
        "label stands for one floor, so the places were used. Check one pocket, or give --map."
    )
    found = [Finding("labels-by-place", readings.source, "column pocket", text, "warning")]
    return {one: ids[k] for one, k in home.items()}, found


def _strangers(
    readings: Readings, label: Rows, said: Rows, floor: Rows, home: Mapping[int, tuple[int, str]]
) -> tuple[dict[int, str], list[Finding]]:
    """Ids by place of labels that are none, as a spreadsheet makes ``1000`` of ``1E3``; what others say is kept."""
    found, names = {}, []
    for one, (k, pocket) in home.items():
        at = floor[label == one]
        if said[label == one][0] < 0 and len(at) >= FEWEST and (at == k).mean() >= AGREE:
            found[one] = pocket
            names.append(readings.pocket[label == one][0].item())
    if not found:
        return {}, []
    shown = ", ".join(f'"{name[:40]}" → {pocket}' for name, pocket in zip(names[:3], found.values(), strict=False))
    text = (
        f"{len(found)} labels name no pocket of the part ({shown}), and each stands for one floor that no other label "
        "names, so the places were used. Check one pocket, or give --map."
    )
    return found, [Finding("labels-by-place", readings.source, "column pocket", text, "warning")]


def _one_floor_each(label: Rows, floor: Rows, is_labelled: Flags) -> dict[int, int]:
    """The floor on which most readings of each label lie, where no other label claims it as well."""
    home = {}
    for one in np.unique(label[is_labelled]).tolist():
        floors, counts = np.unique(floor[(label == one) & (floor >= 0)], return_counts=True)
        if len(floors):
            home[one] = int(floors[counts.argmax()])
    claims = list(home.values())
    return {one: k for one, k in home.items() if claims.count(k) == 1}


def _turned(part: Part, readings: Readings, said: Rows, is_labelled: Flags) -> str:
    """How the plate would have to lie for the labels to be right; ``""`` where no way brings them right."""
    x0, y0, x1, y1 = part.bounds
    (x, y), (back, down) = (readings.x, readings.y), (x0 + x1 - readings.x, y0 + y1 - readings.y)
    ways = {"turned half round": (back, down), "turned over along X": (x, down), "turned over along Y": (back, y)}
    rows = is_labelled & (said >= 0)
    for words, at in ways.items():
        floor = assign_floors(part, *at)
        if rows.any() and (floor == said)[rows].mean() >= AGREE:
            return words
    return ""

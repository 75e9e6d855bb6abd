"""The proof: faults put into what was written are all caught."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from cl_cases import whole, zigzag
from nc_cases import PART, corrections, follow

from floorfit.errors import InputError
from floorfit.nc.cl import apply_to_locations
from floorfit.nc.cl import cl_programme as programme

TEXT = whole(
    zigzag("A", 16.0, 3.0, lean=3, heading=0.5),
    ["COOLNT/ON"],
    zigzag("B", 16.0),
    ["RAPID", "GOTO/120,80,30,0,0,1", "GOTO/120,80,20,0,0,1", "CIRCLE/130,80,20,0,0,1,10", "GOTO/140,80,20,0,0,1"],
)


def nth(pattern: str, new, count: int = 8):
    """Change the n-th line that fits, and only that."""

    def fault(lines):
        fits = [index for index, line in enumerate(lines) if re.match(pattern, line)]
        index = fits[min(count, len(fits) - 1)]
        made = new(lines[index])
        lines[index : index + 1] = made if isinstance(made, list) else [made]

    return fault


def number(place: int, change):
    def new(line):
        head, _, tail = line.partition("/")
        parts = tail.rstrip().split(",")
        parts[place] = f"{change(float(parts[place])):.6f}"
        return f"{head}/{','.join(parts)}\n"

    return new


def swap(lines):
    fits = [index for index, line in enumerate(lines) if line.startswith("GOTO")]
    a, b = fits[8], fits[9]
    lines[a], lines[b] = lines[b], lines[a]


def _lose_axis(lines):
    """The first point after the second tool's words, where the axis becomes another one."""
    index = lines.index("COOLNT/ON\n") + 3
    lines[index] = ",".join(lines[index].split(",")[:3]) + "\n"


FAULTS = {
    "a point 0.03 too low": nth("GOTO", number(2, lambda z: z - 0.03)),
    "a point 0.3 too low": nth("GOTO", number(2, lambda z: z - 0.3)),
    "every point too low": lambda lines: [nth("GOTO", number(2, lambda z: z - 0.05), k)(lines) for k in range(30)],
    "sign turned": lambda lines: [nth("GOTO", number(2, lambda z: 2 * 2.65 - z), k)(lines) for k in range(2, 12)],
    "another X": nth("GOTO", number(0, lambda x: x + 0.02), 99),
    "another Y": nth("GOTO", number(1, lambda y: y - 0.02)),
    "X and Y changed over": nth("GOTO", lambda line: re.sub(r"/([^,]*),([^,]*),", r"/\2,\1,", line)),
    "another axis": nth("GOTO", number(3, lambda i: i + 0.001)),
    "axis lost": lambda lines: _lose_axis(lines),
    "a point lost": nth("GOTO", lambda line: []),
    "a point twice, elsewhere": nth("GOTO", lambda line: [number(0, lambda x: x + 1)(line), line]),
    "two points changed over": swap,
    "RAPID lost": nth("RAPID", lambda line: [], 1),
    "RAPID added": nth("GOTO", lambda line: ["RAPID\n", line]),
    "another feed": nth("FEDRAT", lambda line: "FEDRAT/2000,MMPM\n"),
    "another unit": nth("UNITS", lambda line: "UNITS/INCHES\n"),
    "another cutter": nth("CUTTER", lambda line: "CUTTER/12.0,3.0\n", 0),
    "another tool": nth("LOADTL", lambda line: "LOADTL/2\n"),
    "MULTAX off": nth("MULTAX", lambda line: "MULTAX/OFF\n"),
    "a word lost": nth("COOLNT", lambda line: []),
    "a word moved": lambda lines: lines.insert(20, lines.pop(lines.index("COOLNT/ON\n"))),
    "a word added": nth("COOLNT", lambda line: [line, "STOP\n"]),
    "a comment for a point": nth("GOTO", lambda line: "$$ " + line),
    "a line that goes on": nth("COOLNT", lambda line: "COOLNT/ON,$\n"),
    "FINI too early": nth("COOLNT", lambda line: ["FINI\n", line]),
    "another circle": nth("CIRCLE", number(0, lambda x: x + 1)),
    "circle the other way": nth("CIRCLE", number(5, lambda k: -k)),
    "circle lost": nth("CIRCLE", lambda line: []),
    "lowered beside the floors": nth("GOTO/120", number(2, lambda z: z - 0.1), 1),
    "a frame": nth("COOLNT", lambda line: [line, "TRANS/0,0,-0.5\n"]),
}


GIVEN = {"shift": corrections(A=0.2, B=-0.2), "follow": corrections(A=follow("A", 0.2), B=0.1)}


@pytest.mark.parametrize("action", GIVEN)
@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_what_is_written_is_caught(monkeypatch, name, action):
    whole_run = programme._LocationRun._assemble

    def broken(self, written):
        lines, origin = whole_run(self, written)
        head = int((origin < 0).sum())
        new = lines[head + 1 :]
        FAULTS[name](new)
        came = _origins(lines[head + 1 :], origin[head + 1 :], new)
        return [*lines[: head + 1], *new], np.concatenate([origin[: head + 1], came])

    monkeypatch.setattr(programme._LocationRun, "_assemble", broken)
    with pytest.raises(InputError, match="proof failed"):
        apply_to_locations(PART, GIVEN[action], TEXT.encode())


def _origins(old, origin, new):
    """The line each line came from: the writer's own word, with a line put in or taken out."""
    import difflib

    came = np.zeros(len(new), dtype=int)
    for tag, a, b, c, d in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        for place in range(c, d):
            came[place] = origin[
                min(a + (place - c if tag == "equal" else min(place - c, max(b - a - 1, 0))), len(origin) - 1)
            ]
    return came


def test_what_is_right_passes():
    for given in GIVEN.values():
        assert apply_to_locations(PART, given, TEXT.encode()).motions


@pytest.mark.parametrize("field", ["tip", "axis"])
def test_a_place_that_the_first_reader_alone_sees_is_caught(monkeypatch, field):
    """One point is read 0.01 mm beside, or with its axis turned by as much, and all that follows agrees with it."""
    read = programme.read_locations

    def misread(*args, **stated):
        found = read(*args, **stated)
        wrong = getattr(found, field).copy()
        wrong[5] += [0.01, 0.0, 0.0]
        return replace(found, **{field: wrong})

    monkeypatch.setattr(programme, "read_locations", misread)
    with pytest.raises(InputError, match="two readers see the tool at different places"):
        apply_to_locations(PART, corrections(A=-0.2), TEXT.encode())

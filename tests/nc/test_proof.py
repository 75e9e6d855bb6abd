"""The proof: seeded faults in the rewriter and in what it writes are all caught."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from nc_cases import PART, corrections, follow, pocket, tilt

from floorfit.errors import InputError
from floorfit.nc import programme
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.swept_floors import Cuts
from floorfit.nc.tools import Tools

TOOLS = Tools({1: Cutter(8.0), 2: Cutter(5.0, 5.0)})
TEXT = """%
O1
G21 G90 G17 G94 G40
T1 M6
G0 G43 H1 X-20. Y20. Z30.
G1 Z2. F200.
X60.
G2 X70. Y30. I0. J10.
G1 X70. Y45.
X20. S900
G0 Z30.
T2 M6
G0 G43 H2 X120. Y20. Z30.
G1 X130. Y20. Z2. F150.
X180. A0.
G3 X190. Y30. R10. (round)
G1 Y40.
G0 Z30.
X150. Y100.
M30
%
"""
GIVEN = {
    "shift": corrections(A=-0.2, B=0.3),
    "follow": corrections(A=follow("A", 0.3), B=tilt("B", 0.2, 0.001, -0.0005)),
}


def text(pattern: str, new: str, count: int = 0):
    """Change the n-th line that fits (counted from behind where negative)."""

    def fault(lines):
        fits = [index for index, line in enumerate(lines) if re.search(pattern, line)]
        index = fits[min(count, len(fits) - 1)]
        changed = re.sub(pattern, new, lines[index], count=1)
        assert changed != lines[index], lines[index]
        lines[index] = changed

    return fault


def z_by(change: float, pattern: str = r"^(?!G0).*Z", count: int = 0):
    def fault(lines):
        fits = [index for index, line in enumerate(lines) if re.search(pattern, line)]
        index = fits[min(count, len(fits) - 1)]
        lines[index] = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) + change:.3f}", lines[index], count=1)

    return fault


def drop(pattern: str, count: int = 0):
    def fault(lines):
        fits = [index for index, line in enumerate(lines) if re.search(pattern, line)]
        lines[fits[min(count, len(fits) - 1)]] = ""

    return fault


def swap(lines):
    fits = [index for index, line in enumerate(lines) if line.startswith(("X60", "G2", "X70", "G1 X70"))]
    lines[fits[0]], lines[fits[-1]] = lines[fits[-1]], lines[fits[0]]


WRITTEN = {
    "a Z 0.03 too low": z_by(-0.03),
    "a Z 0.3 too low": z_by(-0.3),
    "a Z too high": z_by(0.05),
    "a later Z too low": z_by(-0.03, count=3),
    "the last Z of a floor too low": z_by(-0.03, count=-1),
    "a retract lowered": z_by(-1.0, r"^G0 Z"),
    "an approach lowered": z_by(-28.0, r"^G0 .*X"),
    "another X": text(r"X180\.", "X180.01"),
    "another Y": text(r"Y45\.", "Y45.02"),
    "X and Y changed over": text(r"X150\. Y100\.", "Y150. X100."),
    "another feed": text(r"F200\.", "F201."),
    "a feed lost": text(r" ?F150\.", ""),
    "another speed": text("S900", "S901"),
    "another tool": text("T1 M6", "T2 M6"),
    "another length offset": text("H2", "H1"),
    "a rapid for a cut": text("^G1 Z", "G0 Z"),
    "a cut for a rapid": text("^G0 Z30", "G1 Z30"),
    "an arc the other way": text("^G2", "G3"),
    "another centre": text(r"J10\.", "J10.5"),
    "another radius": text(r"R10\.", "R12."),
    "the long way round": text(r"R10\.", "R-10."),
    "a block lost": drop(r"Y45"),
    "the last retract lost": drop("^G0 Z30", -1),
    "a block more": text("^M30", "G0 X0.\nM30"),
    "two blocks changed over": swap,
    "another unit": text("G21", "G20"),
    "increments": text("G90", "G91"),
    "another plane": text("G17", "G18"),
    "compensation": text("G40", "G41"),
    "a rotary word": text(r"A0\.", "A5."),
    "a comment for a block": text(r"^(G1 Y40.*)", r"(\1)"),
    "an optional block": text(r"^(G1 Y40)", r"/\1"),
    "two Z in a block": text(r"^(G1 .*Z[\d.]+)", r"\1 Z9."),
    "another comment": text("round", "other"),
    "a work offset": text("^T2 M6", "G55 T2 M6"),
    "the end too early": text("^T2 M6", "M30"),
    "a turned frame": text("^T2 M6", "G68 R1. T2 M6"),
    "a moved zero": text("^T2 M6", "G92 Z0. T2 M6"),
}


@pytest.mark.parametrize("action", GIVEN)
@pytest.mark.parametrize("name", WRITTEN)
def test_a_fault_in_what_is_written_is_caught(monkeypatch, name, action):
    assemble = programme._Run._assemble

    def broken(self, *args):
        lines, origin = assemble(self, *args)
        body = [line for line, came in zip(lines, origin, strict=True) if came >= 0]
        WRITTEN[name](body)
        new = iter(body)
        return [next(new) if came >= 0 else line for line, came in zip(lines, origin, strict=True)], origin

    monkeypatch.setattr(programme._Run, "_assemble", broken)
    with pytest.raises(InputError, match="proof failed"):
        apply_offsets(PART, GIVEN[action], TEXT.encode(), tools=TOOLS)


def planned(change):
    """The rule says something else than it should, and the writer does what it says."""

    def patch(monkeypatch):
        make = programme.make_plan

        def wrong(motions, path, floors, *args, **more):
            gains = make(motions, path, floors, *args, **more)
            change(gains, motions)
            return gains

        monkeypatch.setattr(programme, "make_plan", wrong)

    return patch


def seen(change):
    """The first reader understands something else than what stands there."""

    def patch(monkeypatch):
        read = programme.read_motions

        def wrong(*args, **more):
            motions = read(*args, **more)
            xyz = motions.xyz.copy()
            change(xyz)
            return dataclasses.replace(motions, xyz=xyz)

        monkeypatch.setattr(programme, "read_motions", wrong)

    return patch


def path_of(change):
    def patch(monkeypatch):
        make = programme.tip_path

        def wrong(*args, **more):
            return change(make(*args, **more))

        monkeypatch.setattr(programme, "tip_path", wrong)

    return patch


def _set(column, rows, value):
    def change(xyz):
        xyz[rows, column] += value

    return change


def _half(gains, _):
    gains.node *= 0.5


def _turned(gains, _):
    gains.node *= -1
    for some in gains.breaks.values():
        some[:] = [(share, -gain) for share, gain in some]


def _lower(gains, _):
    gains.node[gains.node != 0] -= 0.05


def _late(gains, _):
    gains.node[1:] = gains.node[:-1].copy()


def _everywhere(gains, motions):
    gains.node[~np.isnan(motions.xyz[:, 2])] -= 0.1


IN_THE_RULE = {
    "half of every offset": planned(_half),
    "the sign turned": planned(_turned),
    "0.05 too low": planned(_lower),
    "one motion late": planned(_late),
    "all motion lowered": planned(_everywhere),
    "a reader that misses X": seen(_set(0, slice(2, 9), 30.0)),
    "a reader that misses Z": seen(_set(2, slice(2, 5), 0.1)),
    "cutters taken for points": path_of(lambda path: dataclasses.replace(path, cutters=[Cutter(0.0)] * 2)),
    "the floors of a mirrored part": path_of(
        lambda path: dataclasses.replace(path, start=path.start * [1, -1, 1], end=path.end * [1, -1, 1])
    ),
}


@pytest.mark.parametrize("name", IN_THE_RULE)
def test_a_fault_in_the_rewriter_is_caught(monkeypatch, name):
    IN_THE_RULE[name](monkeypatch)
    monkeypatch.setattr(programme, "check_fit", lambda *args, **_: [])
    monkeypatch.setattr(programme, "check_tools", lambda *args, **more: [])
    monkeypatch.setattr(programme, "check_plan", lambda *args, **more: [])
    # The pass that begins outside reaches the raised floor with the side of its cutter before its middle.
    given = corrections(A=0.3, B=tilt("B", 0.2, 0.004, 0.0))
    with pytest.raises(InputError, match="proof failed"):
        apply_offsets(PART, given, TEXT.encode(), tools=TOOLS)


def test_there_are_forty_faults():
    assert len(WRITTEN) + len(IN_THE_RULE) >= 40


@pytest.mark.parametrize("action", GIVEN)
def test_what_is_right_passes(action):
    done = apply_offsets(PART, GIVEN[action], TEXT.encode(), tools=TOOLS)
    assert {one.pocket for one in done.floors} >= {"A", "B"}
    assert max(one.deep_mm for one in done.floors) <= 0.02


def test_a_floor_that_is_off_where_optional_blocks_run_is_told():
    """The control runs blocks behind ``/`` or not (NISTIR 6556, 3.3): 0.04 mm deep in one of the two counts."""
    whole = "G0 X8 Y8 Z30\nG1 Z2. F200\n" + "".join(f"Y{y}\nX92\nX8\n" for y in (8, 22, 36, 52)) + "G0 Z30\n"
    low = "".join(f"/{line}\n" for line in whole.replace("Z2.", "Z1.96").splitlines())
    head = "G21 G90 G17 G94 G40\nT1 M6\n"
    done = apply_offsets(PART, corrections(A=0.1), (head + whole + low + whole).encode(), tools=TOOLS)
    assert "floor-off" in {one.code for one in done.findings}
    assert not done.is_complete


def test_short_pieces_of_a_wide_arc_are_on_it_though_their_centres_scatter():
    """By Pythagoras a centre stands √(R² - c²/4) off a chord c, square to it: ends rounded move it by R / c of that."""
    wide = TEXT.replace("X180. A0.\nG3 X190. Y30. R10. (round)\n", "G3 X180. R1000.\n")
    done = apply_offsets(PART, corrections(B=follow("B", 0.3)), wide.encode(), tools=TOOLS)
    ends = np.array(re.findall(rb"X([\d.]+) Y([\d.]+) Z[\d.]+ R1000", done.data), float)
    assert len(ends) > 5
    middle = np.array([155.0, 20 + np.sqrt(1000.0**2 - 25.0**2)])
    assert np.abs(np.hypot(*(ends - middle).T) - 1000).max() < 0.001


def test_a_ball_is_as_low_over_a_place_as_on_the_nearest_place_of_its_way():
    """A sphere of radius r at a distance d stands r - sqrt(r^2 - d^2) over its lowest place; the way ends at X 10."""
    up = np.array([[0.0, 0.0, 1.0]])
    way = Cuts(np.array([[0.0, 0.0, 5.0]]), np.array([[10.0, 0.0, 5.0]]), up, up, np.array([[3.0, 3.0]]))
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(0.5, 12.0, 93), np.linspace(-2.5, 2.5, 11)))
    away = np.hypot(np.maximum(x - 10.0, 0.0), y)
    expected = np.where(away < 2.99, 8.0 - np.sqrt(np.maximum(9.0 - away**2, 0.0)), np.nan)
    found = way.at_places(pocket("A", 0, -10, 20, 10, z=5.0), 9.0, np.column_stack([x, y]))
    near = ~np.isnan(expected)
    assert found[near] == pytest.approx(expected[near], abs=1e-6)

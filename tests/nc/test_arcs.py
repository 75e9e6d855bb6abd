"""Arcs in G18 and G19: they dip under the line between their ends, and what dips is lifted; swept by brute force.

NISTIR 6556, 3.5.3: G18 is the ZX plane, centre by K and I; G19 the YZ plane, centre by J and K; G3 is anticlockwise as
seen against the third axis. A chord of an arc of 101 mm over 40 mm hangs 101 - sqrt(101^2 - 20^2) = 2.0 mm through.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from nc_cases import PART, apply, corrections, follow, hold, tilt
from nc_sweep import motions, samples, too_deep

from floorfit.errors import InputError
from floorfit.nc.arcs import PLANE_AXES, StandingArcs, chord_shares
from floorfit.nc.cutter import Cutter
from floorfit.nc.tools import Tools

HEAD = "G21 G90 G17 G40 G94\nT1 M6\nG0 X10 Y10 Z20\nG1 Z2. F200\nX50.\nG0 Z20\n"
#: A floor cut too deep by more than this is damage, mm (as in the other tests of damage).
DEEP_MM = 0.02

#: All touch the floor at Z 2 in the middle, from 2 mm above it; X and Z, or Y and Z.
DIPS = {
    "by radius": "G0 X20 Y40\nG1 Z4. F200\nG18 G2 X60 Z4. R101.\nG17 G0 Z20\n",
    "by centre": "G0 X20 Y40\nG1 Z4. F200\nG18 G2 X60 Z4. I20. K99.\nG17 G0 Z20\n",
    "by an absolute centre": "G90.1\nG0 X20 Y40\nG1 Z4. F200\nG18 G2 X60 Z4. I40. K103.\nG17 G0 Z20\n",
    "along Y": "G0 X40 Y10\nG1 Z4. F200\nG19 G3 Y50 Z4. R101.\nG17 G0 Z20\n",
    "in increments": "G0 X20 Y40\nG1 Z4. F200\nG91 G18 G2 X40 Z0. I20. K99.\nG17 G0 Z16\nG90\n",
    "a helix across": "G0 X20 Y20\nG1 Z4. F200\nG18 G2 X60 Y45 Z4. R101.\nG17 G0 Z20\n",
    "lower case, with N": "g0 x20 y40\ng1 z4. f200\nn30g18g02x60z4.r101. (roll)\nn40g17g0z20\n",
    "backwards": "G0 X60 Y40\nG1 Z4. F200\nG18 G3 X20 Z4. R101.\nG17 G0 Z20\n",
    "one arc goes on in another": "G0 X20 Y40\nG1 Z4. F200\nG18 G2 X60 Z4. R101.\nX80 Z4. R26.\nG17 G0 Z20\n",
}
GIVEN = {
    "up": corrections(A=0.3),
    "down": corrections(A=-0.3),
    "tilted": corrections(A=tilt("A", 0.1, 0.002, 0.001)),
    "domed": corrections(A=follow("A", 0.25)),
}
SIZES = {"flat": (8.0, 0.0), "bull": (6.0, 2.0), "ball": (4.0, 4.0)}


@pytest.mark.parametrize("dip", DIPS)
@pytest.mark.parametrize("given", GIVEN)
def test_what_dips_is_lifted(dip, given):
    text, wanted = HEAD + DIPS[dip], GIVEN[given]
    out = apply(text, wanted, tools=Tools(every=Cutter(*SIZES["flat"])))
    assert too_deep(text, out, wanted, PART, {1: SIZES["flat"]}) <= DEEP_MM
    if given == "down":
        assert out.splitlines()[-len(DIPS[dip].splitlines()) :] == DIPS[dip].splitlines()


@pytest.mark.parametrize("given", GIVEN)
def test_radii_that_rounding_lets_differ_at_start_and_end(given):
    """By 0.0001 in here, of a roll onto the floor; 0.0002 in are allowed (NISTIR 6556, 3.5.3.2)."""
    roll = "G20 G90.1\nG0 X0.7874 Y1.6\nG1 Z0.1574 F9\nG18 G2 X0.8662 Z0.0787 I0.8662 K0.1575\nG17 G0 Z0.8\n"
    out = apply(HEAD + roll, GIVEN[given], tools=Tools(every=Cutter(*SIZES["flat"])))
    assert too_deep(HEAD + roll, out, GIVEN[given], PART, {1: SIZES["flat"]}) <= DEEP_MM


@pytest.mark.parametrize("size", ["bull", "ball"])
def test_a_rounded_end_too(size):
    text, wanted = HEAD + DIPS["by radius"], GIVEN["tilted"]
    out = apply(text, wanted, tools=Tools(every=Cutter(*SIZES[size])))
    assert too_deep(text, out, wanted, PART, {1: SIZES[size]}) <= DEEP_MM


def test_the_block_behind_names_its_motion_again():
    """The mode after an arc that became lines is G1; a block that went on in G2 says so (NISTIR 6556, 3.4: modal)."""
    text = HEAD + "G0 X20 Y40\nG1 Z4. F200\nG18 G2 X60 Z4. R101.\nX80 Z24. R300.\nG17 X70 Y45 R10.\nG0 Z20\n"
    was, now = motions(text), motions(apply(text, corrections(A=0.3)))
    assert [move["kind"] for move in now[-3:]] == [move["kind"] for move in was[-3:]] == [2, 2, 0]
    for a, b in zip(was[-3:], now[-3:], strict=True):
        np.testing.assert_allclose((*a["from"], *a["to"]), (*b["from"], *b["to"]), atol=1e-9)
    np.testing.assert_allclose(was[-3]["turn"], now[-3]["turn"], atol=1e-9)


def test_only_what_would_cut_is_lifted_and_chords_stay_on_the_arc():
    """0.002 mm is 0.4 of the tolerance; both ends and the quarters are clear of a floor raised by 0.1."""
    text = HEAD + DIPS["by radius"]
    tips, _, _ = samples(apply(text, corrections(A=0.1)), {1: (1.0, 0.0)}, step=0.05)
    arc = tips[np.isclose(tips[:, 1], 40) & (tips[:, 0] >= 20) & (tips[:, 0] <= 60) & (tips[:, 2] <= 4.001)]
    way = 103 - np.sqrt(101**2 - (arc[:, 0] - 40) ** 2)
    clear = np.abs(arc[:, 0] - 40) > 12
    assert np.abs(arc[clear, 2] - way[clear]).max() <= 0.002 + 0.001
    assert arc[:, 2].min() >= 2.1 - 0.003
    assert (arc[:, 2] >= way - 0.003).all()


def test_passes_along_a_hollow_are_shifted_whole():
    """A pass that is one arc, over a floor that it follows nowhere but at its Z: I and K are kept, Z moves."""
    roll = "G0 X20 Y40\nG1 Z3. F200\nG18 G2 X21 Z2. I1. K0.\nG17 G1 X60\nG0 Z20\n"
    out = apply(HEAD + roll, corrections(A=0.25))
    assert "G18 G2 X21 Z2.250 I1. K0." in out


def test_a_dip_under_the_floor_is_refused_with_its_depth():
    text = HEAD + "G0 X20 Y40\nG1 Z3. F200\nG18 G2 X60 Z3. R101.\nG17 G0 Z20\n"
    with pytest.raises(InputError, match=r"line 9: pocket A: cuts up to 1\.000 mm below the programmed floor"):
        apply(text, corrections(A=0.3))


def test_a_dip_in_a_held_floor_is_refused():
    on_b = HEAD.replace("X10 ", "X110 ").replace("X50.", "X150.")
    with pytest.raises(InputError, match="line 9: pocket A is held"):
        apply(on_b + DIPS["by radius"], corrections(A=hold("A"), B=0.1))


@pytest.mark.parametrize("bad", ["I3. K99.", "R10.", "I#5 K99."])
def test_an_arc_that_is_none_is_refused_where_it_may_reach_a_floor(bad):
    """NISTIR 6556, 3.5.3.2: both radii agree; a chord is no longer than twice the radius."""
    with pytest.raises(InputError, match="line 9: the arc"):
        apply(HEAD + DIPS["by radius"].replace("R101.", bad), corrections(A=0.3))


@pytest.mark.parametrize(("word", "text"), [("M0", "stop"), ("G41", "divided")])
def test_what_cannot_be_divided_is_refused_with_its_line(word, text):
    dip = DIPS["by radius"]
    dip = dip.replace("R101.", "R101. M0") if word == "M0" else dip.replace("G1 Z4.", "G41 D1 G1 Z4.")
    with pytest.raises(InputError, match=f"line 9: .*{text}"):
        apply(HEAD + dip, corrections(A=0.3))


def test_the_proof_sees_the_arc(monkeypatch):
    """With a rule that takes the arc for a line, nothing is written."""
    from floorfit.nc.arcs import StandingArcs

    def chord(self, rows, share):
        at = np.searchsorted(self.rows, rows)
        flat = self.first[at] + share[:, None] * (self.last - self.first)[at]
        parts = np.column_stack([flat, share * self.along[at]])
        return self.centre[at] + np.einsum("ij,ijk->ik", parts, self.axes[at])

    monkeypatch.setattr(StandingArcs, "points", chord)
    with pytest.raises(InputError, match="proof failed: pocket A would be"):
        apply(HEAD + DIPS["by radius"], corrections(A=0.3))


@pytest.mark.parametrize("sweep", [-6.0, -3.0, -0.5, 0.5, 3.0, 6.0])
@pytest.mark.parametrize("plane", [180, 190])
def test_the_lowest_place_of_an_arc(plane, sweep):
    """Against 20,001 places on it, for starts all round; a step of 0.0003 rad misses by r 0.0003^2 / 8."""
    turn = np.linspace(0, 2 * np.pi, 13)
    first = 5.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    last = 5.0 * np.column_stack([np.cos(turn + sweep), np.sin(turn + sweep)])
    axes = np.tile(np.eye(3)[list(PLANE_AXES[plane])], (13, 1, 1))
    rows, nothing = np.arange(13), np.zeros(13)
    arcs = StandingArcs(rows, np.zeros((13, 3)), axes, first, last, nothing, np.full(13, sweep))
    found = arcs.points(rows, arcs.lowest)[:, 2]
    for row in range(13):
        many = arcs.points(np.full(20_001, row), np.linspace(0, 1, 20_001))[:, 2]
        assert found[row] == pytest.approx(many.min(), abs=1e-6)


@pytest.mark.parametrize(("radius", "sweep"), [(0.5, 2 * math.pi), (101.0, 0.4), (5000.0, 0.01), (0.001, 3.0)])
def test_chords_are_off_by_no_more_than_asked(radius, sweep):
    """Sagitta of a chord: r (1 - cos(a / 2))."""
    share = chord_shares(radius, sweep, 0.002)
    assert (share[0], share[-1]) == (0.0, 1.0)
    assert radius * (1 - math.cos(float(np.diff(share).max()) * sweep / 2)) <= 0.002 + 1e-12

"""The proof must fail on every kind of damage; here the damage is done on purpose."""

from __future__ import annotations

import numpy as np
import pytest
from nc_cases import PART, corrections, tilt

from floorfit.errors import InputError
from floorfit.nc import programme as correct
from floorfit.nc.programme import apply_offsets

TEXT = "G21 G90 G17\nT1 M6\nG0 X10 Y10 Z20\nG1 Z2. F200\nX50.\nG2 X60 Y20 I0 J10\nG1 X150.\nG0 Z20.\nM30\n"
WANTED = corrections(A=tilt("A", -0.12, 0.0005, 0.0), B=0.2)

DAMAGE = {
    "a Z too low": ("Z2.200", "Z2.180"),
    "a Z too high": ("Z2.200", "Z2.230"),
    "a retract lowered": ("Z20.", "Z19."),
    "another X": ("X150.", "X150.01"),
    "another feed": ("F200", "F201"),
    "another tool": ("T1 M6", "T2 M6"),
    "a rapid for a cut": ("G1 Z", "G0 Z"),
    "an arc the other way": ("G2 X", "G3 X"),
    "the long arc for the short one": ("I0 J10", "R-10."),
    "a block lost": ("G0 Z20.\n", ""),
    "a block more": ("M30", "G0 X0\nM30"),
    "another unit": ("G21", "G20"),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_damage_is_found(monkeypatch, name):
    old, new = DAMAGE[name]
    assemble = correct._Run._assemble

    def damaged(self, *args):
        out, origin, head = assemble(self, *args)
        whole = "".join(out)
        assert old in whole
        lines = whole.replace(old, new).splitlines(keepends=True)
        if len(lines) != len(out):
            origin = np.append(origin, [origin[-1]] * 5)[: len(lines)]
        return lines, origin, head

    monkeypatch.setattr(correct._Run, "_assemble", damaged)
    with pytest.raises(InputError, match="proof failed"):
        apply_offsets(PART, WANTED, TEXT.encode())


def test_without_damage_it_holds():
    assert apply_offsets(PART, WANTED, TEXT.encode()).changed_blocks == 4

"""The modal interpreter against the tests' own reader, and against facts of NISTIR 6556."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from nc_reference import run
from nc_strategies import programs

from floorfit.nc.motions import CYCLE, UNKNOWN
from floorfit.nc.reader import read_motions

START = "G21 G90 G17\nG0 X0 Y0 Z10\n"


def motions(text: str):
    return read_motions(text.splitlines(keepends=True))


@settings(max_examples=30, deadline=None)
@given(programs())
def test_two_readers_agree(text):
    """End points to 1 nm (both compute in doubles), arcs by centre and angle."""
    ours, theirs = motions(text), run(text)
    ours_xyz = ours.xyz[ours.kind < UNKNOWN]
    assert np.allclose(ours_xyz, [move.end[:3] for move in theirs], atol=1e-6, equal_nan=True)
    sweeps = ours.sweep[ours.kind < UNKNOWN]
    assert np.allclose(sweeps, [move.sweep for move in theirs], atol=1e-6)


def test_a_long_run_reads_like_single_blocks():
    """Blocks read in a batch and one by one give the same rows."""
    body = [f"G{1 + i % 3} X{i % 7}.{i % 10} Y{i % 5} I{(i % 3) + 1} J0.5\n" for i in range(40)]
    plain = [f"X{i}. Y{i % 9} Z{i % 4}\n" if i % 2 else f"Z{i}.5\n" for i in range(200)]
    lines = [*START.splitlines(keepends=True), "G1 F10\n", *plain]
    spaced = [line.replace("X", "x") for line in lines]
    assert np.array_equal(read_motions(lines).xyz, read_motions(spaced).xyz, equal_nan=True)
    mixed = [*START.splitlines(keepends=True), *body]
    assert len(read_motions(mixed)) == len(read_motions([line.replace("X", "x") for line in mixed]))


def test_order_of_action_is_fixed():
    """NISTIR 6556, 3.8: units and distance mode act before motion, wherever they stand in the block."""
    table = motions(START + "G1 Z-1 G91 F100 X2\nG1 X1 G20\n")
    assert table.xyz[-2].tolist() == [2.0, 0.0, 9.0]
    assert table.xyz[-1, 0] == pytest.approx(2.0 + 25.4)


def test_axis_words_of_other_blocks_are_no_motion():
    """NISTIR 6556, 3.4: G4, G10, G28 and G92 use axis words for themselves."""
    table = motions(START + "G1 X1 F1\nG10 L2 P1 Z5\nG4 P1\nG92 Z0\nX3\n")
    assert table.xyz[-1].tolist() == [3.0, 0.0, 0.0] or math.isnan(table.xyz[-1, 1])
    assert np.count_nonzero(table.kind == 1) == 2


def test_cycles_end_at_r_or_at_the_first_height():
    """NISTIR 6556, 3.5.16: with G98 the tool returns to the initial Z, with G99 to R."""
    high = motions(START + "G98 G81 X1 Y1 Z-3 R2 F1\nX2\n")
    low = motions(START + "G99 G81 X1 Y1 Z-3 R2 F1\nX2\n")
    assert high.xyz[high.kind == CYCLE][:, 2].tolist() == [10.0, 10.0]
    assert low.xyz[low.kind == CYCLE][:, 2].tolist() == [2.0, 2.0]
    assert high.low[high.kind == CYCLE].tolist() == [-3.0, -3.0]


def test_a_negative_radius_is_more_than_half_a_turn():
    """NISTIR 6556, 3.5.3.1."""
    short = motions(START + "G1 F1 X1\nG3 X2 Y1 R1\n")
    long = motions(START + "G1 F1 X1\nG3 X2 Y1 R-1\n")
    assert short.sweep[-1] == pytest.approx(math.pi / 2)
    assert long.sweep[-1] == pytest.approx(3 * math.pi / 2)


def test_what_follows_the_second_percent_is_ignored():
    """NISTIR 6556, 3.1."""
    assert len(motions("%\n" + START + "%\nG0 X5\n")) == len(motions("%\n" + START + "%\n"))


def test_optional_blocks_leave_only_what_holds_either_way():
    table = motions(START + "G1 X5 F1\n/Y3\n/Z7\nX6\n")
    assert table.xyz[-1, 0] == 6.0
    assert math.isnan(table.xyz[-1, 1])
    assert math.isnan(table.xyz[-1, 2])
    assert table.why[len(table) - 1][0] == 3


@pytest.mark.parametrize("mode", ["G90", "G91"])
def test_batches_keep_to_the_distance_mode(mode):
    """A long run of plain blocks, in either mode and case, against the other reader."""
    body = [f"x{i % 7}.{i % 10}y{i % 5}\n" if i % 3 else f"G3 X1. Y1. I{-(i % 4) - 1}.\n" for i in range(60)]
    body = [line if "G3" not in line else "g1z-0.5\n" for line in body]
    text = START + f"G1 F10 {mode}\n" + "".join(body)
    assert np.allclose(motions(text).xyz[2:], [move.end[:3] for move in run(text)][2:], atol=1e-9)

"""Random files: no floor is cut deeper than it is wanted, by a sweep that shares nothing with floorfit."""

from __future__ import annotations

import os

import numpy as np
import pytest
from cl_cases import DEEP_MM, correct, left_over, places
from nc_cases import PART, corrections, follow, shift, tilt

from floorfit.errors import InputError

#: For developers: FLOORFIT_CL_FILES=500 pytest tests/nc/cl/test_random_files.py -n 0 searches wider.
FILES = int(os.environ.get("FLOORFIT_CL_FILES", "8"))
ENDS = ((16.0, 0.0), (12.0, 2.0), (10.0, 5.0))


def random_file(rng) -> str:
    """Passes, ramps, links, circles and increments on and above the floors, in one of several wordings."""
    diameter, corner = ENDS[rng.integers(len(ENDS))]
    lean = float(rng.choice([0.0, 0.0, 3.0, 10.0]))
    heading = float(rng.uniform(0, 6.28))
    a = np.radians(lean)
    ijk = (np.sin(a) * np.cos(heading), np.sin(a) * np.sin(heading), np.cos(a))
    vector = "," + ",".join(f"{value:.7f}" for value in ijk) if lean else ""
    lines = ["UNITS/MM", "LOADTL/3", f"CUTTER/{diameter},{corner}", "RAPID", f"GOTO/50,30,60{vector}"]
    for name in rng.permutation(["A", "B", "C", "D"])[: rng.integers(1, 4)]:
        pocket = PART.pocket(str(name))
        up = _over(pocket, diameter / 2, corner, np.array(ijk))
        lines += _on_floor(rng, pocket, diameter / 2, up, vector, round_way=not lean)
    text = "\n".join([*lines, "FINI", ""])
    if rng.random() < 0.3:
        text = "\n".join(f"{10 * n + 10} {line}" for n, line in enumerate(text.splitlines())) + "\n"
    return text.lower() if rng.random() < 0.3 else text


def _over(pocket, radius, corner, axis) -> float:
    """Height of the tip over a floor that the end touches (as in `cl_cases.zigzag`)."""
    normal = np.array([-pocket.slope[0], -pocket.slope[1], 1.0])
    size = float(np.linalg.norm(normal))
    cosine = min(float(axis @ normal) / size, 1.0)
    return (corner * (1 - cosine) + (radius - corner) * np.sqrt(1 - cosine**2)) * size


def _on_floor(rng, pocket, radius, up, vector, *, round_way) -> list[str]:
    x0, y0, x1, y1 = pocket.polygon.buffer(-radius).bounds

    def at(x, y, over):
        return f"GOTO/{x:.3f},{y:.3f},{float(pocket.nominal_z(x, y)) + up + over:.4f}{vector}"

    x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
    lines = ["RAPID", f"GOTO/{x:.3f},{y:.3f},60{vector}", "RAPID", at(x, y, 3.0), "FEDRAT/800,MMPM"]
    for _ in range(rng.integers(2, 7)):
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        lines.append(at(x, y, float(rng.choice([0.0, 0.0, 0.0, 0.1, 1.0]))))
    if round_way and not any(pocket.slope):
        x, y = rng.uniform(x0 + 12, x1 - 12), rng.uniform(y0, y1)
        z = float(pocket.nominal_z(x, y))
        lines += [at(x - 5, y, 0.0), f"CIRCLE/{x:.3f},{y:.3f},{z:.3f},0,0,{rng.choice([1, -1])},5", at(x + 5, y, 0.0)]
        x += 5
    if rng.random() < 0.5:
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        lines += [at(x, y, 0.0), "RAPID", "GODLTA/0,0,40"]
    return [*lines, "RAPID", f"GOTO/{x:.3f},{y:.3f},60{vector}"]


def random_offsets(rng):
    kinds = (
        lambda name: shift(name, float(rng.uniform(-0.4, 0.6))),
        lambda name: shift(name, 0.0),
        lambda name: tilt(name, float(rng.uniform(-0.2, 0.3)), *map(float, rng.uniform(-2e-3, 2e-3, 2))),
        lambda name: follow(name, float(rng.uniform(-0.2, 0.3))),
    )
    return corrections(*[(name, kinds[rng.integers(4)](name)) for name in "ABCD"])


@pytest.mark.parametrize("seed", range(FILES))
def test_no_floor_is_cut_deeper_than_wanted(seed):
    rng = np.random.default_rng(seed)
    text, given = random_file(rng), random_offsets(rng)
    try:
        after = correct(text, given)
    except InputError as error:
        assert "proof failed" not in str(error), error
        assert all(finding.code in ("half-floor", "rapid", "other-part") for finding in error.findings), error
        return
    before = _as_points(text)
    for name in "ABCD":
        deep, _, _ = left_over(name, before, _as_points(after), given, places(name, 50, inset=0.05, seed=seed))
        assert deep.min() >= -DEEP_MM - _slope_of_samples(name, given), name


def _slope_of_samples(name, given) -> float:
    """What 0.25 mm between two samples of the check can hide on a slope of the surface, mm."""
    return 0.25 * 0.03 if given[name].grid is not None else 0.0


def _as_points(text: str) -> str:
    """Circles as chords within 0.001 mm, for the plain reader of the tests."""
    out, circle, place = [], None, (0.0, 0.0, 0.0)
    for line in text.splitlines():
        word, _, rest = line.lstrip("0123456789 ").upper().partition("/")
        if word == "CIRCLE":
            circle = [float(n) for n in rest.split(",")]
            continue
        if word == "GOTO":
            end = [float(n) for n in rest.split(",")[:3]]
            if circle:
                out += _chords(place, end, circle)
                circle = None
            place = end
        elif word == "GODLTA":
            place = [a + float(b) for a, b in zip(place, rest.split(","), strict=True)]
        out.append(line)
    return "\n".join(out)


def _chords(start, end, circle) -> list[str]:
    turn0 = np.arctan2(start[1] - circle[1], start[0] - circle[0])
    turn1 = np.arctan2(end[1] - circle[1], end[0] - circle[0])
    sweep = (turn1 - turn0) % (2 * np.pi) if circle[5] > 0 else -((turn0 - turn1) % (2 * np.pi))
    angles = turn0 + sweep * np.linspace(0, 1, 80)[1:-1]
    return [f"GOTO/{circle[0] + 5 * np.cos(a):.5f},{circle[1] + 5 * np.sin(a):.5f},{end[2]}" for a in angles]

"""How long ``apply`` takes: word-address blocks and cutter-location points, shifts and surfaces, side by side.

    python tests/benchmarks/programmes.py [-n BLOCKS] [CASE …]

The programme is a zigzag in short straight pieces over every floor of the sample part, the offsets are invented; the
cases of `FLOORS` (say ``-n 20000``) take 120 floors of `whole.py`, with the cutter stated and without. Times
are the processor's, in seconds and in loops of 10,000,000 additions in plain Python in the same process, half of them
before and half after: a machine that is slow today is slow at both. Memory is the process's greatest; each case has a
process of its own.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely
from whole import make_files

from floorfit.decision.decision import Correction, FollowGrid
from floorfit.nc.cl import apply_to_locations
from floorfit.nc.cutter import Cutter
from floorfit.nc.programme import apply_offsets
from floorfit.nc.tools import Tools
from floorfit.part.model import Part, Pocket
from floorfit.part.part_file import read_part

PART = Path(__file__).resolve().parents[2] / "sample_parts" / "bay_frame" / "part.json"
#: Radius of the cutter, and length of a piece, mm; on 120 floors 20 mm.
RADIUS, PIECE = 8.0, 0.5
CASES = ("blocks-shift", "blocks-follow", "points-shift", "points-follow")
FLOORS = ("floors-known", "floors-unknown")


def passes(pocket: Pocket, side: float, piece: float) -> list[np.ndarray]:
    """Zigzags on a floor, (n, 3) each, mm; a new one where a wall or an island would be crossed."""
    inner = pocket.polygon.buffer(-RADIUS - 0.1)
    x0, y0, x1, y1 = inner.bounds
    x = np.linspace(x0, x1, max(int((x1 - x0) / piece), 2))
    rows = np.arange(y0, y1, side)
    turned = [x if k % 2 == 0 else x[::-1] for k in range(len(rows))]
    xy = np.column_stack([np.concatenate(turned), np.repeat(rows, len(x))])
    xy = xy[shapely.intersects_xy(inner, *xy.T)]
    xyz = np.column_stack([xy, pocket.nominal_z(*xy.T)])
    return np.split(xyz, np.flatnonzero(np.hypot(*np.diff(xy, axis=0).T) > 2 * piece + side) + 1)


def blocks(places: list[np.ndarray]) -> Iterator[str]:
    """The zigzags as a word-address programme."""
    yield "%\nG21 G90 G17 G40 G94 G54\nT1 M6\nG0 Z60.\n"
    for xyz in places:
        x, y, height = xyz[0].tolist()
        yield f"G0 X{x:.3f} Y{y:.3f}\nG1 Z{height:.3f} F600\n"
        for x, y, z in xyz.tolist():
            yield f"X{x:.3f} Y{y:.3f}\n" if z == height else f"X{x:.3f} Y{y:.3f} Z{z:.3f}\n"
            height = z
        yield "G0 Z60.\n"
    yield "M30\n%\n"


def points(places: list[np.ndarray]) -> Iterator[str]:
    """The same as cutter-location data."""
    yield f"UNITS/MM\nMULTAX/ON\nLOADTL/1\nCUTTER/{2 * RADIUS:.3f},0\n"
    for xyz in places:
        yield f"RAPID\nGOTO/{xyz[0, 0]:.3f},{xyz[0, 1]:.3f},60.000,0,0,1\nFEDRAT/600.0,MMPM\n"
        yield "".join(f"GOTO/{x:.3f},{y:.3f},{z:.3f},0,0,1\n" for x, y, z in xyz.tolist())
        yield f"RAPID\nGOTO/{xyz[-1, 0]:.3f},{xyz[-1, 1]:.3f},60.000,0,0,1\n"
    yield "FINI\n"


def corrections(part: Part, follow: bool) -> dict[str, Correction]:
    """Shifts of 0.2 mm, or domes of 0.3 mm."""
    out = {}
    for pocket in part.pockets:
        x0, y0, x1, y1 = pocket.polygon.bounds
        x, y = np.linspace(x0, x1, 61), np.linspace(y0, y1, 61)
        dome = 0.3 * np.outer(np.sin(np.pi * (x - x0) / (x1 - x0)), np.sin(np.pi * (y - y0) / (y1 - y0)))
        grid = FollowGrid(x, y, dome) if follow else None
        out[pocket.id] = Correction("follow" if follow else "shift", pocket.centroid, 0.2, (0.0, 0.0), grid)
    return out


def loop() -> float:
    """Processor seconds of 5,000,000 additions as they run at the top of a script, times two."""
    start = time.process_time()
    exec("s = 0\nfor i in range(5_000_000):\n    s += i", {})
    return 2 * (time.process_time() - start)


def _part(case: str) -> Part:
    """The sample part, or 120 invented floors."""
    if case not in FLOORS:
        return read_part(PART)
    with tempfile.TemporaryDirectory() as folder:
        make_files("spar", Path(folder))
        return read_part(Path(folder) / "part.json")


def run(case: str, count: int) -> str:
    """A row of the table."""
    part = _part(case)
    piece = 20.0 if case in FLOORS else PIECE
    one_mm = sum(len(some) for pocket in part.pockets for some in passes(pocket, 1.0, piece))
    places = [some for pocket in part.pockets for some in passes(pocket, one_mm / count, piece)]
    wanted = corrections(part, case.endswith("follow"))
    before = loop()
    start = time.process_time()
    if not case.startswith("points"):
        text = "".join(blocks(places)).encode()
        tools = Tools() if case.endswith("unknown") else Tools(every=Cutter(RADIUS))
        done = apply_offsets(part, wanted, text, tools=tools)
    else:
        done = apply_to_locations(part, wanted, "".join(points(places)).encode())
    seconds = time.process_time() - start
    loops = seconds / (0.5 * (before + loop()))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return f"| {case} | {done.blocks} | {done.changed_blocks} | {seconds:.1f} | {loops:.1f} | {memory:.2f} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cases", nargs="*", metavar="CASE", help=", ".join(CASES + FLOORS))
    parser.add_argument("-n", type=int, default=500_000, help="blocks, about (default %(default)s)")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.here:
        print(run(args.cases[0], args.n))
        return
    print("| case | blocks | changed | processor, s | loops | memory, GB |\n|---|---:|---:|---:|---:|---:|", flush=True)
    for case in args.cases or CASES:
        subprocess.run([sys.executable, __file__, case, "-n", str(args.n), "--here"], check=True)


if __name__ == "__main__":
    main()

"""Where the seconds of a whole run go: every step of ``floorfit correct`` by name, beside one scipy fit.

    python tests/benchmarks/whole.py -o FOLDER [--parts rib spar wide million] [-- OPTION ...]

Writes ``whole.md`` and ``whole.json``; what follows ``--`` goes to ``correct``. Seconds are the processor's, with one
thread for linear algebra, in a fresh process for each part, so that imports count; a process of its own says when the
table stands on the screen, from its start. The unit beside them is one thin-plate fit of 1,000 places by
``scipy.interpolate.RBFInterpolator``, made in the same process afterwards: a slower
machine moves both, and the ratio can be kept as a trend.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

#: Invented plates: length and width in mm, rows and columns of pockets, readings a pocket.
PARTS: dict[str, tuple[float, float, int, int, int]] = {
    "rib": (4000.0, 1200.0, 5, 14, 7),
    "spar": (8000.0, 1200.0, 4, 30, 7),
    "wide": (8000.0, 2500.0, 20, 50, 12),
    "million": (4000.0, 1200.0, 5, 14, 14_286),
}

#: Each step, and the function that does it. A step inside another counts for itself only.
HOMES = (
    ("read the part", "floorfit.part.part_file", "read_part"),
    ("read the readings", "floorfit.readings.readings_file", "read_readings"),
    ("screen", "floorfit.readings.screening", "screen"),
    ("fit", "floorfit.surface", "fit_surface"),
    ("decide", "floorfit.decision", "decide"),
    ("budgets", "floorfit.decision.budget", "with_budgets"),
    ("neighbours", "floorfit.decision.neighbours", "neighbour_steps"),
    ("shared errors", "floorfit.noticed", "shared_errors"),
    ("record", "floorfit.recording", "make_record"),
    ("tables and record.json", "floorfit.folder", "write"),
    ("terminal table", "floorfit.report.listing", "pocket_table"),
    ("maps (PNG and PDF)", "floorfit.report.map", "write_maps"),
    ("signer's sheet", "floorfit.report.sign_off", "write_sign_off"),
    ("page", "floorfit.report.page", "write_page"),
)


def make_files(name: str, folder: Path) -> None:
    """Write part and readings of an invented plate: even pockets, a bow and a twist, noise of 0.010 mm."""
    import numpy as np

    length, width, rows, columns, each = PARTS[name]
    step = np.array([length / columns, width / rows])
    side = step - 12.0
    corners = np.array([[i, j] for j in range(rows) for i in range(columns)]) * step + 6.0
    (folder / "part.json").write_text(json.dumps(_document(name, length, width, corners.tolist(), side.tolist())))
    rng = np.random.default_rng(7)
    place = np.repeat(corners, each, axis=0)
    place = place + rng.uniform(0.15, 0.85, place.shape) * side
    u, v = place[:, 0] / length - 0.5, place[:, 1] / width - 0.5
    warp = 0.3 * np.cos(2.2 * np.pi * u) + 0.4 * u * v
    z = 2.5 + warp + rng.normal(0.0, 0.002, len(place))  # the roughed floor moved with the plate
    t = z - warp + rng.normal(0.0, 0.010, len(place))
    with (folder / "readings.csv").open("w", encoding="utf-8") as file:
        file.write("x_mm,y_mm,thickness_mm,z_mm\n")
        np.savetxt(file, np.column_stack([place, t, z]), fmt="%.4f", delimiter=",")


def _document(
    name: str, length: float, width: float, corners: list[list[float]], side: list[float]
) -> dict[str, object]:
    a, b = side
    pockets = [
        {
            "id": f"P{k + 1:04d}",
            "boundary": [[x, y], [x + a, y], [x + a, y + b], [x, y + b]],
            "floor_z": 2.0,
            "corner_radius": 8.0,
        }
        for k, (x, y) in enumerate(corners)
    ]
    return {
        "format": "floorfit-part/1",
        "name": f"invented {name}",
        "units": "mm",
        "outline": [[0, 0], [length, 0], [length, width], [0, width]],
        "defaults": {"web": 2.0, "web_tolerance": [-0.1, 0.1], "finish_stock": 0.5},
        "pockets": pockets,
    }


@contextmanager
def timed_steps(seconds: dict[str, float]) -> Iterator[None]:
    """Count the processor's seconds of each step, wherever it is called from."""
    inner = [0.0]

    def counted(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def run(*values: Any, **options: Any) -> Any:
            start = time.process_time()
            inner.append(0.0)
            try:
                return call(*values, **options)
            finally:
                spent = time.process_time() - start
                seconds[name] = seconds.get(name, 0.0) + spent - inner.pop()
                inner[-1] += spent

        return run

    for name, home, function in HOMES:
        start = time.process_time()
        call = getattr(importlib.import_module(home), function)
        seconds["start and imports"] = seconds.get("start and imports", 0.0) + time.process_time() - start
        for module in [m for key, m in list(sys.modules.items()) if key.startswith("floorfit")]:
            if getattr(module, function, None) is call:
                setattr(module, function, counted(name, call))
    yield


def measure(name: str, options: Sequence[str]) -> dict[str, Any]:
    """Run one part in this process, which must be a fresh one."""
    seconds: dict[str, float] = {"start and imports": time.process_time()}
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        subprocess.run([sys.executable, __file__, "--make", name, place], check=True)
        with timed_steps(seconds):
            from floorfit.cli import main

            first = time.process_time()
            main(["correct", f"{place}/part.json", f"{place}/readings.csv", "-o", f"{place}/job", *options])
            total = time.process_time()
        size = sum(file.stat().st_size for file in (folder / "job").iterdir())
    known = sum(spent for step, spent in seconds.items() if step != "start and imports")
    seconds["rest"] = total - first - known
    seconds["all"] = total
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"part": name, "seconds": seconds, "unit": unit(), "peak_mb": peak, "job_mb": size / 1e6}


def until_table(name: str, options: Sequence[str]) -> float:
    """Processor's seconds of a fresh process from its start until the pockets' table is printed."""
    from floorfit.cli import main

    listing = importlib.import_module("floorfit.report.listing")
    seconds, table = [0.0], listing.pocket_table

    def counted(*values: Any, **named: Any) -> Any:
        lines = table(*values, **named)
        seconds[0] = time.process_time()
        return lines

    listing.pocket_table = counted
    with tempfile.TemporaryDirectory() as place:
        subprocess.run([sys.executable, __file__, "--make", name, place], check=True)
        files = (f"{place}/part.json", f"{place}/readings.csv", "-o", f"{place}/job")
        main(["correct", *files, "--no-pictures", *options])
    return seconds[0]


def unit() -> float:
    """Seconds of one scipy fit of 1,000 places, the shortest of three."""
    import numpy as np
    from scipy.interpolate import RBFInterpolator

    rng = np.random.default_rng(1)
    points, values = rng.uniform(0, 1000, (1000, 2)), rng.normal(size=1000)
    best = float("inf")
    for _ in range(3):
        start = time.process_time()
        RBFInterpolator(points, values, smoothing=1.0)
        best = min(best, time.process_time() - start)
    return best


def table(runs: Sequence[dict[str, Any]]) -> str:
    """Steps down, parts across; seconds, and below the sums as multiples of the scipy fit."""
    steps = ["start and imports", *(name for name, _, _ in HOMES), "rest", "all"]
    head = [f"{run['part']}: {PARTS[run['part']][2] * PARTS[run['part']][3]} pockets" for run in runs]
    rows = [[step, *(f"{run['seconds'].get(step, 0.0):.2f}" for run in runs)] for step in steps]
    rows += [
        ["until the table is printed", *(f"{run['until_table']:.2f}" for run in runs)],
        ["one scipy fit", *(f"{run['unit']:.3f}" for run in runs)],
        ["all ÷ scipy fit", *(f"{run['seconds']['all'] / run['unit']:.0f}" for run in runs)],
        ["peak memory, MB", *(f"{run['peak_mb']:.0f}" for run in runs)],
        ["job folder, MB", *(f"{run['job_mb']:.1f}" for run in runs)],
    ]
    lines = ["| step, s of the processor | " + " | ".join(head) + " |", "|---|" + "---:|" * len(runs)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)]) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure every step of a whole run.")
    parser.add_argument("-o", "--output", type=Path, help="folder for whole.md and whole.json")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=["rib", "spar"])
    parser.add_argument("--make", nargs=2, metavar=("PART", "FOLDER"), help="only write the files of one part")
    parser.add_argument("--one", choices=PARTS, help="measure one part in this process and print JSON")
    parser.add_argument("--until-table", choices=PARTS, help="measure one part until its table and print seconds")
    parser.add_argument("options", nargs="*", help="after --: options of `floorfit correct`")
    arguments = parser.parse_args()
    if arguments.make:
        make_files(arguments.make[0], Path(arguments.make[1]))
    elif arguments.one:
        print(json.dumps(measure(arguments.one, arguments.options)))
    elif arguments.until_table:
        print(until_table(arguments.until_table, arguments.options))
    else:
        _all(parser, arguments)


def _all(parser: argparse.ArgumentParser, arguments: argparse.Namespace) -> None:
    if arguments.output is None:
        parser.error("-o FOLDER is needed")
    one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    house = Path(importlib.import_module("floorfit").__file__ or "").parent
    subprocess.run([sys.executable, "-m", "compileall", "-q", str(house)], check=True)  # as pip leaves it
    runs = []
    for name in arguments.parts:
        said = []
        for measured in ("--one", "--until-table"):
            call = [sys.executable, __file__, measured, name, "--", *arguments.options]
            done = subprocess.run(call, env=one_thread, stdout=subprocess.PIPE, check=True, text=True)
            said.append(done.stdout.splitlines()[-1])
        runs.append({**json.loads(said[0]), "until_table": float(said[1])})
    text = table(runs)
    arguments.output.mkdir(parents=True, exist_ok=True)
    (arguments.output / "whole.md").write_text(text, "utf-8")
    (arguments.output / "whole.json").write_text(json.dumps(runs, indent=1), "utf-8")
    print(text)


if __name__ == "__main__":
    main()

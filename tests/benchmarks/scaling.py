"""How time grows: with the readings at a fixed grid, with the grid at fixed readings, and at a million readings.

    python tests/benchmarks/scaling.py -o FOLDER [--million]

Writes ``scaling.md``. Times are the processor's. The exponents are slopes of log time against log size. The way out
that a user has without floorfit at a million readings, means over blocks and then a dense spline with its smoothing
searched, stands beside it.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
from compare import SMOOTHINGS, best_smoothing, by_scipy, by_scipy_cv, resident, rms_of
from plates import BOUNDS, NOISE, Array, Data, make_plate, scatter

from floorfit.surface import Fit, fit_surface


def seconds_of(data: Data, **options: float) -> tuple[float, Fit]:
    """Shortest of two fits, processor's time: one thread does the work, and a busy machine does not count."""
    best, fit = np.inf, None
    for _ in range(2):
        start = time.process_time()
        fit = fit_surface(data.points, data.values, NOISE, bounds=BOUNDS, **options)  # type: ignore[arg-type]
        best = min(best, time.process_time() - start)
    assert fit is not None
    return best, fit


def slope(sizes: Array, seconds: Array) -> float:
    """Exponent: slope of log seconds against log size."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def against_readings(counts: list[int]) -> list[str]:
    """Fixed grid of 30 mm cells."""
    plate = make_plate(3)
    times = [seconds_of(scatter(plate, n), cell_mm=30.0)[0] for n in counts]
    lines = [f"| {n} | {t:.2f} |" for n, t in zip(counts, times, strict=True)]
    exponent = slope(np.array(counts, float), np.array(times))
    last = slope(np.array(counts[-2:], float), np.array(times[-2:]))
    note = f"Exponent over all {exponent:.2f}, between the last two {last:.2f}; 1 is linear."
    return ["Grid fixed (cells of 30 mm):", "", "| readings | fit, s |", "|---:|---:|", *lines, "", note, ""]


def against_grid(cells: list[float]) -> list[str]:
    """Fixed readings, finer and finer grid."""
    data = scatter(make_plate(3), 5000)
    works, times, lines = [], [], []
    for cell in cells:
        seconds, fit = seconds_of(data, cell_mm=cell)
        along, across = sorted(fit.surface.grid.shape, reverse=True)
        works.append(along * across * (3.0 * across + 3) ** 2)
        times.append(seconds)
        lines.append(f"| {cell:.0f} | {along * across} | {3 * across + 3} | {seconds:.2f} |")
    exponent = slope(np.array(works), np.array(times))
    note = f"Exponent against unknowns × half bandwidth²: {exponent:.2f}; 1 is proportional."
    head = ["5,000 readings:", "", "| cell, mm | unknowns | half bandwidth | fit, s |", "|---:|---:|---:|---:|"]
    return [*head, *lines, "", note, ""]


def block_means(data: Data, blocks: int = 2000) -> Data:
    """Means over about ``blocks`` square blocks."""
    x0, y0, x1, y1 = BOUNDS
    side = np.sqrt((x1 - x0) * (y1 - y0) / blocks)
    columns, rows = int(np.ceil((x1 - x0) / side)), int(np.ceil((y1 - y0) / side))
    i = np.minimum((data.points[:, 0] - x0) // side, columns - 1)
    j = np.minimum((data.points[:, 1] - y0) // side, rows - 1)
    number = (i * rows + j).astype(int)
    count = np.bincount(number, minlength=columns * rows)
    sums = [np.bincount(number, v, columns * rows) for v in (*data.points.T, data.values)]
    x, y, w = (s[count > 0] / count[count > 0] for s in sums)
    return Data(np.column_stack([x, y]), w, data.places, data.truth)


def at_a_million() -> list[str]:
    """One million readings, floorfit and the block means."""
    plate = make_plate(3)
    few = scatter(plate, 5000)
    _, (_, base) = by_scipy(few, best_smoothing(few))
    data = scatter(plate, 1_000_000)
    before = resident("VmRSS")
    seconds, fit = seconds_of(data)
    memory = resident("VmHWM") - before
    error = fit.surface.at(*data.places.T) - data.truth
    inside = np.mean(abs(error) <= 1.96 * fit.posterior.std_at(*data.places.T))
    start = time.process_time()
    predict, _ = by_scipy_cv(block_means(data), SMOOTHINGS[0])
    blocks = time.process_time() - start
    return [
        f"A million readings; one scipy fit of 5,000 readings, smoothing given, took {base:.2f} s of the processor:",
        "",
        "| method | fit, s | ÷ that fit | memory, MB | rms error, µm | 95 % covers |",
        "|---|---:|---:|---:|---:|---:|",
        f"| floorfit | {seconds:.1f} | {seconds / base:.1f} | {memory:.0f} | {1e3 * rms_of(error, 0 * error):.2f} "
        f"| {100 * inside:.1f} % |",
        f"| means over 2,000 blocks, dense spline, 5-fold search | {blocks:.1f} | {blocks / base:.1f} | – "
        f"| {1e3 * rms_of(predict(data.places)[0], data.truth):.2f} | – |",
        "",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure how the fit's time grows.")
    parser.add_argument("-o", "--output", type=Path, required=True, help="folder for scaling.md")
    parser.add_argument("--million", action="store_true", help="also fit a million readings")
    arguments = parser.parse_args()
    arguments.output.mkdir(parents=True, exist_ok=True)
    lines = against_readings([10_000, 40_000, 160_000]) + against_grid([80.0, 56.0, 40.0, 28.0, 20.0])
    if arguments.million:
        lines += at_a_million()
    text = "\n".join(lines)
    (arguments.output / "scaling.md").write_text(text, "utf-8")
    print(text)


if __name__ == "__main__":
    main()

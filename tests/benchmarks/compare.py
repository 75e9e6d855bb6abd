"""floorfit's surface beside general-purpose libraries, in one run on one machine.

    python tests/benchmarks/compare.py -o FOLDER [--sizes 500 2000 5000] [--repeat 3]

Methods of the ``bench`` extra (verde, scikit-learn) are left out where they are not installed. Writes ``compare.md``
and ``compare.png``. Each method runs in a process of its own; set-up and imports are not timed, the shortest of the
repeats counts. Both the time on the clock and the processor's time are given: on a busy machine only the second means
anything. Memory is the highest resident size less that before the fit (Linux). Libraries that must be told the
smoothing get the best there is, found with the truth in hand: no user could do better.
"""

from __future__ import annotations

import argparse
import importlib
import multiprocessing
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from plates import BOUNDS, NOISE, Array, Data, make_data, make_plate

#: What a method gives: prediction at places, and its standard deviation or None.
Prediction = tuple[Array, Array | None]
#: Seconds on the clock, and of the processor (all threads).
Seconds = tuple[float, float]
Method = Callable[[Data, float], tuple[Callable[[Array], Prediction], Seconds]]

SMOOTHINGS = np.geomspace(1e1, 1e7, 13)


@dataclass(frozen=True)
class Row:
    """One line of the table; errors in µm, memory in MB."""

    count: int
    bad: float
    method: str
    seconds: float
    processor: float
    memory: float
    rms: float
    worst: float
    coverage: float


def timed(fit: Callable[[], object]) -> tuple[object, Seconds]:
    clock, processor = time.perf_counter(), time.process_time()
    result = fit()
    return result, (time.perf_counter() - clock, time.process_time() - processor)


def by_floorfit(data: Data, _: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Smoothing, robust weights and joint posterior included."""
    from floorfit.surface import fit_surface

    fit, seconds = timed(lambda: fit_surface(data.points, data.values, NOISE, bounds=BOUNDS, smallest_mm=110.0))
    return lambda p: (fit.surface.at(*p.T), fit.posterior.std_at(*p.T)), seconds


def by_scipy(data: Data, smoothing: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Smoothing given."""
    from scipy.interpolate import RBFInterpolator

    fit, seconds = timed(lambda: RBFInterpolator(data.points, data.values, smoothing=smoothing))
    return lambda p: (fit(p), None), seconds


def by_scipy_cv(data: Data, _: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Smoothing by 5-fold cross-validation."""
    from scipy.interpolate import RBFInterpolator

    folds = np.random.default_rng(0).permutation(len(data.values)) % 5

    def loss(smoothing: float) -> float:
        total = 0.0
        for k in range(5):
            kept, left = folds != k, folds == k
            model = RBFInterpolator(data.points[kept], data.values[kept], smoothing=smoothing)
            total += float(np.sum((model(data.points[left]) - data.values[left]) ** 2))
        return total

    def search() -> object:
        best = min(SMOOTHINGS[::2], key=loss)
        return RBFInterpolator(data.points, data.values, smoothing=best)

    fit, seconds = timed(search)
    return lambda p: (fit(p), None), seconds  # type: ignore[operator]


def by_verde(data: Data, smoothing: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Damping searched with the truth in hand, as for scipy; only the last fit is timed."""
    import verde

    def fit_with(damping: float) -> object:
        return verde.Spline(damping=damping).fit((data.points[:, 0], data.points[:, 1]), data.values)

    def error(damping: float) -> float:
        return rms_of(fit_with(damping).predict((data.places[:, 0], data.places[:, 1])), data.truth)  # type: ignore[attr-defined]

    best = min(np.geomspace(1e-9, 1e-1, 9), key=error)
    fit, seconds = timed(lambda: fit_with(best))
    return lambda p: (fit.predict((p[:, 0], p[:, 1])), None), seconds  # type: ignore[attr-defined]


def by_verde_cv(data: Data, _: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Damping by cross-validation."""
    import verde
    from sklearn.model_selection import KFold

    model = verde.SplineCV(dampings=tuple(np.geomspace(1e-8, 1e-2, 7)), cv=KFold(5, shuffle=True, random_state=0))
    fit, seconds = timed(lambda: model.fit((data.points[:, 0], data.points[:, 1]), data.values))
    return lambda p: (fit.predict((p[:, 0], p[:, 1])), None), seconds  # type: ignore[attr-defined]


def by_gaussian_process(data: Data, _: float) -> tuple[Callable[[Array], Prediction], Seconds]:
    """Matérn 5/2 with the length scales and both variances by likelihood."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    kernel = ConstantKernel(1.0, (1e-3, 1e4)) * Matern([1000.0, 1000.0], (50.0, 1e5), nu=2.5) + WhiteKernel(
        NOISE**2, (1e-6, 1.0)
    )
    model = GaussianProcessRegressor(kernel, normalize_y=True)

    fit, seconds = timed(lambda: model.fit(data.points, data.values))

    def predict(p: Array) -> Prediction:
        mean, deviation = fit.predict(p, return_std=True)  # type: ignore[attr-defined]
        noise = np.sqrt(fit.kernel_.k2.noise_level) * fit._y_train_std  # type: ignore[attr-defined]
        return mean, np.sqrt(np.maximum(deviation**2 - noise**2, 0.0))

    return predict, seconds


#: Name, method, and the most readings that it is given (beyond these a run takes minutes or the memory is gone).
METHODS: tuple[tuple[str, Method, int], ...] = (
    ("scipy RBFInterpolator, best smoothing given", by_scipy, 6000),
    ("floorfit, all chosen", by_floorfit, 10**7),
    ("scipy RBFInterpolator, 5-fold search", by_scipy_cv, 2500),
    ("verde Spline, best damping given", by_verde, 1000),
    ("verde SplineCV, 5-fold search", by_verde_cv, 1000),
    ("scikit-learn Gaussian process", by_gaussian_process, 1000),
)


#: What each method imports beside scipy before it is timed.
IMPORTS: dict[Method, tuple[str, ...]] = {
    by_scipy: (),
    by_floorfit: ("floorfit.surface",),
    by_scipy_cv: (),
    by_verde: ("verde",),
    by_verde_cv: ("verde", "sklearn.model_selection"),
    by_gaussian_process: ("sklearn.gaussian_process",),
}


def rms_of(estimate: Array, truth: Array) -> float:
    return float(np.sqrt(np.mean((estimate - truth) ** 2)))


def best_smoothing(data: Data) -> float:
    """Smoothing with the least error against the truth, by golden section on its logarithm."""
    from scipy.optimize import minimize_scalar

    def error(log: float) -> float:
        predict, _ = by_scipy(data, float(np.exp(log)))
        return rms_of(predict(data.places)[0], data.truth)

    found = minimize_scalar(error, bounds=(np.log(SMOOTHINGS[0]), np.log(SMOOTHINGS[-1])), method="bounded",
                            options={"xatol": 0.2})  # fmt: skip
    return float(np.exp(found.x))


def resident(field: str) -> float:
    """``VmRSS`` (now) or ``VmHWM`` (highest) of this process, MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(field):
            return int(line.split()[1]) / 1024
    return float("nan")


def score(method: Method, data: Data, smoothing: float, repeat: int) -> tuple[float, ...]:
    """Both times, memory, rms and worst error, coverage; run in a fresh process, its imports first."""
    for name in ("scipy.interpolate", "scipy.linalg", *IMPORTS[method]):
        importlib.import_module(name)
    warnings.simplefilter("ignore")  # of scikit-learn's bounds and verde's coming changes
    before = resident("VmRSS")
    runs = [method(data, smoothing) for _ in range(repeat)]
    memory = resident("VmHWM") - before
    estimate, deviation = runs[-1][0](data.places)
    error = estimate - data.truth
    inside = float("nan") if deviation is None else float(np.mean(abs(error) <= 1.959964 * deviation))
    clock, processor = (min(run[1][k] for run in runs) for k in (0, 1))
    return clock, processor, memory, 1e3 * rms_of(estimate, data.truth), 1e3 * float(abs(error).max()), inside


def compare(sizes: list[int], shares: list[float], repeat: int) -> list[Row]:
    """All methods at all sizes; one process each, one after the other."""
    plate = make_plate(3)
    rows = []
    context = multiprocessing.get_context("spawn")
    for count in sizes:
        for bad in shares:
            data = make_data(plate, count, bad)
            with context.Pool(1) as pool:
                smoothing = pool.apply(best_smoothing, (data,))
            for name, method, most in METHODS:
                if count > most or not all(find_spec(module.partition(".")[0]) for module in IMPORTS[method]):
                    continue
                with context.Pool(1) as pool:
                    rows.append(Row(len(data.values), bad, name, *pool.apply(score, (method, data, smoothing, repeat))))
                print(rows[-1], flush=True)
    return rows


def table(rows: list[Row]) -> str:
    """Markdown; the processor's time also as a ratio to scipy's fit with the smoothing given, in the same run."""
    lines = [
        "| readings | bad | method | fit, s | processor, s | ÷ scipy given | memory, MB | rms, µm | worst, µm "
        "| 95 % covers |",
        "|---:|---:|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    base: dict[tuple[int, float], float] = {}
    for r in rows:
        base.setdefault((r.count, r.bad), r.processor if r.method == METHODS[0][0] else float("nan"))
        ratio = r.processor / base[r.count, r.bad]
        covers = "–" if np.isnan(r.coverage) else f"{100 * r.coverage:.1f} %"
        lines.append(
            f"| {r.count} | {100 * r.bad:.0f} % | {r.method} | {r.seconds:.3f} | {r.processor:.3f} | {ratio:.2f} "
            f"| {r.memory:.0f} | {r.rms:.1f} | {r.worst:.0f} | {covers} |"
        )
    return "\n".join(lines) + "\n"


def plot(rows: list[Row], path: Path) -> None:
    """Error with clean and with bad readings, and time, against the number of readings."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 4.2), layout="constrained")
    axes = figure.subplots(1, 3)
    marks = "osv^Dx"
    shares = sorted({r.bad for r in rows})
    panels = [(axes[0], shares[0], "rms"), (axes[1], shares[-1], "rms"), (axes[2], shares[0], "processor")]
    for axis, bad, what in panels:
        for (name, _, _), mark in zip(METHODS, marks, strict=True):
            mine = [r for r in rows if r.method == name and r.bad == bad]
            axis.loglog([r.count for r in mine], [getattr(r, what) for r in mine], mark + "-", label=name, lw=1)
        axis.set_xlabel("readings")
        axis.set_title(f"{100 * bad:.0f} % bad readings" if what == "rms" else "processor time of the fit")
        axis.set_ylabel("rms error on the floors, µm" if what == "rms" else "s")
        plain_ticks(axis)
    figure.legend(*axes[0].get_legend_handles_labels(), loc="outside lower center", ncols=3, fontsize=8)
    figure.savefig(path, dpi=130, metadata={"Software": None})


def plain_ticks(axis) -> None:  # type: ignore[no-untyped-def]
    """Ticks at 1, 2 and 5 as plain numbers."""
    from matplotlib.ticker import LogLocator, NullFormatter

    for one in (axis.xaxis, axis.yaxis):
        one.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        one.set_major_formatter("{x:g}")
        one.set_minor_formatter(NullFormatter())
    axis.grid(True, lw=0.3)


def main() -> None:
    parser = argparse.ArgumentParser(description="Compare surfaces on a plate with a known warp.")
    parser.add_argument("-o", "--output", type=Path, required=True, help="folder for compare.md and compare.png")
    parser.add_argument("--sizes", type=int, nargs="+", default=[500, 2000, 5000])
    parser.add_argument("--bad", type=float, nargs="+", default=[0.0, 0.05])
    parser.add_argument("--repeat", type=int, default=3)
    arguments = parser.parse_args()
    arguments.output.mkdir(parents=True, exist_ok=True)
    rows = compare(arguments.sizes, arguments.bad, arguments.repeat)
    (arguments.output / "compare.md").write_text(table(rows), "utf-8")
    plot(rows, arguments.output / "compare.png")


if __name__ == "__main__":
    main()

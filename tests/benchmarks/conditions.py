"""Sixty plates of other physics, and what each method makes of them.

    python tests/benchmarks/conditions.py -o FILE.json [--method floorfit|spline|process] [--final] [--only WORD]
    python tests/benchmarks/conditions.py --table A.json B.json …

One condition is a kind of plate and of readings (dished webs, clamp marks, kinks at ribs, drift, one to fifteen
readings a floor, and so on), the last a random mixture; each has three plates (``--seeds``: up to ten), and with
``--final`` one more of a seed that no choice was made by.
The dense spline is told its best smoothing, found with the truth in hand; the Gaussian process finds its own.
Plates are kept in ``--cache FOLDER``. To try another state of the package, put it before on ``PYTHONPATH``.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
import time
import warnings
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from physics import (
    Disturbance,
    Marks,
    Plate,
    Taken,
    floor_points,
    random_plate,
    take_readings,
    with_tolerance,
)

if TYPE_CHECKING:
    from floorfit import PlatePrior

Array = NDArray[np.float64]

#: Standard deviation of a thickness and of a measured Z that the readings are drawn with, mm.
NOISE, Z_NOISE = 0.010, 0.002
#: First seeds of the plates that choices are made by, and of those that none is made by.
SEEDS, FINAL_SEEDS = range(1000, 1010), range(2000, 2001)


@dataclass(frozen=True)
class Condition:
    """A kind of plate and of readings; lengths in mm."""

    name: str
    size: tuple[float, float] = (2400.0, 1000.0)
    cells: tuple[int, int] = (5, 8)
    warp: float = 0.8
    dish: float = 0.004
    marks: Marks = field(default_factory=Marks)
    per_floor: int = 7
    bad: float = 0.0
    measured_z: bool = True
    limits: tuple[float | None, float | None] = (-0.1, 0.1)
    disturbance: Disturbance | None = None

    def kinds(self, seed: int) -> list[str] | None:
        """What the cells hold: with dishes, no slanted ribs, which the mesh of the dishing webs does not clamp."""
        if self.dish <= 0.01:
            return None
        draw = np.random.default_rng([seed, 7])
        shares = {"rectangle": 0.72, "island": 0.1, "step": 0.08, "slope": 0.05, "lowered": 0.05}
        return [str(k) for k in draw.choice(list(shares), self.cells[0] * self.cells[1], p=list(shares.values()))]


SMALL = ((1200.0, 500.0), (3, 5))
CONDITIONS = (
    Condition("plain"),
    Condition("plain, 3 a floor", per_floor=3, measured_z=False),
    Condition("plain, 1 a floor", per_floor=1, limits=(-0.25, 0.25)),
    Condition("plain, 8 % bad", bad=0.08),
    Condition("dish 0.02, both signs", *SMALL, dish=0.02, limits=(-0.05, 0.05)),
    Condition("dish 0.05, both signs", dish=0.05, limits=(-0.08, 0.08)),
    Condition("dish 0.10, both signs", *SMALL, dish=0.10, limits=(-0.15, 0.15)),
    Condition("dish 0.06, one sign", dish=0.02, marks=Marks(0.06), limits=(-0.08, 0.08)),
    Condition("dish 0.12, one sign", *SMALL, dish=0.03, marks=Marks(-0.12), limits=(-0.15, 0.15)),
    Condition("dish 0.05, 3 a floor", dish=0.05, per_floor=3, limits=(-0.1, 0.1)),
    Condition("dish 0.03, 1 a floor", dish=0.03, per_floor=1, limits=(-0.15, 0.15)),
    Condition("dish 0.05, 15 a floor", *SMALL, dish=0.05, per_floor=15, limits=(-0.05, 0.05)),
    Condition("dish 0.05, 8 % bad", dish=0.05, bad=0.08, limits=(-0.1, 0.1)),
    Condition("clamp marks", marks=Marks(clamps=12), limits=(-0.05, 0.05)),
    Condition("kinks at ribs", dish=0.01, marks=Marks(kink=3e-4), limits=(-0.05, 0.05)),
    Condition("drift 0.06", disturbance=Disturbance(drift=0.06, right=None)),
    Condition("slow change 0.008", disturbance=Disturbance(correlated=0.008)),
    Condition("wave in Z 0.010", disturbance=Disturbance(z_wave=0.010)),
    Condition("300 mm, one-sided", (300.0, 200.0), (2, 3), warp=0.2, dish=0.02, limits=(-0.05, None)),
    Condition("8 m, dish 0.04", (8000.0, 1000.0), (3, 34), warp=2.0, dish=0.04, limits=(-0.1, 0.1)),
    Condition("clamp marks, 8 % bad", marks=Marks(clamps=12), bad=0.08, limits=(-0.1, 0.1)),
    Condition("small clamp marks", marks=Marks(clamps=6, clamp_height=0.008), limits=(-0.1, 0.1)),
    Condition("steep kinks at ribs", dish=0.01, marks=Marks(kink=1e-3), limits=(-0.1, 0.1)),
    Condition("mixture"),
    Condition("webs that bend, 0.10", *SMALL, marks=Marks(bent=0.10), limits=(-0.1, 0.1)),
    Condition("webs that bend, 0.06, 5 a floor", *SMALL, marks=Marks(bent=0.06), per_floor=5, limits=(-0.1, 0.1)),
    Condition("webs that bend, 0.05, 3 a floor", marks=Marks(bent=0.05), per_floor=3, limits=(-0.1, 0.1)),
    Condition("drift 0.06 that dies away", disturbance=Disturbance(drift=0.06, warming=0.3, right=None)),
    Condition("drift 0.02 that hides", disturbance=Disturbance(drift=0.02)),
    Condition("step 0.04", disturbance=Disturbance(step=0.04, right=None)),
)  # fmt: skip


def mixed(seed: int) -> Condition:
    """A condition drawn at random: every trouble may come with every other."""
    draw = np.random.default_rng([seed, 11])
    sizes = (*SMALL, 0.4), ((2400.0, 1000.0), (5, 8), 0.8), ((600.0, 400.0), (2, 4), 0.3)
    size, cells, warp = sizes[draw.choice(3)]
    kink, clamps, mean = draw.choice([0.0, 0.0, 3e-4]), draw.choice([0, 0, 6]), draw.choice([0.0, 0.0, 0.05])
    troubles = (
        None,
        None,
        Disturbance(drift=0.04, right=None),
        Disturbance(correlated=0.006),
        Disturbance(z_wave=0.008),
    )
    return Condition(
        "mixture", size, cells, warp, dish=float(draw.choice([0.004, 0.02, 0.05])),
        marks=Marks(float(mean), float(kink), int(clamps), 0.02), per_floor=int(draw.choice([2, 3, 5, 7, 10])),
        bad=float(draw.choice([0.0, 0.0, 0.06])), disturbance=troubles[draw.choice(len(troubles))],
    )  # fmt: skip


@dataclass(frozen=True)
class Score:
    """Of one plate: sums over its floors, so that plates of a condition add up; errors in µm."""

    condition: str
    seed: int
    points: int
    field: float
    floors: int
    shift: float
    covered: float
    webs: float
    cut: int
    accepts: int
    false: int
    expected_false: float
    beyond: int
    aside: int
    seconds: float


def plate_of(condition: Condition, seed: int, cache: Path | None) -> tuple[Plate, Taken]:
    """The plate with its readings; drawn once."""
    path = None if cache is None else cache / f"{condition.name.replace(' ', '_').replace(',', '')}-{seed}.pickle"
    if path is not None and path.exists():
        return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]  # written just below
    plate = random_plate(
        seed, *condition.size, *condition.cells, warp_range=condition.warp, dish=condition.dish, marks=condition.marks,
        kinds=condition.kinds(seed),
    )  # fmt: skip
    plate = replace(plate, part=with_tolerance(plate.part, *condition.limits))
    taken = take_readings(
        plate, seed + 1, condition.per_floor, noise=NOISE, bad=condition.bad, measured_z=condition.measured_z,
        disturbance=condition.disturbance,
    )  # fmt: skip
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps((plate, taken)))
    return plate, taken


def by_floorfit(condition: Condition, seed: int, plate: Plate, taken: Taken, prior: PlatePrior | None = None) -> Score:
    """The whole chain."""
    import floorfit

    start = time.process_time()
    # Floors that were cut true on the warped plate did not move since: their Z is as programmed, exactly.
    stated = {} if condition.measured_z else {"floor_z": "as-programmed", "moved_u": 0.0}
    result = floorfit.correct(plate.part, taken.readings, floorfit.Settings(z_u=Z_NOISE, **stated), prior=prior)
    seconds = time.process_time() - start
    fit = result.fit
    assert fit is not None
    score = _field(condition, seed, plate, fit.surface.at, seconds)
    verdicts = [_verdict(plate, decision) for decision in result.decisions]
    good = taken.fault == ""
    used = result.observations.is_used
    cut = [v for v in verdicts if v is not None]
    return replace(
        score,
        covered=float(sum(v.is_covered for v in cut)),
        webs=float(sum(v.is_web_covered for v in cut)),
        cut=len(cut),
        accepts=sum(v.is_accepted for v in cut),
        false=sum(v.is_accepted and v.beyond > 0 for v in cut),
        expected_false=float(sum(1 - v.probability for v in cut if v.is_accepted)),
        beyond=sum(v.is_accepted and v.beyond > 0.020 for v in cut),
        aside=int((good & ~used).sum()),
    )


@dataclass(frozen=True)
class _Verdict:
    is_covered: bool
    is_web_covered: bool
    is_accepted: bool
    probability: float
    beyond: float


def _verdict(plate: Plate, decision) -> _Verdict | None:  # type: ignore[no-untyped-def]
    """What came out for one floor beside the truth; None where it was held."""
    if decision.action == "hold":
        return None
    pocket = plate.part.pocket(decision.pocket)
    points = floor_points(pocket, 40)
    deviation = decision.correction.at(*points.T) - plate.warp(*points.T)
    low, high = float(deviation.min()), float(deviation.max())
    lower, upper = pocket.tolerance.lower, pocket.tolerance.upper
    below = -np.inf if lower is None else lower - low
    above = -np.inf if upper is None else high - upper
    ends = np.array(decision.web_after_interval_mm) - pocket.web
    half = float((decision.web_after_max_mm + decision.web_after_min_mm) / 2 - pocket.web)
    return _Verdict(
        bool(abs(half - (low + high) / 2) <= decision.offset_u_mm * 1.959964 / 2),
        bool(ends[0] <= low and high <= ends[1]),
        decision.verdict == "conform",
        float(decision.conformance_probability),
        float(max(below, above)),
    )


def by_spline(condition: Condition, seed: int, plate: Plate, taken: Taken) -> Score:
    """Dense thin-plate spline with the best smoothing there is, bad readings left out by one who knows them."""
    from scipy.interpolate import RBFInterpolator

    points, values = _values(plate, taken)
    places = np.concatenate([floor_points(p, 12) for p in plate.part.pockets])
    truth = plate.warp(*places.T)
    start = time.process_time()
    fits = [RBFInterpolator(points, values, smoothing=s) for s in np.geomspace(1e1, 1e8, 15)]
    seconds = (time.process_time() - start) / len(fits)
    best = min(fits, key=lambda fit: float(np.mean((fit(places) - truth) ** 2)))
    return _field(condition, seed, plate, lambda x, y: best(np.column_stack([x, y])), seconds)


def by_process(condition: Condition, seed: int, plate: Plate, taken: Taken) -> Score:
    """Gaussian process, Matérn 5/2 with a length each way and a white part, by likelihood, without the bad readings."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    points, values = _values(plate, taken)
    scale = float(np.std(values))
    white = WhiteKernel((NOISE / scale) ** 2, (1e-7, 1.0))
    kernel = ConstantKernel(1.0, (1e-3, 1e4)) * Matern([800.0, 800.0], (30.0, 1e5), nu=2.5) + white
    start = time.process_time()
    model = GaussianProcessRegressor(kernel, normalize_y=True).fit(points, values)
    seconds = time.process_time() - start
    return _field(condition, seed, plate, lambda x, y: model.predict(np.column_stack([x, y])), seconds)


def _values(plate: Plate, taken: Taken) -> tuple[Array, Array]:
    """Places and warps of the good readings."""
    r = taken.readings
    good = taken.fault == ""
    pockets = [plate.part.pocket(str(k)) for k in r.pocket]
    under = np.array([p.underside_z for p in pockets])
    rough = np.array([float(p.rough_z(a, b)) for p, a, b in zip(pockets, r.x, r.y, strict=True)])
    z = np.where(np.isfinite(r.z), r.z, rough)
    return np.column_stack([r.x, r.y])[good], (z - r.thickness - under)[good]


def _field(condition: Condition, seed: int, plate: Plate, at, seconds: float) -> Score:  # type: ignore[no-untyped-def]
    square, count, shift = 0.0, 0, 0.0
    for pocket in plate.part.pockets:
        points = floor_points(pocket, 24)
        warp, estimate = plate.warp(*points.T), at(points[:, 0], points[:, 1])
        square += float(np.sum((estimate - warp) ** 2))
        count += len(points)
        one = (estimate.max() + estimate.min()) / 2 - (warp.max() + warp.min()) / 2
        shift += float(one**2)
    floors = len(plate.part.pockets)
    return Score(condition.name, seed, count, 1e6 * square, floors, 1e6 * shift, 0.0, 0.0, 0, 0, 0, 0.0, 0, 0, seconds)


METHODS = {"floorfit": by_floorfit, "spline": by_spline, "process": by_process}


def rms(scores: list[Score]) -> tuple[float, float]:
    """Error of the field over floors and of the best shift, µm."""
    square, count = sum(s.field for s in scores), sum(s.points for s in scores)
    return np.sqrt(square / count), np.sqrt(sum(s.shift for s in scores) / sum(s.floors for s in scores))


def table(files: list[Path]) -> str:
    """Markdown: a condition a row, a file a column."""
    runs = [[Score(**entry) for entry in json.loads(path.read_text("utf-8"))] for path in files]
    lines = ["| condition | " + " | ".join(path.stem for path in files) + " |", "|---|" + "---|" * len(files)]
    names = list(dict.fromkeys(s.condition for run in runs for s in run))
    for name in [*names, "all"]:
        cells = [_cell([s for s in run if name in (s.condition, "all")]) for run in runs]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def _cell(scores: list[Score]) -> str:
    """Field / shift; offsets and webs covered; false accepts of accepts (expected), beyond 0.020; set aside."""
    if not scores:
        return ""
    head = "{:.1f} / {:.1f}".format(*rms(scores))
    cut = sum(s.cut for s in scores)
    if not cut:
        return head
    covered, webs = (100 * sum(getattr(s, k) for s in scores) / cut for k in ("covered", "webs"))
    false, accepts, beyond, aside = (
        sum(getattr(s, k) for s in scores) for k in ("false", "accepts", "beyond", "aside")
    )
    expected = sum(s.expected_false for s in scores)
    return f"{head}; {covered:.0f}, {webs:.0f} %; {false} of {accepts} ({expected:.1f}), {beyond}; {aside}"


def main() -> None:
    """Run the plates asked for, or show tables of what was run."""
    parser = argparse.ArgumentParser(description="Plates of other physics.")
    parser.add_argument("-o", "--output", type=Path)
    parser.add_argument("--method", choices=METHODS, default="floorfit")
    parser.add_argument("--final", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--table", type=Path, nargs="+")
    arguments = parser.parse_args()
    warnings.simplefilter("ignore")  # of scikit-learn's bounds
    if arguments.table:
        print(table(arguments.table))
        return
    scores = []
    for k, condition in enumerate(CONDITIONS):
        for seed in list(FINAL_SEEDS if arguments.final else SEEDS)[: arguments.seeds]:
            if arguments.only in condition.name:
                drawn = mixed(seed + 10 * k) if condition.name == "mixture" else condition
                plate, taken = plate_of(drawn, seed + 10 * k, arguments.cache)
                scores.append(METHODS[arguments.method](drawn, seed + 10 * k, plate, taken))
                print(condition.name, seed, _cell(scores[-1:]), f"{scores[-1].seconds:.2f} s", flush=True)
    if arguments.output:
        arguments.output.write_text(json.dumps([asdict(s) for s in scores], indent=0), "utf-8")


if __name__ == "__main__":
    main()

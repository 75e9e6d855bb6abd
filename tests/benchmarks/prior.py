"""What a prior from the part's own stiffness is worth, and what a wrong one costs.

    python tests/benchmarks/prior.py -o FILE.json [--final] [--plates N] [--only WORD] [--priors WORD,WORD]
    python tests/benchmarks/prior.py --table FILE.json

The truth is not the prior's own: finite elements on lines along the faces of every rib (``plate_physics``), sections of
rib and web about their common axis, stress from random waves (no lattice, another spectrum), and dishes of the webs.
The prior sees a coarse mesh of smeared ribs of a height it is told, or not. Wrong ones: ribs half and twice as high
(an eighth and eight times as stiff), stress of half the lengths, and the modes of another part drawn over this one.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from conditions import Condition, Score, by_floorfit, rms
from physics import (
    Load,
    Plate,
    PlateModel,
    build_part,
    deflect,
    even_layout,
    floor_points,
    mesh_lines,
    parabolic_stress,
    released_curvature,
    take_readings,
)
from plate_physics import E_MPA, NU
from random_plates import _pressures, _RibsAndWebs

import floorfit
from floorfit.plate.plate_prior import form_of

Array = NDArray[np.float64]
Field = Callable[[Array, Array], Array]

#: First seeds of the plates that choices are made by, and of those that none is made by.
SEEDS, FINAL_SEEDS = 3000, 4000
#: Correlation lengths of the truth's stress: log-uniform between these shares of the longer side.
LENGTHS = (0.25, 1.0)
PRIORS = ("none", "prior", "half ribs", "double ribs", "half lengths", "another part")


@dataclass(frozen=True)
class Case:
    """A kind of plate: size in mm, cells across and along, range of the warp and standard deviation of a dish."""

    name: str
    size: tuple[float, float]
    cells: tuple[int, int]
    warp: float
    dish: float
    per_floor: int


CASES = tuple(
    Case(f"{name}, {count} a floor", size, cells, warp, 0.015, count)
    for name, size, cells, warp in (
        ("12 pockets", (1200.0, 500.0), (3, 4), 0.5),
        ("18 pockets", (1200.0, 500.0), (3, 6), 0.8),
        ("40 pockets", (2400.0, 1000.0), (5, 8), 1.0),
    )
    for count in (1, 3, 7)
)


def waves(rng: np.random.Generator, lengths: Array, count: int = 300) -> Field:
    """Random field of unit variance: cosines with wave numbers from a multivariate t (Matérn 5/2, not separable)."""
    k = rng.standard_normal((count, 2)) / np.sqrt(rng.gamma(2.5, 1 / 2.5, count))[:, None] / lengths
    phase = rng.uniform(0, 2 * np.pi, count)

    def field(x: Array, y: Array) -> Array:
        total = np.zeros(np.shape(x))
        for (a, b), start in zip(k, phase, strict=True):
            total += np.cos(a * x + b * y + start)
        return total * np.sqrt(2 / count)

    return field


def stressed_plate(seed: int, case: Case) -> Plate:
    """A plate whose stress lets go: ribs and webs by what each section takes, the same stress in both."""
    rng = np.random.default_rng(seed)
    rows, columns = case.cells
    layout = even_layout(*case.size, columns, rows, rib=float(rng.uniform(4, 8)), flange=float(rng.uniform(15, 30)))
    shares = {"rectangle": 0.72, "island": 0.1, "step": 0.08, "slope": 0.05, "lowered": 0.05}
    kinds = [str(k) for k in rng.choice(list(shares), rows * columns, p=list(shares.values()))]
    part = build_part(f"stressed plate {seed} (invented)", layout, kinds, rng, stock=case.warp + 0.3)
    stiff = _RibsAndWebs(part, layout)
    x = mesh_lines([0.0, *layout.columns.ravel(), layout.length], 60.0, least=3)
    y = mesh_lines([0.0, *layout.rows.ravel(), layout.width], 60.0, least=3)
    model = PlateModel(x, y, stiff.rigidity)
    released = deflect(model, _released(stiff, rng, max(case.size)))
    pressures = _pressures(part, layout, rng, case.dish, float(rng.normal(0.0, case.dish)))
    dished = deflect(model, Load(pressure=lambda a, b: pressures[stiff.thickness(a, b)[1]]), support=stiff.is_wall)
    values = released(*np.concatenate([floor_points(pocket, 12) for pocket in part.pockets]).T)
    factor = case.warp / float(np.ptp(values))
    return Plate(part, released.scaled(factor).plus(dished), layout, stress=10.0 * factor)


def _released(
    stiff: _RibsAndWebs, rng: np.random.Generator, side: float
) -> Callable[[Array, Array], tuple[Array, ...]]:
    """What is released along and across: partly one stress, partly each its own."""
    lengths = side * np.exp(rng.uniform(*np.log(LENGTHS), 2))
    common, *own = (waves(rng, lengths) for _ in range(3))
    across = float(rng.uniform(0.3, 0.9))
    blank = stiff.layout.blank
    stress = parabolic_stress(10.0, blank, stiff.skim)
    ribs = [released_curvature(section, stress) for section in (stiff.along, stiff.across)]

    def curvature(x: Array, y: Array) -> tuple[Array, Array]:
        web, number = stiff.thickness(x, y)
        webs = (1 - NU) / E_MPA * 24 * 10.0 * (blank / 2 - stiff.skim - web / 2) / blank**2
        shares = [np.sqrt(0.5) * (common(x, y) + one(x, y)) for one in own]
        first, second = (np.where(number < 0, rib, webs) * share for rib, share in zip(ribs, shares, strict=True))
        return first, across * second

    return Load(curvature=curvature)


def prior_of(kind: str, plate: Plate, case: Case) -> floorfit.PlatePrior | None:
    """The prior of a name."""
    height, side = plate.layout.height, max(case.size)
    if kind == "none":
        return None
    if kind == "another part":
        other = even_layout(900.0, 600.0, 2, 5)
        rng = np.random.default_rng(1)
        wrong = floorfit.prior(build_part("another", other, ["rectangle"] * 10, rng), thickness_mm=25.0)
        scale = np.array(case.size) / np.array([900.0, 600.0])
        modes = replace(wrong.modes, x=wrong.modes.x * scale[0], y=wrong.modes.y * scale[1])
        return replace(wrong, form=form_of(plate.part), modes=modes)
    given = {
        "prior": {"thickness_mm": height},
        "half ribs": {"thickness_mm": height / 2},
        "double ribs": {"thickness_mm": height * 2},
        "half lengths": {"thickness_mm": height, "lengths_mm": (0.1 * side, 0.4 * side)},
    }
    return floorfit.prior(plate.part, **given[kind])  # type: ignore[arg-type]


def run(case: Case, seed: int, kinds: list[str]) -> list[dict[str, object]]:
    """One plate with each prior."""
    plate = stressed_plate(seed, case)
    taken = take_readings(plate, seed + 1, case.per_floor)
    condition = Condition(case.name)
    out = []
    for kind in kinds:
        score = by_floorfit(condition, seed, plate, taken, prior=prior_of(kind, plate, case))
        print(case.name, seed, kind, "{:.1f} / {:.1f}".format(*rms([score])), f"{score.seconds:.2f} s", flush=True)
        out.append({"prior": kind, **asdict(score)})
    return out


def table(entries: list[dict[str, object]]) -> str:
    """Markdown: a case a row, a prior a column: field / shift in µm, share of the error without; offsets covered."""
    kinds = [kind for kind in PRIORS if any(e["prior"] == kind for e in entries)]
    lines = ["| case | " + " | ".join(kinds) + " |", "|---|" + "---|" * len(kinds)]
    for name in [*dict.fromkeys(str(e["condition"]) for e in entries), "all"]:
        rows = [e for e in entries if name in (e["condition"], "all")]
        cells, base = [], None
        for kind in kinds:
            scores = [Score(**{k: v for k, v in e.items() if k != "prior"}) for e in rows if e["prior"] == kind]  # type: ignore[arg-type]
            field, shift = rms(scores)
            base = base or (field, shift)
            covered = 100 * sum(s.covered for s in scores) / max(1, sum(s.cut for s in scores))
            false, accepts = sum(s.false for s in scores), sum(s.accepts for s in scores)
            times = f"{field / base[0]:.2f}, {shift / base[1]:.2f}"
            cells.append(f"{field:.1f} / {shift:.1f} ({times}); {covered:.0f} %; {false} of {accepts}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run what was asked for, or show the table of a run."""
    parser = argparse.ArgumentParser(description="What a prior from the part's stiffness is worth.")
    parser.add_argument("-o", "--output", type=Path)
    parser.add_argument("--final", action="store_true")
    parser.add_argument("--plates", type=int, default=4)
    parser.add_argument("--only", default="")
    parser.add_argument("--priors", default=",".join(PRIORS))
    parser.add_argument("--table", type=Path, nargs="+")
    given = parser.parse_args()
    if given.table:
        print(table([entry for path in given.table for entry in json.loads(path.read_text("utf-8"))]))
        return
    entries: list[dict[str, object]] = []
    for k, case in enumerate(CASES):
        for number in range(given.plates if given.only in case.name else 0):
            seed = (FINAL_SEEDS if given.final else SEEDS) + 20 * k + 2 * number
            entries += run(case, seed, given.priors.split(","))
            if given.output:
                given.output.write_text(json.dumps(entries, indent=0), "utf-8")
    print(table(entries))


if __name__ == "__main__":
    main()

"""Physical plates through the whole chain, and a figure for every floor.

    python tests/accuracy_chain.py -o FILE [--keep tests/accuracy/kept.json]

writes all figures as JSON, and with ``--keep`` the errors that later runs are held against. The plates are bent by
released residual stress (see ``sample_parts``), never drawn from a spline, and the chain sees only part and readings.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from physics import Plate, floor_points, floor_truth, random_plate, take_readings

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """One plate and how it was measured.

    Parameters
    ----------
    name : str
    seed : int
    size : (float, float), mm
    cells : (int, int)
        Rows and columns.
    warp : float, mm
        Range of the warp over the floors.
    per_pocket : int
        Readings a floor.
    bad : float
        Share of bad readings.
    measured_z : bool
        Whether the floor's Z was measured; else it was cut true on the plate already warped.
    tolerance : float, mm
        Web limits ±.
    """

    name: str
    seed: int
    size: tuple[float, float]
    cells: tuple[int, int]
    warp: float
    per_pocket: int
    bad: float
    measured_z: bool
    tolerance: float = 0.1


#: Standard deviation of a measured Z that `take_readings` draws, mm. It is stated as it is: an interval can only cover
#: as often as it says where the uncertainty of the readings is the true one (the default, 0.005, is a cautious one).
Z_NOISE = 0.002

#: Sizes, warps, sparse and dense, clean and contaminated; the seeds of pairs are the same, so that clean and
#: contaminated readings of one plate can be compared.
CASES = (
    Case("frame, dense", 11, (1200, 500), (3, 5), 0.4, 12, 0.0, False),
    Case("frame, dense, 10 % bad", 11, (1200, 500), (3, 5), 0.4, 12, 0.10, False),
    Case("panel", 12, (2400, 1000), (5, 8), 0.6, 7, 0.0, True),
    Case("panel, 5 % bad", 12, (2400, 1000), (5, 8), 0.6, 7, 0.05, True),
    Case("large", 13, (4000, 1200), (5, 14), 1.0, 7, 0.0, True),
    Case("large, 5 % bad", 13, (4000, 1200), (5, 14), 1.0, 7, 0.05, True),
    Case("large, sparse", 14, (4000, 1200), (5, 14), 0.8, 4, 0.0, False),
    Case("spar, 3 % bad", 15, (8000, 1000), (3, 34), 2.0, 7, 0.03, True),
    Case("tight, 3 % bad", 16, (2400, 1000), (5, 8), 1.2, 7, 0.03, True, tolerance=0.05),
    Case("crooked, 3 % bad", 17, (4000, 1200), (5, 14), 1.9, 7, 0.03, True),
)


@dataclass(frozen=True)
class Figures:
    """What came out for one floor, mm; ``None`` where the floor was held.

    Parameters
    ----------
    pocket, action, verdict, reason : str
    offset_error : float
        Offset less the best shift, for a shift; for a tilt or follow, less the middle of what is left over.
    offset_u : float
        Expanded uncertainty stated, k = 2.
    web_min_error, web_max_error : float
        Least and greatest web stated, less the true ones.
    is_web_covered : bool
        The stated interval holds the true least and the true greatest web.
    in_tolerance : bool
        The true web lies within its limits all over the floor.
    by_shift, by_tilt : bool
        Whether the best shift, or the best plane, could bring the true web into its limits.
    probability : float
        Stated probability of conformance.
    """

    pocket: str
    action: str
    verdict: str
    reason: str
    offset_error: float | None
    offset_u: float | None
    web_min_error: float | None
    web_max_error: float | None
    is_web_covered: bool | None
    in_tolerance: bool | None
    by_shift: bool
    by_tilt: bool
    probability: float | None


def run(case: Case) -> list[Figures]:
    """Make the plate, measure it, correct it, and compare with the truth."""
    import floorfit

    plate = _plate(case.seed, case.size, case.cells, case.warp, case.tolerance)
    taken = take_readings(plate, case.seed + 100, case.per_pocket, bad=case.bad, measured_z=case.measured_z)
    # In the order of the pockets a drift of the gauge cannot be told from the plate: intervals allow for one of up to
    # 0.020 mm, a small one more likely than a large one, and can only cover as often as they say where there is one.
    drift = np.random.default_rng(case.seed + 200).triangular(-0.020, 0.0, 0.020)
    along = np.linspace(-0.5, 0.5, len(taken.readings))
    readings = replace(taken.readings, thickness=taken.readings.thickness + drift * along)
    # Floors that were cut true on the warped plate did not move since: their Z is as programmed, exactly.
    stated = {} if case.measured_z else {"floor_z": "as-programmed", "moved_u": 0.0}
    result = floorfit.correct(plate.part, readings, floorfit.Settings(z_u=Z_NOISE, **stated))
    return [_figures(plate, decision) for decision in result.decisions]


@lru_cache(maxsize=1)
def _plate(seed: int, size: tuple[float, float], cells: tuple[int, int], warp: float, tolerance: float) -> Plate:
    """The plate of a pair is bent once."""
    return random_plate(seed, *size, *cells, warp_range=warp, tolerance=tolerance)


def _figures(plate: Plate, decision) -> Figures:  # type: ignore[no-untyped-def]
    pocket = plate.part.pocket(decision.pocket)
    points = floor_points(pocket, 40)
    warp = plate.warp(*points.T)
    width = pocket.tolerance.width
    truth = floor_truth(plate, pocket)
    by_shift = truth.warp_max - truth.warp_min <= width
    by_tilt = by_shift or _is_by_plane(points, warp, width)  # a shift is a plane
    head = (decision.pocket, decision.action, decision.verdict, str(decision.reason))
    if decision.action == "hold":
        return Figures(*head, None, None, None, None, None, None, by_shift, by_tilt, None)
    deviation = decision.correction.at(*points.T) - warp
    low, high = float(deviation.min()), float(deviation.max())
    lower, upper = pocket.tolerance.lower, pocket.tolerance.upper
    assert lower is not None and upper is not None
    ends = decision.web_after_interval_mm
    return Figures(
        *head,
        offset_error=round((low + high) / 2 - (lower + upper) / 2, 6),
        offset_u=round(decision.offset_u_mm, 6),
        web_min_error=round(decision.web_after_min_mm - (pocket.web + low), 6),
        web_max_error=round(decision.web_after_max_mm - (pocket.web + high), 6),
        is_web_covered=bool(ends[0] <= pocket.web + low and pocket.web + high <= ends[1]),
        in_tolerance=bool(lower <= low and high <= upper),
        by_shift=bool(by_shift),
        by_tilt=bool(by_tilt),
        probability=round(decision.conformance_probability, 6),
    )


def _is_by_plane(points: Array, warp: Array, width: float) -> bool:
    """Whether some plane leaves a band of the warp no wider than ``width``.

    The plane of least squares tells for most floors; where it does not, a linear programme over the places that are
    corners of the convex hull of all: a plane is furthest from the others nowhere.
    """
    from scipy.optimize import linprog
    from scipy.spatial import ConvexHull

    centred = (points - points.mean(axis=0)) / np.ptp(points, axis=0).max()
    plane = np.column_stack([np.ones(len(points)), centred])
    left = warp - plane @ np.linalg.lstsq(plane, warp, rcond=None)[0]
    if np.ptp(left) <= width:
        return True
    corners = ConvexHull(np.column_stack([centred, left / np.ptp(left)])).vertices
    plane, warp, one = plane[corners], warp[corners], np.ones((len(corners), 1))
    found = linprog(
        [0, 0, 0, 1],
        A_ub=np.vstack([np.hstack([plane, -one]), np.hstack([-plane, -one])]),
        b_ub=np.concatenate([warp, -warp]),
        bounds=[(None, None)] * 3 + [(0, None)],
    )
    return bool(2 * found.fun <= width)


@dataclass(frozen=True)
class Summary:
    """Figures of many floors together; errors in mm, shares from 0 to 1."""

    floors: int
    held: int
    offset_rms: float
    offset_worst: float
    worst_pocket: str
    web_rms: float
    offset_coverage: float
    web_coverage: float
    attainable: int
    attained: float
    claimed: float
    false_accepts: int
    false_holds: float
    tilts_missed: int


def summarise(figures: Iterable[Figures]) -> Summary:
    """Put floors together.

    A floor is *attainable* where the best shift or plane brings the true web into its limits. A *false accept* is
    called conform and lies outside. A *false hold* is attainable and yet held.
    """
    every = list(figures)
    cut = [f for f in every if f.offset_error is not None]
    errors = np.array([f.offset_error for f in cut], float)
    webs = np.array([(f.web_min_error, f.web_max_error) for f in cut], float)
    stated = np.array([f.offset_u for f in cut], float) * 1.959964 / 2
    reach = [f for f in every if f.by_shift or f.by_tilt]
    share = max(1, len(reach))
    return Summary(
        floors=len(every),
        held=len(every) - len(cut),
        offset_rms=float(np.sqrt(np.mean(errors**2))),
        offset_worst=float(abs(errors).max()),
        worst_pocket=cut[int(np.argmax(abs(errors)))].pocket,
        web_rms=float(np.sqrt(np.mean(webs**2))),
        offset_coverage=float(np.mean(abs(errors) <= stated)),
        web_coverage=float(np.mean([f.is_web_covered for f in cut])),
        attainable=len(reach),
        attained=sum(f.in_tolerance is True for f in reach) / share,
        claimed=sum(f.verdict == "conform" and f.action != "hold" for f in reach) / share,
        false_accepts=sum(f.verdict == "conform" and f.in_tolerance is False for f in cut),
        false_holds=sum(f.action == "hold" for f in reach) / share,
        tilts_missed=sum(f.by_tilt and not f.by_shift and f.action == "shift" for f in every),
    )


def document(results: dict[str, list[Figures]]) -> str:
    """All figures and their summaries, as JSON, a floor a line."""
    plates = []
    for name, floors in results.items():
        lines = ",\n".join("   " + json.dumps(asdict(f)) for f in floors)
        head = json.dumps(rounded(summarise(floors)))
        plates.append(f' {json.dumps(name)}: {{\n  "summary": {head},\n  "floors": [\n{lines}\n  ]\n }}')
    return "{\n" + ",\n".join(plates) + "\n}\n"


def kept_document(results: dict[str, list[Figures]]) -> str:
    """Offset error of each floor, mm: what a later run must not make worse."""
    plates = [
        f" {json.dumps(name)}: {json.dumps({f.pocket: f.offset_error for f in floors})}"
        for name, floors in results.items()
    ]
    return "{\n" + ",\n".join(plates) + "\n}\n"


def rounded(summary: Summary) -> dict[str, object]:
    """A summary as a dictionary, 1e-6."""
    return {k: round(v, 6) if isinstance(v, float) else v for k, v in asdict(summary).items()}


def main() -> None:
    """Run all plates and write what was asked for."""
    parser = argparse.ArgumentParser(description="Write the figures of all plates.")
    parser.add_argument("-o", "--output", type=Path, required=True)
    parser.add_argument("--keep", type=Path, help="also write the errors that later runs are held against")
    arguments = parser.parse_args()
    results = {case.name: run(case) for case in CASES}
    for name, floors in results.items():
        print(name, rounded(summarise(floors)))
    print("all plates", rounded(summarise([f for floors in results.values() for f in floors])))
    arguments.output.write_text(document(results), "utf-8")
    if arguments.keep:
        arguments.keep.write_text(kept_document(results), "utf-8")


if __name__ == "__main__":
    main()

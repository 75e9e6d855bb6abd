"""Many jobs of one part: how it bends, how it is cut, and what the next one can take as known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from floorfit.arrays import Array, Flags, Rows
from floorfit.errors import Finding, InputError
from floorfit.identity import days_between, other_piece
from floorfit.part.model import Part
from floorfit.readings.repeats import Repeatability
from floorfit.surface.expected import mean_share
from floorfit.verify.charts import Capability, Chart, Trend, capability, control_chart, trend
from floorfit.verify.shapes import Alike, Shapes, find_shapes, how_alike
from floorfit.verify.stream import FinishedJob, JobSummary, Nodes, Shelf, find_folders, read_finished, read_job

__all__ = ["PocketSeries", "Series", "inside_nodes", "series"]

#: Facts in which all jobs of a series agree.
OF_A_SERIES = ("part_number", "revision", "side")
#: Day from which days are counted.
FIRST_DAY = "0001-01-01"
#: Warps that differ nowhere by more are of the same readings, mm.
SAME_WARP_MM = 1e-6


@dataclass(frozen=True)
class PocketSeries:
    """One pocket over the jobs.

    Parameters
    ----------
    pocket : str
    jobs : (m,) ndarray of int
        Jobs that gave it an offset, by their place in time.
    chart : Chart
        Of the offsets, mm.
    drift : Trend
        Of the offsets, mm a job.
    capability : Capability
        Of the finished web: one value for each verified job, the mean deviation at its readings, mm.
    """

    pocket: str
    jobs: Rows
    chart: Chart
    drift: Trend
    capability: Capability


@dataclass(frozen=True)
class Series:
    """A series of jobs of one part, in order of time.

    Parameters
    ----------
    part : Part
    fingerprint : str
        Of the part's geometry.
    names, jobs, created : tuple of str
        Folder, id and time of each job.
    x, y : (k,), (l,) ndarray, mm
        Nodes.
    mean, spread : (k, l) ndarray, mm
        Mean warp and standard deviation over the parts (0 under two).
    mean_u : (k, l) ndarray, mm
        Standard uncertainty of the mean.
    fit_u : (k, l) ndarray or None, mm
        That of a part's own surface, root mean square over the parts.
    warps : int
        Jobs with a surface.
    shapes : Shapes
        At the nodes.
    alike : Alike
    pockets : tuple of PocketSeries
    bias_chart : Chart
        Of the common biases of verified jobs, mm.
    bias_drift : Trend
        mm a job.
    verified : int
        Jobs with a verification.
    repeatability : Repeatability
        Of the gauge, from repeats of one place.
    readings : float
        Mean number of readings used.
    enough : int or None
        Readings that would do with the mean warp taken as known; None where it does not help.
    findings : tuple of Finding
        Jobs that were left out, and what a person should know.
    identity : dict of str to str
        The facts of `OF_A_SERIES` that its jobs state.
    """

    part: Part
    fingerprint: str
    names: tuple[str, ...]
    jobs: tuple[str, ...]
    created: tuple[str, ...]
    x: Array
    y: Array
    mean: Array
    spread: Array
    mean_u: Array
    fit_u: Array | None
    warps: int
    shapes: Shapes
    alike: Alike
    pockets: tuple[PocketSeries, ...]
    bias_chart: Chart
    bias_drift: Trend
    verified: int
    repeatability: Repeatability
    readings: float
    enough: int | None
    findings: tuple[Finding, ...] = field(default=())
    identity: dict[str, str] = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        """Whether no job was left out."""
        return not any(finding.severity == "error" for finding in self.findings)


def series(jobs: Iterable[str | Path], *, progress: Callable[[int, int], None] | None = None) -> Series:
    """Read jobs of one part, one at a time.

    Parameters
    ----------
    jobs : iterable of path
        Job folders, verification folders, or folders that hold them, to three levels down.
    progress : callable, optional
        Called with the number done and the number in all.

    Returns
    -------
    Series

    Raises
    ------
    InputError
        If no job could be read.

    Notes
    -----
    Memory: some 30 kB a job. A broken job, and one of another part than most are, is left out with a finding. The order
    is that of ``read_at`` where all jobs state it, then of the records' time, then of their names. A verification
    belongs to the job whose id it names; where several name one job, a pocket counts as it was read last.
    """
    paths = [Path(one) for one in jobs]
    found, shelf = _read_all(list(find_folders(paths)), progress)
    findings = [one for one in found if isinstance(one, Finding)]
    summaries = [one for one in found if isinstance(one, JobSummary)]
    words = "is not there. Check the path."
    findings += [Finding("missing", str(path), "", words) for path in paths if not path.exists()]
    if not summaries:
        lines = findings or [
            Finding("no-job", ", ".join(map(str, paths)), "", "no job folder here. Name a folder of jobs.")
        ]
        raise InputError(lines)
    key, kept, others = _of_one_part(summaries)
    if not kept:
        raise InputError([*findings, *others])
    part, nodes = shelf.parts[key]
    finished = [one for one in found if isinstance(one, FinishedJob)]
    told = [*findings, *others, *_unfinished(kept, finished), *_doubled(kept), *_not_stated(kept)]
    return _series(key, part, nodes, kept, [one for one in finished if not one.doubt], told)


def _unfinished(kept: list[JobSummary], finished: list[FinishedJob]) -> list[Finding]:
    """Verifications that say themselves that they read something else than the finished webs of their job."""
    names, out = {one.job: one.name for one in kept}, []
    for one in finished:
        if one.doubt and one.job in names:
            text = f"its verification is not of its finished webs ({one.doubt}); it was left out. Read them and verify."
            out.append(Finding("doubtful-proof", names[one.job], "", text))
    return out


def _read_all(
    files: list[tuple[str, Path]], progress: Callable[[int, int], None] | None
) -> tuple[list[JobSummary | FinishedJob | Finding], Shelf]:
    shelf, found = Shelf(), []
    for count, (kind, file) in enumerate(files, start=1):
        found.append(read_job(file, shelf) if kind == "job" else read_finished(file))
        if progress is not None:
            progress(count, len(files))
    return found, shelf


def _of_one_part(summaries: list[JobSummary]) -> tuple[str, list[JobSummary], list[Finding]]:
    key = Counter(one.part for one in summaries).most_common(1)[0][0]
    same = [one for one in summaries if one.part == key]
    usual = _usual(same)
    words = "is of another part than most of the series; it was left out. Make a series of its own for it."
    out = [Finding("other-part", one.name, "", words) for one in summaries if one.part != key]
    kept: list[JobSummary] = []
    for one in _in_time(same):
        if fault := _unfit(one, usual, kept):
            out.append(fault)
        else:
            kept.append(one)
    return key, kept, out


def _in_time(jobs: list[JobSummary]) -> list[JobSummary]:
    """Jobs as the plates were read, where all say when, and else as the jobs were run."""
    days = {id(one): days_between(FIRST_DAY, one.identity.get("read_at", "")) for one in jobs}
    is_known = None not in days.values()
    return sorted(jobs, key=lambda one: ((days[id(one)] or 0) if is_known else 0, one.created, one.name))


def _usual(jobs: list[JobSummary]) -> dict[str, str]:
    """The facts in which jobs of a series agree, as most that state them do."""
    stated = {fact: Counter(one.identity[fact] for one in jobs if one.identity.get(fact)) for fact in OF_A_SERIES}
    return {fact: max(counts, key=lambda text: counts[text], default="") for fact, counts in stated.items()}


def _unfit(one: JobSummary, usual: dict[str, str], kept: list[JobSummary]) -> Finding | None:
    """Why a job of the part is left out: another piece, no warp of the plate, or a plate that is there already."""
    if differ := other_piece(usual, one.identity):
        came = ", ".join(f'{fact} "{one.identity[fact][:60]}"' for fact in differ)
        text = f"states {came}, most of the series do not; it was left out. Make a series of its own for it."
        return Finding("other-piece", one.name, "", text)
    if one.doubt:
        text = (
            f"has no warp that is sure to be the plate's ({one.doubt}); it was left out. Settle that, and run it again."
        )
        return Finding("doubtful-job", one.name, "", text)
    first = next((other for other in kept if _is_same(one, other)), None)
    if first is None:
        return None
    text = f"has the readings of {first.name}, and would count twice; it was left out. Take one of the two away."
    return Finding("same-job", one.name, "", text)


def _is_same(one: JobSummary, other: JobSummary) -> bool:
    """Whether two jobs were run on the same readings: no two plates bend alike to a nanometre."""
    is_alike = len(one.warp) == len(other.warp) > 0 and bool(np.abs(one.warp - other.warp).max() < SAME_WARP_MM)
    return one.job == other.job or is_alike


def _doubled(kept: list[JobSummary]) -> list[Finding]:
    """Warn of plates that stand in the series twice."""
    plates = Counter(serial for one in kept if (serial := one.identity.get("serial", "")))
    twice = [serial for serial, count in plates.items() if count > 1]
    if not twice:
        return []
    words = f"{len(twice)} plates are there more than once ({', '.join(twice[:4])}): each job counts as a plate."
    return [Finding("same-plate", "series", "", words, "warning")]


def _not_stated(kept: list[JobSummary]) -> list[Finding]:
    """Warn of facts of the series that some jobs say nothing of."""
    out = []
    for fact, text in _usual(kept).items():
        silent = sum(not one.identity.get(fact, "") for one in kept)
        if text and silent:
            words = f'{silent} of {len(kept)} jobs state no {fact}; the series counts as "{text[:60]}". Check them.'
            out.append(Finding("piece-not-stated", "series", "", words, "warning"))
    return out


def _series(
    key: str, part: Part, nodes: Nodes, kept: list[JobSummary], finished: list[FinishedJob], findings: list[Finding]
) -> Series:
    shape = (len(nodes.x), len(nodes.y))
    fields = np.array([one.warp for one in kept if len(one.warp)]).reshape(-1, shape[0] * shape[1])
    # Without any, that of a plate which lies flat.
    warps = fields if len(fields) else np.zeros((1, shape[0] * shape[1]))
    known_u = [one.warp_u for one in kept if len(one.warp_u)]
    inside = inside_nodes(part, nodes.x, nodes.y)
    alike = how_alike(fields, shape, inside)
    webs = _by_job(kept, finished)
    biases = np.array([webs[one.job].bias if one.job in webs else np.nan for one in kept])
    repeats = [one.repeats for one in kept if one.repeats.dof]
    dof = sum(one.dof for one in repeats)
    sd = float(np.sqrt(sum(one.sd**2 * one.dof for one in repeats) / dof)) if dof else float("nan")
    readings = float(np.mean([one.readings for one in kept]))
    spread = warps.std(axis=0, ddof=min(1, len(warps) - 1))
    return Series(
        part=part, fingerprint=key, names=tuple(one.name for one in kept), jobs=tuple(one.job for one in kept),
        created=tuple(one.created for one in kept), x=nodes.x, y=nodes.y,
        mean=warps.mean(axis=0).reshape(shape), spread=spread.reshape(shape),
        mean_u=(spread / np.sqrt(len(warps))).reshape(shape),
        fit_u=np.sqrt(np.mean(np.square(known_u), axis=0)).reshape(shape) if known_u else None,
        warps=len(fields), shapes=find_shapes(warps),
        alike=alike, pockets=tuple(_pocket(part, k, kept, webs) for k in range(len(part.pockets))),
        bias_chart=control_chart(biases[np.isfinite(biases)]), bias_drift=trend(biases), verified=len(webs),
        repeatability=Repeatability(sd, dof), readings=readings, enough=_enough(part, readings, alike, len(fields)),
        findings=tuple(findings), identity={fact: text for fact, text in _usual(kept).items() if text},
    )  # fmt: skip


def inside_nodes(part: Part, x: Array, y: Array) -> Flags:
    """Flag the nodes x × y, flat, that lie on the part.

    Parameters
    ----------
    part : Part
    x, y : (k,), (l,) ndarray, mm
    """
    xx, yy = np.meshgrid(x, y, indexing="ij")
    return part.holds(xx.ravel(), yy.ravel())


def _by_job(kept: list[JobSummary], finished: list[FinishedJob]) -> dict[str, FinishedJob]:
    known = {one.job for one in kept}
    out: dict[str, FinishedJob] = {}
    for one in finished:
        if one.job in known:
            before = out[one.job].pockets if one.job in out else {}
            out[one.job] = replace(one, pockets={**before, **one.pockets})
    return out


def _pocket(part: Part, index: int, kept: list[JobSummary], webs: dict[str, FinishedJob]) -> PocketSeries:
    pocket = part.pockets[index]
    offsets = np.array([one.offsets[index] for one in kept])
    known = np.flatnonzero(np.isfinite(offsets))
    found = [webs[one.job].pockets[pocket.id] for one in kept if one.job in webs and pocket.id in webs[one.job].pockets]
    return PocketSeries(
        pocket.id, known, control_chart(offsets[known]), trend(offsets), capability(found, pocket.tightest)
    )


def _enough(part: Part, readings: float, alike: Alike, parts: int) -> int | None:
    """Readings that give with the mean of the parts what all give without; one on each floor is the least.

    For a thin-plate spline in the plane the mean variance of the fit is σ² edf/n with edf ∝ (n/(σ² λ))^½ (Wahba 1990,
    §4.5, for m = d = 2), and λ = 1/τ² for a curvature of variance τ²: variance ∝ σ τ/√n. With the share s of
    it that the mean has, and of τ² the share c left, equal variance needs c/(1 − s)² of the readings.
    """
    if alike.answer not in ("yes", "partly"):
        return None
    wanted = int(np.ceil(readings * alike.curvature_left / (1 - mean_share(parts)) ** 2))
    return max(len(part.pockets), wanted) if wanted < readings else None

"""A series read one job at a time: only what later sums need is kept, so that thousands fit in memory."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from floorfit.arrays import Array
from floorfit.decision.decision import bilinear
from floorfit.errors import Finding
from floorfit.part.model import Part
from floorfit.part.part_file import part_from_document
from floorfit.readings.repeats import Repeatability, estimate_repeatability, group_sites
from floorfit.readings.screening import SAME_PLACE_MM
from floorfit.record import RECORD_FORMAT, SurfaceRecord
from floorfit.result import UNSETTLED
from floorfit.sealed import changed_files
from floorfit.verify.predicted import filled, surfaces_of
from floorfit.verify.written import VERIFICATION_FORMAT

__all__ = [
    "FinishedJob",
    "JobSummary",
    "Nodes",
    "Shelf",
    "find_folders",
    "fingerprint",
    "read_finished",
    "read_job",
]

#: Nodes of the grid on which warps are compared: at most, at least, and about this many across the smallest floor.
MOST, LEAST, PER_FLOOR = 2_500, 400, 4.0
#: What `verify` finds where readings are not those of the job's finished webs.
NOT_FINISHED_WEBS = ("other-plate", "looks-roughed", "turned")
#: Folders inside folders that are looked into.
DEPTH = 3

T = TypeVar("T")


@dataclass(frozen=True)
class Nodes:
    """The grid on which the warps of one part are compared, mm; arrays (k,) and (l,)."""

    x: Array
    y: Array

    @classmethod
    def of(cls, part: Part) -> Nodes:
        """Equal steps over the part's rectangle."""
        x0, y0, x1, y1 = part.bounds
        step = part.narrowest / PER_FLOOR
        area = (x1 - x0) * (y1 - y0)
        step = float(np.clip(step, np.sqrt(area / MOST), np.sqrt(area / LEAST)))
        counts = [max(5, round(side / step) + 1) for side in (x1 - x0, y1 - y0)]
        return cls(np.linspace(x0, x1, counts[0]), np.linspace(y0, y1, counts[1]))


@dataclass(frozen=True)
class JobSummary:
    """What a series keeps of a job.

    Parameters
    ----------
    name, job, created, part : str
        Folder, id, time, and the fingerprint of the part.
    offsets : (pockets,) ndarray, mm
        At the centroids; NaN where held.
    warp : (k * l,) ndarray, mm
        At the nodes; empty where the job had no surface.
    warp_u : (k * l,) ndarray, mm
        Its standard uncertainty; empty where the record has no map.
    readings : int
        Readings used.
    repeats : Repeatability
        Of the gauge, from repeats of one place.
    identity : dict of str to str
        Facts of the plate, by the keys of `floorfit.identity`.
    doubt : str
        Code of what makes its warp none of the plate's; ``""`` where there is nothing.
    """

    name: str
    job: str
    created: str
    part: str
    offsets: Array
    warp: Array
    warp_u: Array
    readings: int
    repeats: Repeatability
    identity: dict[str, str]
    doubt: str = ""


@dataclass(frozen=True)
class FinishedJob:
    """What a series keeps of a verification.

    Parameters
    ----------
    job : str
        Id of the job.
    bias : float, mm
        Common bias, what the job had taken off already included; NaN where there is none.
    pockets : dict of str to float, mm
        By pocket: mean deviation of the web from nominal at the readings.
    doubt : str
        Code of what makes its readings none of the job's finished webs; ``""`` where there is nothing.
    """

    job: str
    bias: float
    pockets: dict[str, float]
    doubt: str = ""


def find_folders(paths: Iterable[str | Path], depth: int = DEPTH) -> Iterator[tuple[str, Path]]:
    """Yield ``("job", file)`` and ``("verify", file)`` in and under the paths, in order of name.

    Parameters
    ----------
    paths : iterable of path
    depth : int
        Levels below them.
    """
    for path in map(Path, paths):
        if path.is_file():
            yield ("verify" if path.name == "verify.json" else "job", path)
            continue
        found = [(kind, path / name) for kind, name in (("job", "record.json"), ("verify", "verify.json"))]
        yield from ((kind, file) for kind, file in found if file.is_file())
        if depth > 0 and path.is_dir():
            yield from find_folders(sorted(one for one in path.iterdir() if one.is_dir()), depth - 1)


def fingerprint(document: dict[str, Any]) -> str:
    """Digest of a part's geometry and tolerances; its name does not count."""
    plain = {key: value for key, value in document.items() if key != "name"}
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()[:16]


class Shelf:
    """Parts met in a series, each with its nodes; made once for each fingerprint."""

    def __init__(self) -> None:
        """Start empty."""
        self.parts: dict[str, tuple[Part, Nodes]] = {}

    def part(self, document: dict[str, Any]) -> tuple[str, Part, Nodes]:
        """Return fingerprint, part and nodes."""
        key = fingerprint(document)
        if key not in self.parts:
            part = part_from_document(document, "record.json")
            self.parts[key] = (part, Nodes.of(part))
        return (key, *self.parts[key])


def read_job(file: Path, shelf: Shelf) -> JobSummary | Finding:
    """Read what is needed of a record; a finding where it is broken.

    Parameters
    ----------
    file : Path
        A ``record.json``.
    shelf : Shelf
        What jobs of one part share.
    """
    return _read(file, RECORD_FORMAT, lambda document: _summary(file, document, shelf))


def read_finished(file: Path) -> FinishedJob | Finding:
    """Read what is needed of a verification; a finding where it is broken."""
    return _read(file, VERIFICATION_FORMAT, _finished)


def _read(file: Path, wanted: str, take: Callable[[dict[str, Any]], T]) -> T | Finding:
    """What is taken of a file of the format wanted; a finding where it is broken."""
    try:
        text = file.read_text(encoding="utf-8")
        if wanted == RECORD_FORMAT and (changed := changed_files(file, text)):
            return changed[0]
        document = json.loads(_shortened(text))
        if document["format"] != wanted:
            return _broken(file, f"is of the format {document['format']!r}, {wanted} was expected")
        return take(document)
    except OSError as error:
        return _broken(file, f"cannot be read ({error.strerror})")
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError) as error:
        return _broken(file, f"does not hold together ({type(error).__name__}: {' '.join(str(error).split())[:80]})")


def _finished(document: dict[str, Any]) -> FinishedJob:
    doubt = next((one["code"] for one in document.get("findings", ()) if one["code"] in NOT_FINISHED_WEBS), "")
    bias = float(document.get("applied_bias_mm", 0.0)) + float(np.array(document["bias_mm"]["value"], float))
    return FinishedJob(document["job"], bias, _webs(document), doubt)


def _summary(file: Path, document: dict[str, Any], shelf: Shelf) -> JobSummary:
    key, part, nodes = shelf.part(document["part"])
    decisions = document["decisions"]
    if [one["pocket"] for one in decisions] != [pocket.id for pocket in part.pockets]:
        raise ValueError("decisions and pockets differ")
    return JobSummary(
        name=file.parent.name,
        job=str(document["job"]),
        created=str(document["created"]),
        part=key,
        offsets=np.array([one["offset_mm"] for one in decisions], float),
        warp=_warp(document["surface"], nodes),
        warp_u=_warp_u(document["map"], nodes),
        readings=int(document["summary"]["readings_used"]),
        repeats=_repeats(document["readings"]),
        identity={key: str(text) for key, text in document.get("identity", {}).items()},
        doubt=_doubt(document),
    )


def _doubt(document: dict[str, Any]) -> str:
    """Whether Z of the floors was not known, or an input was left to be settled: then the warp is not the plate's.

    A common height is no matter: a fit with the mean taken off finds its plane anew. Z that may be the programme's are
    a question, not an answer, and a slow change is allowed for.
    """
    reasons = [str(one["reason"]) for one in document["decisions"]]
    if reasons and all(reason.startswith("floor-z-unknown") for reason in reasons):
        return "floor-z-unknown"
    spoiling = set(UNSETTLED) - {"common-height", "z-programmed", "slow-change-large"}
    return next((one["code"] for one in document["findings"] if one["code"] in spoiling), "")


def _warp(surface: dict[str, Any] | None, nodes: Nodes) -> Array:
    if surface is None:
        return np.empty(0)
    warp = surfaces_of(SurfaceRecord.model_validate(surface))[0].on_grid(nodes.x, nodes.y).ravel()
    if not np.isfinite(warp).all():
        raise ValueError("the surface is not finite")
    return warp


def _warp_u(found: dict[str, Any] | None, nodes: Nodes) -> Array:
    if found is None:
        return np.empty(0)
    layer = filled(np.array(found["warp_u_mm"], float))
    places = np.meshgrid(nodes.x, nodes.y, indexing="ij")
    return bilinear(np.array(found["x_mm"]), np.array(found["y_mm"]), layer.T, *places).ravel()


def _repeats(readings: dict[str, Any]) -> Repeatability:
    used = np.array(readings["used"], dtype=bool)
    x, y, t = (np.array(readings[name], dtype=float)[used] for name in ("x_mm", "y_mm", "thickness_mm"))
    known = np.isfinite(t)
    return estimate_repeatability(group_sites(x[known], y[known], SAME_PLACE_MM), t[known])


def _webs(document: dict[str, Any]) -> dict[str, float]:
    readings = document["readings"]
    used = np.array(readings["used"], dtype=bool)
    floor: NDArray[np.object_] = np.array(readings["floor"], dtype=object)
    deviation = np.array(readings["deviation_mm"], dtype=float)
    return {str(name): float(deviation[used & (floor == name)].mean()) for name in np.unique(floor[used])}


def _shortened(text: str) -> str:
    """Cut most layers of the map out of a record before it is parsed: three quarters of it, and not needed here.

    The keys cannot stand inside a string of the record: a quotation mark there is written with a backslash.
    """
    for key, following in ((',"warp_mm":', ',"warp_u_mm":'), (',"pocket":[[', '},"neighbours":[')):
        start = text.find(key, text.find(',"map":{'))
        end = text.find(following, start)
        text = text if start < 0 or end < 0 else text[:start] + text[end:]
    return text


def _broken(file: Path, words: str) -> Finding:
    return Finding("broken-job", str(file), "", f"{words}; it was left out. Run it again, or take it away.")

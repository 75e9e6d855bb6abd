"""What a part's own stiffness makes likely before any reading: modes of plates whose stress lets go.

Each of some 1,500 plates of the part's own ribs and webs is bent by a random load: stress that changes over the plan by
one of several lengths, or clamps that are opened. The magnitude of a load is left open, since the readings tell it.
What the plates have in common is kept as the leading modes of their deflections; about zero, since nobody knows to
which side a plate will bend.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array
from floorfit.errors import ABOVE_ZERO, Finding, InputError, Range, check_ranges
from floorfit.one_thread import one_thread
from floorfit.part.model import Part
from floorfit.plate.bending import PlateMesh
from floorfit.plate.rigidity import part_rigidity
from floorfit.plate.stress import StressLengths, clamped, stressed
from floorfit.surface.modes import Modes
from floorfit.versions import version_of

__all__ = ["PlatePrior", "form_of", "prior"]

#: Correlation lengths as shares of the part's longer side.
SHARES = (0.2, 0.8)
#: Elements of the mesh: some six to a rib's distance on parts of fifty floors.
ELEMENTS = 1_200
#: Share of the variance that the modes hold; the spline beside them has the rest. And the most modes.
KEPT, MOST_MODES = 0.999, 40
#: Least share that the modes of a file hold: where stress changes over a fiftieth of a plate, 40 modes hold 0.996.
LEAST_HELD = 0.9
#: Decimals of a mode, whose height is of the order of one: what a file keeps, and the same without a file.
DECIMALS = 6
#: Share of the fields that are clamps opened, and their variance beside that of stress.
CLAMP_SHARE, CLAMP_VARIANCE = 0.15, 0.1
#: Height of the ribs where it is not stated, in webs: pockets are some twenty times as deep as their webs are thick
#: (common practice, no source). Twice or half of it costs nothing (tests/benchmarks/prior.py).
HEIGHT_IN_WEBS = 20.0


@dataclass(frozen=True)
class PlatePrior:
    """Modes of a part whose stress lets go.

    Parameters
    ----------
    part : str
        Name of the part.
    form : str
        Digest of what bends: its outline, pockets and webs, see `form_of`.
    thickness_mm : float, mm
        Height of the ribs.
    fields : int
        Simulated plates in all.
    seed : int
    lengths_mm : tuple of float, mm
        Correlation lengths of the stress, along X and along Y each.
    modes : Modes
        Root mean square of a plate's deflection is 1 over the part.
    version : str
        Of the package that made it.
    source : str
        File that it came from; ``""`` if none.
    """

    part: str
    form: str
    thickness_mm: float
    fields: int
    seed: int
    lengths_mm: tuple[float, ...]
    modes: Modes
    version: str = ""
    source: str = ""

    def lines(self) -> list[str]:
        """Say in words what was simulated, a line each."""
        return [
            f"{self.fields} plates with ribs {self.thickness_mm:g} mm high, stress that changes over "
            f"{min(self.lengths_mm):.0f} to {max(self.lengths_mm):.0f} mm: {len(self.modes.values)} modes hold "
            f"{KEPT:.1%} of how they bend."
        ]

    def check(self, part: Part) -> None:
        """Refuse the prior of another part, and one whose modes are not those of its plates.

        Parameters
        ----------
        part : Part

        Raises
        ------
        InputError
            Unless this is the prior of a part of that form, and its modes span it and are as high as `modes` says.
        """
        if self.form != form_of(part):
            text = (
                f'is the prior of "{self.part}", whose outline, pockets or webs are not those of "{part.name}". '
                "Make one of this part with `floorfit prior`."
            )
            raise InputError([Finding("other-part", self.source or "prior", "", text)])
        ends = [*self.modes.x[[0, -1]], *self.modes.y[[0, -1]]]
        held = float(np.mean((self.modes.values.clip(-1e3, 1e3) ** 2).sum(axis=0)))
        if not (np.allclose(ends, np.array(part.bounds)[[0, 2, 1, 3]]) and LEAST_HELD < held < 1.001):
            text = "its modes do not span the part, or are not as high as plates'. Make it again with `floorfit prior`."
            raise InputError([Finding("bad-prior", self.source or "prior", "modes", text)])


def form_of(part: Part) -> str:
    """SHA-256 of what bends: outline, and of each pocket its rings, floor, underside and stock, to 1 µm.

    Parameters
    ----------
    part : Part
    """
    rings = [part.outline, *(ring for pocket in part.pockets for ring in (pocket.boundary, *pocket.islands))]
    heights = [
        (len(p.islands), p.floor_z, p.web, p.underside_z, p.finish_stock, *(1e3 * s for s in p.slope))
        for p in part.pockets
    ]
    patches = [repr((p.floor, p.underside, p.is_parallel, p.web_along)) for p in part.pockets if not p.is_plain]
    numbers = [np.asarray(one, float).ravel() for one in (*rings, *heights)]
    text = [*(np.array2string(np.round(one, 3) + 0.0, threshold=10**9) for one in numbers), *patches]
    return hashlib.sha256("\n".join(text).encode()).hexdigest()


def prior(
    part: Part,
    *,
    thickness_mm: float | None = None,
    fields: int = 1_500,
    lengths_mm: Sequence[float] | None = None,
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> PlatePrior:
    """Simulate a part whose stress lets go, for `correct` and `plan`.

    Parameters
    ----------
    part : Part
        Nominal part.
    thickness_mm : float, optional
        Height of the ribs; `HEIGHT_IN_WEBS` webs where left out.
    fields : int
        Simulated plates in all.
    lengths_mm : sequence of float, optional
        Correlation lengths of the stress; `SHARES` of the longer side where left out. Each goes with each, along X and
        along Y.
    seed : int
        Of the fields; the same part, numbers and seed give the same prior.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    PlatePrior

    Raises
    ------
    InputError
        For numbers out of range.

    Notes
    -----
    One factor of a plate of 1,200 elements serves all loads.
    """
    _check(part, thickness_mm, fields, lengths_mm, seed)
    height = thickness_mm or HEIGHT_IN_WEBS * float(np.median([pocket.web for pocket in part.pockets]))
    x0, y0, x1, y1 = part.bounds
    lengths = tuple(float(one) for one in lengths_mm or (share * max(x1 - x0, y1 - y0) for share in SHARES))
    tell = progress or (lambda done, total: None)
    with one_thread():
        tell(0, 3)
        mesh = PlateMesh(part.bounds, part_rigidity(part, _shape(part), height))
        tell(1, 3)
        bent, x, y = _bent(mesh, lengths, fields, np.random.default_rng(seed))
        tell(2, 3)
        modes = leading_modes(bent, x, y)
    tell(3, 3)
    return PlatePrior(part.name, form_of(part), height, fields, seed, lengths, modes, version_of("floorfit"))


def _check(part: Part, thickness_mm: float | None, fields: int, lengths_mm: Sequence[float] | None, seed: int) -> None:
    web = float(np.median([pocket.web + pocket.finish_stock for pocket in part.pockets]))
    longest = max(part.bounds[2] - part.bounds[0], part.bounds[3] - part.bounds[1])
    words = f"a height of ribs above {web:g} mm (of the webs) and below {longest:g} mm (the part's longer side)"
    check_ranges(
        "prior",
        [
            ("thickness_mm", thickness_mm, Range(words, web, longest, is_open=True, may_be_none=True)),
            ("fields", fields, Range("a whole number, 100 or more,", 100, is_whole=True)),
            ("seed", seed, Range("a whole number, 0 or more,", 0, is_whole=True)),
            *(("lengths_mm", one, ABOVE_ZERO) for one in lengths_mm or ()),
        ],
    )


def _shape(part: Part) -> tuple[int, int]:
    """Elements along X and Y, about square."""
    x0, y0, x1, y1 = part.bounds
    side = np.sqrt((x1 - x0) * (y1 - y0) / ELEMENTS)
    return max(6, round((x1 - x0) / side)), max(6, round((y1 - y0) / side))


def _bent(
    mesh: PlateMesh, lengths: tuple[float, ...], count: int, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Deflections (n, k, l) of plates under stress and clamps, without their planes, and the nodes."""
    pairs = [StressLengths(a, b) for a in lengths for b in lengths]
    clamps = round(CLAMP_SHARE * count)
    each = -(-(count - clamps) // len(pairs))
    loads = np.concatenate([*(stressed(mesh, one, each, rng) for one in pairs), clamped(mesh, clamps, rng)])
    x0, y0, x1, y1 = mesh.bounds
    x, y = np.linspace(x0, x1, mesh.shape[0] + 1), np.linspace(y0, y1, mesh.shape[1] + 1)
    solved = mesh.solve(loads, np.array([[x0, y0], [x1, y0], [x0, y1]]))
    deflections = _without_planes(mesh.at(solved, x, y), x, y)
    groups = ((deflections[:-clamps], 1.0), (deflections[-clamps:], CLAMP_VARIANCE))
    scaled = [one * np.sqrt(share / len(one) / np.mean(one**2)) for one, share in groups]
    return np.concatenate(scaled), x, y


def _without_planes(deflections: Array, x: Array, y: Array) -> Array:
    """Deflections (n, k, l) without their planes of least squares: readings find these by themselves."""
    places = np.meshgrid(x, y, indexing="ij")
    planes = np.linalg.qr(np.stack([np.ones(places[0].size), *(one.ravel() for one in places)], axis=1))[0]
    flat = deflections.reshape(len(deflections), -1)
    return np.asarray((flat - (flat @ planes) @ planes.T).reshape(deflections.shape))


def leading_modes(deflections: Array, x: Array, y: Array) -> Modes:
    """Principal components of deflections about zero, as many as hold `KEPT` of their squares.

    Parameters
    ----------
    deflections : (n, k, l) ndarray
    x, y : (k,), (l,) ndarray, mm
        Nodes.
    """
    _, sizes, modes = np.linalg.svd(deflections.reshape(len(deflections), -1), full_matrices=False)
    share = np.cumsum(sizes**2) / np.sum(sizes**2)
    count = min(int(np.searchsorted(share, KEPT)) + 1, MOST_MODES)
    each = modes[:count] * (sizes[:count] * np.sqrt(modes.shape[1] / np.sum(sizes**2)))[:, None]
    return Modes(x, y, np.round(each, DECIMALS).reshape(count, len(x), len(y)))

"""The shapes in which the parts of a series bend: their mean, and how they differ from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from floorfit.arrays import Array, Flags

__all__ = ["Alike", "Shapes", "find_shapes", "how_alike"]

#: Share of the squared warp that the mean of the other parts must explain to call the parts alike; our choice.
ALIKE, PARTLY = 0.75, 0.5


@dataclass(frozen=True)
class Shapes:
    """Leading shapes of the differences from the mean, by singular values.

    Parameters
    ----------
    shapes : (s, n) ndarray, mm
        One standard deviation of each shape over the parts; its largest value is positive.
    shares : (s,) ndarray
        Share of the summed squared differences.
    """

    shapes: Array
    shares: Array


@dataclass(frozen=True)
class Alike:
    """Does this part always bend the same way?

    Parameters
    ----------
    explained : float
        Share of a part's squared warp, its plane aside, that the mean of the *other* parts explains; may be negative.
        NaN under three.
    curvature_left : float
        Share of the squared curvature that it leaves.
    answer : {"yes", "partly", "no", "unknown"}
    """

    explained: float
    curvature_left: float
    answer: str


def find_shapes(fields: Array, most: int = 3) -> Shapes:
    """Leading shapes of the differences from the mean.

    Parameters
    ----------
    fields : (parts, n) ndarray, mm
        A warp for each part, at the same places.
    most : int
        Shapes at most; fewer where the parts have fewer.
    """
    parts = len(fields)
    centred = fields - fields.mean(axis=0)
    total = float((centred**2).sum())
    count = min(most, parts - 1)
    if count < 1 or total <= 1e-24 * fields.size:
        return Shapes(np.empty((0, fields.shape[1])), np.empty(0))
    _, values, vectors = np.linalg.svd(centred, full_matrices=False)
    values, vectors = values[:count], vectors[:count]
    vectors *= np.sign(vectors[np.arange(count), np.abs(vectors).argmax(axis=1)])[:, None]
    return Shapes(vectors * (values / np.sqrt(parts - 1))[:, None], values**2 / total)


def how_alike(fields: Array, shape: tuple[int, int], inside: Flags) -> Alike:
    """Predict how each part bends from the mean of the others; how it stands, a plane, does not count.

    Parameters
    ----------
    fields : (parts, k * l) ndarray, mm
        Warps on a grid (k, l).
    shape : (int, int)
        (k, l).
    inside : (k * l,) ndarray of bool
        Places on the part.
    """
    parts = len(fields)
    if parts < 3:
        return Alike(float("nan"), float("nan"), "unknown")
    bent, mean, others = _bent(fields, shape, inside), fields.mean(axis=0), (parts / (parts - 1)) ** 2
    left, all_of = others * float(((bent - bent.mean(axis=0)) ** 2).sum()), float((bent**2).sum())
    bend_left = others * sum(_bending((one - mean).reshape(shape)) for one in fields)
    bend_all = sum(_bending(one.reshape(shape)) for one in fields)
    if all_of <= 0 or bend_all <= 0:
        return Alike(float("nan"), float("nan"), "unknown")
    explained = 1 - left / all_of
    answer = "yes" if explained >= ALIKE else "partly" if explained >= PARTLY else "no"
    return Alike(explained, bend_left / bend_all, answer)


def _bent(fields: Array, shape: tuple[int, int], inside: Flags) -> Array:
    """Fields at the places on the part, without their planes of least squares: these say how a part stands."""
    planes = np.linalg.qr(np.column_stack([np.ones(len(inside)), *np.indices(shape).reshape(2, -1)])[inside])[0]
    seen = fields[:, inside]
    return np.asarray(seen - (seen @ planes) @ planes.T)


def _bending(field: Array) -> float:
    """Sum of squared second differences: in proportion to the bending energy on a grid of equal steps."""
    along, across = np.diff(field, 2, axis=0), np.diff(field, 2, axis=1)
    twist = np.diff(np.diff(field, axis=0), axis=1)
    return float((along**2).sum() + (across**2).sum() + 2 * (twist**2).sum())

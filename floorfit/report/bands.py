"""A long plate on a sheet: cut into bands of one scale, stacked, so that a spar stays readable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

__all__ = ["Band", "Sheet", "lay_bands"]

Bounds = tuple[float, float, float, float]

#: Paper kept free under and left of each band for its coordinates, mm.
_AXIS_X, _AXIS_Y = 7.0, 11.0

#: A break is worth its trouble only if the plate gets this much larger (our own choice).
_WORTH = 1.2


@dataclass(frozen=True)
class Sheet:
    """The area of paper that the plate may take: left, bottom, width, height, mm of paper."""

    left: float
    bottom: float
    width: float
    height: float


@dataclass(frozen=True)
class Band:
    """One piece of the plate and where it is drawn.

    Parameters
    ----------
    bounds : (x0, y0, x1, y1), mm of part
        What it shows.
    box : (left, bottom, width, height), mm of paper
        Where; the same scale in both directions.
    is_first, is_last : bool
        Whether the plate ends here, or goes on in another band.
    """

    bounds: Bounds
    box: tuple[float, float, float, float]
    is_first: bool
    is_last: bool


def lay_bands(bounds: Bounds, floors: Sequence[Bounds], sheet: Sheet, *, most: int = 6) -> tuple[float, list[Band]]:
    """Cut a plate into bands that fill a sheet best.

    Parameters
    ----------
    bounds : (x0, y0, x1, y1), mm
        The plate.
    floors : sequence of (x0, y0, x1, y1), mm
        Floors; breaks are moved to where they cut the fewest.
    sheet : Sheet
        Room on the paper.
    most : int
        Largest number of bands.

    Returns
    -------
    (float, list of Band)
        Millimetres of paper for one millimetre of part, and the bands from the low end to the high end.
    """
    padded = _padded(bounds)
    axis = 0 if padded[2] - padded[0] >= padded[3] - padded[1] else 1
    best_scale, best = 0.0, [padded]
    for n in range(1, most + 1):
        pieces = _pieces(padded, floors, axis, n)
        scale = _scale(pieces, sheet, axis)
        if scale > best_scale * (1.0 if n == 1 else _WORTH):
            best_scale, best = scale, pieces
    return best_scale, _placed(best, best_scale, sheet, axis)


def _padded(bounds: Bounds) -> Bounds:
    x0, y0, x1, y1 = bounds
    pad = 0.012 * max(x1 - x0, y1 - y0, 1e-6)
    return (x0 - pad, y0 - pad, x1 + pad, y1 + pad)


def _pieces(bounds: Bounds, floors: Sequence[Bounds], axis: int, n: int) -> list[Bounds]:
    low, high = bounds[axis], bounds[axis + 2]
    cuts = [low, *(_quiet_cut(low + k * (high - low) / n, (high - low) / n, floors, axis) for k in range(1, n)), high]
    x0, y0, x1, y1 = bounds
    return [(a, y0, b, y1) if axis == 0 else (x0, a, x1, b) for a, b in pairwise(cuts)]


def _quiet_cut(at: float, length: float, floors: Sequence[Bounds], axis: int) -> float:
    """Return the place near ``at`` that cuts the fewest floors, the nearest of them, in the middle of a rib."""
    places = at + np.linspace(-0.12, 0.12, 241) * length
    low, high = np.array(floors).reshape(-1, 4)[:, [axis, axis + 2]].T
    crossed = np.sum((low[:, None] < places) & (places < high[:, None]), axis=0)
    fewest = places[crossed == crossed.min()]
    nearest = fewest[np.argmin(np.abs(fewest - at))]
    together = fewest[np.abs(fewest - nearest) < 0.02 * length]
    return float(together.mean())


def _scale(pieces: list[Bounds], sheet: Sheet, axis: int) -> float:
    n = len(pieces)
    along = max(piece[axis + 2] - piece[axis] for piece in pieces)
    across = pieces[0][3 - axis] - pieces[0][1 - axis]
    if axis == 0:
        return min((sheet.width - _AXIS_Y) / along, (sheet.height / n - _AXIS_X) / across)
    return min((sheet.height - _AXIS_X) / along, (sheet.width / n - _AXIS_Y) / across)


def _placed(pieces: list[Bounds], scale: float, sheet: Sheet, axis: int) -> list[Band]:
    n = len(pieces)
    bands = []
    for k, piece in enumerate(pieces):
        width, height = (piece[2] - piece[0]) * scale, (piece[3] - piece[1]) * scale
        if axis == 0:
            slot = sheet.height / n
            bottom = sheet.bottom + sheet.height - (k + 1) * slot + _AXIS_X + (slot - _AXIS_X - height) / 2
            left = sheet.left + _AXIS_Y + (0.0 if n > 1 else (sheet.width - _AXIS_Y - width) / 2)
        else:
            slot = sheet.width / n
            left = sheet.left + k * slot + _AXIS_Y + (slot - _AXIS_Y - width) / 2
            bottom = sheet.bottom + _AXIS_X + (0.0 if n > 1 else (sheet.height - _AXIS_X - height) / 2)
        bands.append(Band(piece, (left, bottom, width, height), k == 0, k == n - 1))
    return bands

"""A series as the prior mean of a fit: ``correct --expect``."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding, InputError
from floorfit.part.model import Part
from floorfit.surface.expected import Expected

if TYPE_CHECKING:
    from floorfit.verify.parts import Series

__all__ = ["SERIES_FORMAT", "expected_from", "read_expected", "series_file"]

SERIES_FORMAT = "floorfit-series/1"

#: Fewest parts from which shapes are used besides the mean, and the least share of the differences that makes a shape
#: worth it; below them a shape is mostly the fits' own noise (our choice, no source).
FOR_SHAPES, LEAST_SHARE = 5, 0.01


def expected_from(series: Series) -> Expected:
    """Return the mean warp of a series for ``correct(..., expected=)``."""
    shapes = tuple(
        shape.reshape(series.mean.shape) for shape in series.shapes.shapes[_kept(series.shapes.shares, series.warps)]
    )
    return Expected(series.x, series.y, series.mean, series.warps, "series", shapes, series.identity)


def read_expected(path: str | Path, part: Part) -> Expected:
    """Read the mean warp that a series found.

    Parameters
    ----------
    path : path
        Folder that ``floorfit series`` made, or its ``series.json``.
    part : Part
        That it is wanted for.

    Raises
    ------
    InputError
        If there is no series, it is of another format, of another part, or holds no warp.
    """
    file = series_file(path)
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
        if document["format"] != SERIES_FORMAT:
            raise ValueError(f"format {document['format']!r}, {SERIES_FORMAT} was expected")
        shapes, shares = document["shapes"]["shapes_mm"], np.array(document["shapes"]["shares"], float)
        found = Expected(
            np.array(document["x_mm"], float), np.array(document["y_mm"], float),
            np.array(document["mean_mm"], float), int(document["warps"]), file.parent.name or file.name,
        )  # fmt: skip
        rows = np.array(shapes, float).reshape(len(shares), *found.mean.shape)[_kept(shares, found.parts)]
        found = replace(found, shapes=tuple(rows))
        found = replace(found, identity={key: str(text) for key, text in document.get("identity", {}).items()})
        pockets, bounds = document["pockets"], document["bounds_mm"]
    except OSError as error:
        raise InputError(
            [_fault(file, f"cannot be read ({error.strerror}). Name a folder made by `series`.")]
        ) from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError([_fault(file, f"is no series ({error}). Run `series` again.")]) from error
    _check(file, found, part, [str(one["pocket"]) for one in pockets], bounds)
    return found


def series_file(path: str | Path) -> Path:
    """Return the file of a series: ``series.json`` in a folder, or the file itself."""
    file = Path(path)
    return file / "series.json" if file.is_dir() else file


def _kept(shares: Array, parts: int) -> Flags:
    """Flag the shapes that a fit may use."""
    return np.asarray((shares >= LEAST_SHARE) & (parts >= FOR_SHAPES))


def _check(file: Path, found: Expected, part: Part, pockets: list[str], bounds: list[float]) -> None:
    if pockets != [pocket.id for pocket in part.pockets] or not np.allclose(bounds, part.bounds, atol=1e-3):
        raise InputError([_fault(file, f"is a series of another part than {part.name!r}. Name one of this part.")])
    is_whole = found.mean.shape == (len(found.x), len(found.y)) and bool(np.isfinite(found.mean).all())
    if not is_whole or found.parts < 1:
        raise InputError([_fault(file, "holds no mean warp: no job had a surface. Run `series` on corrected jobs.")])


def _fault(file: Path, text: str) -> Finding:
    return Finding("bad-series", str(file), "", text)

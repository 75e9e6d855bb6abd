"""A series as the prior mean of a fit: ``correct --expect``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from floorfit.arrays import Array, Flags
from floorfit.errors import Finding, InputError
from floorfit.part.check import LARGEST_MM
from floorfit.part.model import Part
from floorfit.surface.expected import Expected

if TYPE_CHECKING:
    from floorfit.verify.parts import Series

__all__ = ["SERIES_FORMAT", "expected_from", "read_expected", "series_file"]

SERIES_FORMAT = "floorfit-series/1"

#: Fewest parts from which shapes are used besides the mean, and the least share of the differences that makes a shape
#: worth it; below them a shape is mostly the fits' own noise (our choice, no source).
FOR_SHAPES, LEAST_SHARE = 5, 0.01

#: Floors of a part and of a later revision of it lie as near to each other, mm (our choice, no source).
NEAR_MM = 10.0


def expected_from(series: Series) -> Expected:
    """Return the mean warp of a series for ``correct(..., expected=)``."""
    shapes = tuple(
        shape.reshape(series.mean.shape) for shape in series.shapes.shapes[_kept(series.shapes.shares, series.warps)]
    )
    return Expected(series.x, series.y, series.mean, series.warps, "series", shapes, series.identity, series.fit_u)


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
        found, is_same = _expected(document, file), _is_of(part, document)
    except OSError as error:
        raise _refused(file, f"cannot be read ({error.strerror}). Name a folder made by `series`.") from error
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _refused(file, f"is no series ({error}). Run `series` again.") from error
    if not is_same:
        raise _refused(file, f"is a series of another part than {part.name!r}. Name one of this part.")
    if found.mean.shape != (len(found.x), len(found.y)) or found.parts < 1:
        raise _refused(file, "holds no mean warp: no job had a surface. Run `series` on corrected jobs.")
    return found


def _expected(document: dict[str, Any], file: Path) -> Expected:
    """What a series says of the next part.

    Raises
    ------
    ValueError, KeyError, TypeError
        With the name of what does not hold together.
    """
    x, y, mean = (np.array(document[name], float) for name in ("x_mm", "y_mm", "mean_mm"))
    shares, parts = np.array(document["shapes"]["shares"], float), int(document["warps"])
    shapes = np.array(document["shapes"]["shapes_mm"], float).reshape(len(shares), *mean.shape)[_kept(shares, parts)]
    if document.get("fit_u_mm") is None and parts > 0:
        raise ValueError("it does not say how sure its mean is, as those of older versions do not")
    u = np.array(document.get("fit_u_mm") or np.zeros(mean.shape), float)
    for name, nodes in (("x_mm", x), ("y_mm", y)):
        if len(nodes) < 4 or not (np.diff(nodes) > 0).all():
            raise ValueError(f"{name}: four nodes were expected at the least, each beyond the one before")
    if u.shape != mean.shape == (len(x), len(y)):
        raise ValueError("fit_u_mm: as many numbers as in mean_mm were expected")
    for name, tables in (("mean_mm", mean), ("shapes_mm", shapes), ("fit_u_mm", u)):
        if not (np.abs(tables) < LARGEST_MM).all():
            raise ValueError(f"{name}: numbers below {LARGEST_MM:g} were expected")
    identity = {key: str(text) for key, text in dict(document.get("identity", {})).items()}
    return Expected(x, y, mean, parts, file.parent.name or file.name, tuple(shapes), identity, u)


def _is_of(part: Part, document: dict[str, Any]) -> bool:
    """Whether a series is of a part: its rectangle, and its floors where they lie (old files do not say where)."""
    floors, bounds = document["pockets"], np.array(document["bounds_mm"], float).reshape(4)
    centres = [one.get("centre_mm", pocket.centroid) for one, pocket in zip(floors, part.pockets, strict=False)]
    return (
        [str(one["pocket"]) for one in floors] == [pocket.id for pocket in part.pockets]
        and np.allclose(bounds, part.bounds, atol=1e-3)
        and np.allclose(np.array(centres, float), [pocket.centroid for pocket in part.pockets], rtol=0, atol=NEAR_MM)
    )


def series_file(path: str | Path) -> Path:
    """Return the file of a series: ``series.json`` in a folder, or the file itself."""
    file = Path(path)
    return file / "series.json" if file.is_dir() else file


def _kept(shares: Array, parts: int) -> Flags:
    """Flag the shapes that a fit may use."""
    return np.asarray((shares >= LEAST_SHARE) & (parts >= FOR_SHAPES))


def _refused(file: Path, text: str) -> InputError:
    return InputError([Finding("bad-series", str(file), "", text)])

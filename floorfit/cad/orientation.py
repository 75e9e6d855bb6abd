"""Turn the model so that the pockets look up, and question its size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.errors import Finding, InputError

__all__ = ["SIZE_LIMITS_MM", "WEB_LIMITS_MM", "check_size", "check_webs", "is_askew", "rotation_to_part", "rounded_up"]

#: A plate outside these is questioned; a set choice: no plate that is measured by hand is smaller, none is longer.
SIZE_LIMITS_MM = (20.0, 20_000.0)
#: Webs that are all below the first or all above the second are questioned: a set choice; less tears, more is no web
#: to be measured.
WEB_LIMITS_MM = (0.2, 25.0)
#: Webs of a drawing that are all below the first or all above the second are asked about where the drawing itself says
#: its unit: those of airframe parts are 0.8 to 6 mm (common practice, no source).
_USUAL_WEBS_MM = (0.5, 8.0)
#: Normals this near are one, rad: 0.02 mm over 2 m.
_SAME = 1e-5
#: Floors that all slope the same way by less than this look like an ``up`` with too few digits, rad.
_ROUNDED = 0.01
#: A part of which less is level than this share of what is parallel to its floors lies askew.
_LEVEL = 0.01


def rotation_to_part(settings: ExtractSettings) -> NDArray[np.float64]:
    """Rotation that takes the model's ``up`` to +Z, then half a turn about X for the bottom.

    Then a turn about Z takes ``x_axis`` to +X, where it is given.

    The shortest turn is taken; where ``up`` is exactly −Z that is half a turn about X.

    Returns
    -------
    (3, 3) ndarray
        To be applied as ``points @ rotation.T``.

    Notes
    -----
    For unit vectors u and z with v = u × z and c = u · z, the shortest rotation is
    I + [v] + [v]² / (1 + c) (Rodrigues 1840).
    """
    half_turn = np.diag([1.0, -1.0, -1.0])
    up = np.asarray(settings.up, float)
    up = up / np.linalg.norm(up)
    if up[2] < -1.0 + 1e-12:
        rotation = half_turn
    else:
        v = np.array([up[1], -up[0], 0.0])
        cross = np.array([[0.0, 0.0, v[1]], [0.0, 0.0, -v[0]], [-v[1], v[0], 0.0]])
        rotation = np.eye(3) + cross + cross @ cross / (1.0 + up[2])
    rotation = half_turn @ rotation if settings.side == "bottom" else rotation
    if settings.x_axis is None:
        return rotation
    x, y = (rotation @ np.asarray(settings.x_axis, float))[:2] / np.linalg.norm(settings.x_axis)
    c, s = np.array([x, y]) / np.hypot(x, y)
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) @ rotation


def is_askew(vectors: NDArray[np.float64], normals: NDArray[np.float64]) -> bool:
    """Whether a part lies askew: its floors lean alike, and next to nothing of it is level.

    Parameters
    ----------
    vectors : (m, 3) ndarray, mm²
        Vector area of every facet, in the part frame.
    normals : (k, 3) ndarray
        Normals of the plane floors.
    """
    if len(normals) == 0:
        return False
    size = np.maximum(np.linalg.norm(vectors, axis=1), 1e-300)
    level = np.hypot(vectors[:, 0], vectors[:, 1]) <= _SAME * size
    along = np.linalg.norm(np.cross(vectors, normals[0]), axis=1) <= 10.0 * _SAME * size
    return bool(size[level].sum() < _LEVEL * size[along].sum())


def rounded_up(
    normals: NDArray[np.float64], settings: ExtractSettings, *, any_lean: bool = False
) -> tuple[float, ...] | None:
    """Better direction for ``up`` where every floor slopes the same way by a little; None where ``up`` is right.

    Parameters
    ----------
    normals : (k, 3) ndarray
        Normals of the plane floors, in the part frame.
    settings : ExtractSettings
    any_lean : bool
        Whether a single floor, and more than a little, counts too: the part lies askew.
    """
    if len(normals) < 2 - any_lean or np.abs(normals - normals[0]).max() > _SAME:
        return None
    lean = float(np.hypot(*normals[0, :2]))
    if not _SAME < lean < (1.0 if any_lean else _ROUNDED):
        return None
    return tuple(float(value) for value in np.round(rotation_to_part(settings).T @ normals.mean(axis=0), 9) + 0.0)


def check_size(vertices: NDArray[np.float64], source: str, unit: str, settings: ExtractSettings) -> None:
    """Question a part whose largest side is absurd in the unit given.

    Parameters
    ----------
    vertices : (n, 3) ndarray, mm
    source : str
        File name for messages.
    unit : str
        Of the model's numbers.
    settings : ExtractSettings

    Raises
    ------
    InputError
        If the largest side is under 20 mm or over 20 m, and ``any_size`` is not set.
    """
    size = float((vertices.max(axis=0) - vertices.min(axis=0)).max())
    low, high = SIZE_LIMITS_MM
    if settings.any_size or low <= size <= high:
        return
    text = (
        f"the largest side is {size:.6g} mm in the unit given ({unit}); {low:g} mm to {high:g} mm was expected. "
        "State another unit with --units, or give --any-size if the part is so."
    )
    raise InputError([Finding("absurd-size", source, "", text)])


def check_webs(webs: list[float], source: str, unit: str, settings: ExtractSettings) -> list[Finding]:
    """Question webs that are all absurd or unusual in the unit given.

    Parameters
    ----------
    webs : list of float, mm
    source, unit : str
        File name for messages, and unit of the drawing's numbers.
    settings : ExtractSettings

    Returns
    -------
    list of Finding
        A warning if all webs are under 0.5 mm or all over 8 mm, and ``units`` was not stated.

    Raises
    ------
    InputError
        If all webs are under 0.2 mm or all over 25 mm, and ``any_size`` is not set.
    """
    low, high = WEB_LIMITS_MM
    if settings.any_size or not webs:
        return []
    is_absurd = max(webs) < low or min(webs) > high
    low, high = (low, high) if is_absurd else _USUAL_WEBS_MM
    if (low <= max(webs) and min(webs) <= high) or (settings.units is not None and not is_absurd):
        return []
    text = (
        f"the webs are {min(webs):.4g} to {max(webs):.4g} mm in the unit given ({unit}); {low:g} mm to {high:g} mm was "
        "expected. State the unit with --units, or give --any-size if the webs are so."
    )
    if is_absurd:
        raise InputError([Finding("absurd-size", source, "", text)])
    return [Finding("unit", source, "", text, "warning")]

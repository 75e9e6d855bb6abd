"""Turn the model so that the pockets look up, and question its size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.errors import Finding, InputError

__all__ = ["SIZE_LIMITS_MM", "check_size", "rotation_to_part", "rounded_up"]

#: A plate outside these is questioned; a set choice: no plate that is measured by hand is smaller, none is longer.
SIZE_LIMITS_MM = (20.0, 20_000.0)
#: Normals this near are one, rad: 0.02 mm over 2 m.
_SAME = 1e-5
#: Floors that all slope the same way by less than this look like an ``up`` with too few digits, rad.
_ROUNDED = 0.01


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


def rounded_up(normals: NDArray[np.float64], settings: ExtractSettings) -> tuple[float, ...] | None:
    """Better direction for ``up`` where every floor slopes the same way by a little; None where ``up`` is right.

    Parameters
    ----------
    normals : (k, 3) ndarray
        Normals of the plane floors, in the part frame.
    settings : ExtractSettings
    """
    if len(normals) < 2 or np.abs(normals - normals[0]).max() > _SAME:
        return None
    lean = float(np.hypot(*normals[0, :2]))
    if not _SAME < lean < _ROUNDED:
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

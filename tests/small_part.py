"""An invented part of four pockets, and readings of it over a warp given as a formula."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from floorfit.part import Part, part_from_document
from floorfit.readings import Readings, readings_from_arrays

__all__ = ["document", "part", "places", "plane", "readings", "readings_csv"]

Array = NDArray[np.float64]
MM_PER_INCH = 25.4  # exact (NIST SP 811, B.8)


def document(units: str = "mm", **defaults: Any) -> dict[str, Any]:
    """Four pockets of 180 x 180 mm on 400 x 400 mm, in mm or in inches; the first one's name is awkward."""
    scale = 1.0 if units == "mm" else 1 / MM_PER_INCH

    def ring(x: float, y: float, w: float, h: float) -> list[list[float]]:
        return [[a * scale, b * scale] for a, b in ((x, y), (x + w, y), (x + w, y + h), (x, y + h))]

    corners = [(10.0, 10.0), (210.0, 10.0), (10.0, 210.0), (210.0, 210.0)]
    names = ['Öl, "A" <b>', "P2", "P3", "P4"]
    base = {"web": 2 * scale, "web_tolerance": [-0.1 * scale, 0.1 * scale], "finish_stock": 0.5 * scale}
    return {
        "format": "floorfit-part/1",
        "name": "invented plate",
        "units": units,
        "outline": ring(0, 0, 400, 400),
        "underside_z": 0.0,
        "defaults": {**base, **defaults},
        "pockets": [
            {"id": name, "boundary": ring(x, y, 180, 180), "floor_z": 2 * scale}
            for name, (x, y) in zip(names, corners, strict=True)
        ],
    }


def part(units: str = "mm", **defaults: Any) -> Part:
    return part_from_document(document(units, **defaults))


def places(
    corners: Sequence[tuple[float, float]] = ((10, 10), (210, 10), (10, 210), (210, 210)),
) -> tuple[Array, Array]:
    """Nine places on each floor, mm."""
    steps = np.array([15.0, 90.0, 165.0])
    x = np.concatenate([np.repeat(cx + steps, 3) for cx, _ in corners])
    y = np.concatenate([np.tile(cy + steps, 3) for _, cy in corners])
    return x, y


def plane(x: Array, y: Array) -> Array:
    return 0.10 + 2e-4 * (x - 200) - 1e-4 * (y - 200)


def readings(warp: Callable[[Array, Array], Array] = plane, rows: Any = slice(None), **more: Any) -> Readings:
    """Perfect readings: Z measured at 2.5, t = z − underside − w (contract)."""
    x, y = (values[rows] for values in places())
    more.setdefault("z", np.full(len(x), 2.5))
    return readings_from_arrays(x, y, 2.5 - warp(x, y), **more)


def readings_csv(warp: Callable[[Array, Array], Array] = plane, rows: Any = slice(None), units: str = "mm") -> str:
    x, y = (values[rows] for values in places())
    t, scale = 2.5 - warp(x, y), 1.0 if units == "mm" else 1 / MM_PER_INCH
    lines = [f"x_{units},y_{units},z_{units},thickness_{units},operator"]
    lines += [
        f"{a * scale:.8f},{b * scale:.8f},{2.5 * scale:.8f},{c * scale:.8f},night"
        for a, b, c in zip(x, y, t, strict=True)
    ]
    return "\n".join(lines) + "\n"

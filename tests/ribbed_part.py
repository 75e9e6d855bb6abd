"""An invented part with ribs one way, for hand calculations of its rigidity."""

from __future__ import annotations

from floorfit.part.model import Part, Pocket, Tolerance

__all__ = ["HEIGHT", "PITCH", "RIB", "STOCK", "WEB", "ribbed"]

WEB, STOCK, HEIGHT, RIB, PITCH = 2.0, 0.5, 30.0, 12.0, 120.0


def ribbed(count: int = 5, length: float = 600.0) -> Part:
    """Ribs along X only, a half one along each edge."""
    pockets = []
    for k in range(count):
        y0, y1 = k * PITCH + RIB / 2, (k + 1) * PITCH - RIB / 2
        ring = ((0.0, y0), (length, y0), (length, y1), (0.0, y1))
        pockets.append(Pocket(f"P{k}", ring, (), WEB, WEB, Tolerance(-0.1, 0.1), finish_stock=STOCK))
    width = count * PITCH
    return Part("ribbed", ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)), tuple(pockets))

"""Nominal geometry: the part, its pockets, and where they come from (part file or CAD)."""

from floorfit.part.model import Part, Pocket, Ring, Tolerance

__all__ = ["Part", "Pocket", "Ring", "Tolerance"]

"""Length units at the edges of the house; everything inside is in millimetres."""

from __future__ import annotations

from typing import Literal

__all__ = ["MM_PER_INCH", "MM_PER_UNIT", "Unit"]

Unit = Literal["mm", "in"]

#: Exact since the international yard and pound agreement of 1959 (NIST SP 811, appendix B.8).
MM_PER_INCH = 25.4

#: Millimetres in one unit of a file.
MM_PER_UNIT: dict[str, float] = {"mm": 1.0, "in": MM_PER_INCH}

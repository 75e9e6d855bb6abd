"""Units at the edges of the house, millimetres inside; and the factor that takes one measure of scatter to another."""

from __future__ import annotations

from typing import Literal

__all__ = ["MAD_TO_SD", "MM_PER_INCH", "MM_PER_UNIT", "Unit"]

Unit = Literal["mm", "in"]

#: Exact since the international yard and pound agreement of 1959 (NIST SP 811, appendix B.8).
MM_PER_INCH = 25.4

#: Millimetres in one unit of a file.
MM_PER_UNIT: dict[str, float] = {"mm": 1.0, "in": MM_PER_INCH}

#: Median absolute deviation to standard deviation of a normal distribution, 1/Φ⁻¹(3/4) (P. J. Huber, Robust Statistics,
#: 1981, §5.1).
MAD_TO_SD = 1.4826

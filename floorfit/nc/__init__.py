"""Reading, correcting and checking a finishing programme.

The rule by which motion belongs to a floor stands in `floorfit.nc.floors`, what is written along a motion in
`floorfit.nc.plan`, and what is refused in `floorfit.nc.check`.
"""

from floorfit.nc.correct import apply_offsets
from floorfit.nc.lines import render_lines
from floorfit.nc.results import Corrected, PocketChange, SectionTrace

__all__ = ["Corrected", "PocketChange", "SectionTrace", "apply_offsets", "render_lines"]

"""Reading, correcting and checking a finishing programme.

The rule by which motion belongs to a floor stands in `floorfit.nc.floor_index`, what is written along a motion in
`floorfit.nc.shifts`, and what is refused in `floorfit.nc.programme_check`.
"""

from floorfit.nc.corrected import Corrected, PocketChange
from floorfit.nc.lines import render_lines
from floorfit.nc.programme import apply_offsets

__all__ = ["Corrected", "PocketChange", "apply_offsets", "render_lines"]

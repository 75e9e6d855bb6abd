"""Reading, correcting and checking a finishing programme.

What moves and by how much is decided in `floorfit.nc.rule` alone; what is refused, in `floorfit.nc.programme_check`,
`part_fit` and `tool_check`; `floorfit.nc.proof` shares no code with any of them.
"""

from floorfit.nc.corrected import Corrected, PocketChange
from floorfit.nc.lines import render_lines
from floorfit.nc.programme import apply_offsets

__all__ = ["Corrected", "PocketChange", "apply_offsets", "render_lines"]

"""Nominal geometry: the part, its pockets, and where they come from (part file or CAD)."""

from floorfit.part.model import Part, Pocket, Ring, Tolerance
from floorfit.part.part_file import part_from_document, part_to_document, read_part, write_part
from floorfit.part.part_format import part_schema

__all__ = [
    "Part",
    "Pocket",
    "Ring",
    "Tolerance",
    "part_from_document",
    "part_schema",
    "part_to_document",
    "read_part",
    "write_part",
]

"""Nominal geometry: the part, its pockets, and where they come from (part file or CAD)."""

from floorfit.part.file import part_from_document, part_schema, part_to_document, read_part, write_part
from floorfit.part.model import Part, Pocket, Ring, Tolerance

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

"""Pocket geometry from CAD models and drawings."""

from floorfit.part.cad.extraction import extract_pockets
from floorfit.part.cad.results import Extraction, Floor, RejectedFace
from floorfit.part.cad.settings import ExtractSettings

__all__ = ["ExtractSettings", "Extraction", "Floor", "RejectedFace", "extract_pockets"]

"""Pocket geometry from CAD models and drawings."""

from floorfit.cad.extract_settings import ExtractSettings
from floorfit.cad.extracted import Extraction, Floor, RejectedFace
from floorfit.cad.extraction import extract_pockets
from floorfit.cad.extraction import extract_pockets as extract

__all__ = ["ExtractSettings", "Extraction", "Floor", "RejectedFace", "extract", "extract_pockets"]

"""The readings: their table and file, the gauge, screening, and where to take them."""

from floorfit.readings.table import Readings, readings_from_arrays

__all__ = ["Readings", "readings_from_arrays"]

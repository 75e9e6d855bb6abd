"""The readings: their table and file, the gauge, screening, and where to take them."""

from floorfit.readings.observations import Readings, readings_from_arrays
from floorfit.readings.readings_file import read_readings

__all__ = ["Readings", "read_readings", "readings_from_arrays"]

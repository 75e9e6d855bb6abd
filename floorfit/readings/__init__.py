"""The readings: their table and file, the gauge, screening, and where to take them."""

from floorfit.readings.assign import assign_floors
from floorfit.readings.file import read_readings
from floorfit.readings.table import Readings, readings_from_arrays

__all__ = ["Readings", "assign_floors", "read_readings", "readings_from_arrays"]

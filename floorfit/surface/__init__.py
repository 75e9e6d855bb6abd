"""The smoothing thin-plate spline: knows numbers and places, nothing of pockets or files."""

from floorfit.surface.cell_width import choose_cell
from floorfit.surface.fit import Fit, fit_surface
from floorfit.surface.posterior import Posterior
from floorfit.surface.spline import Surface

__all__ = ["Fit", "Posterior", "Surface", "choose_cell", "fit_surface"]

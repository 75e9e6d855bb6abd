"""What a gauge rounds off where its last digit is coarser than its scatter: the same on all webs of one thickness."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from floorfit.errors import Finding
from floorfit.readings.observations import Readings
from floorfit.units import MM_PER_UNIT

__all__ = ["coarse_findings", "coarsest_step", "rounded_off"]

#: Steps that displays have, in the unit of the file, the coarsest first; fewest readings, and values, that show one.
STEPS, FEWEST, VALUES = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001), 12, 3
#: Smaller uncertainties are not told, mm.
LEAST_MM = 0.002


def rounded_off(step: float, u: float) -> float:
    """Standard uncertainty that the readings of one web share by rounding, mm.

    Parameters
    ----------
    step : float, mm
        Of the display.
    u : float, mm
        Standard deviation of a reading before it is rounded.

    Notes
    -----
    A step q alone has q/√12 (JCGM 100:2008, F.2.2.1). Noise of standard deviation σ takes the mean of what is rounded
    off down by e^(−2π²σ²/q²), its first harmonic (B. Widrow, I. Kollár, Quantization Noise, 2008, ch. 4, from memory).
    """
    return float(step / np.sqrt(12.0) * np.exp(-2.0 * (np.pi * u / step) ** 2))


def coarse_findings(readings: Readings, u: float) -> tuple[Finding, ...]:
    """Say that a display is so coarse that what it rounds off is no scatter.

    Parameters
    ----------
    readings : Readings
        As the gauge showed them.
    u : float, mm
        Standard uncertainty of a reading.
    """
    values = readings.thickness[np.isfinite(readings.thickness)]
    is_told = len(values) >= FEWEST and len(np.unique(np.round(values, 5))) >= VALUES
    step = coarsest_step(readings, STEPS) if is_told else 0.0
    shared = rounded_off(step, u) if step else 0.0
    if shared < LEAST_MM:
        return ()
    text = (
        f"the thicknesses come in steps of {step:.4g} mm: what the gauge rounds off may be the same on all webs, and "
        f"is not in the uncertainty. Read with a finer last digit, or state --bias-u {shared:.3f}."
    )
    return (Finding("coarse-gauge", readings.source, "", text, "warning"),)


def coarsest_step(readings: Readings, steps: Iterable[float]) -> float:
    """Return the first of some steps of which all thicknesses are multiples, mm; 0 where none is.

    Parameters
    ----------
    readings : Readings
    steps : iterable of float
        In the unit of the file, the coarsest first.
    """
    unit = MM_PER_UNIT[readings.unit]
    values = readings.thickness[np.isfinite(readings.thickness)] / unit
    exact = (one for one in steps if np.allclose(values, one * np.round(values / one), rtol=0, atol=1e-9))
    return unit * next(exact, 0.0)

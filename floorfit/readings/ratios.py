"""Name a gross error of thickness by its ratio to what is expected: twice, inch, or no web at all."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from floorfit.errors import Finding, InputError
from floorfit.readings.kinds import reason_of
from floorfit.readings.observations import Observations
from floorfit.units import MM_PER_INCH

__all__ = ["name_thickness", "refuse_other_unit"]

#: A ratio counts when it is met to this share: the warp is known only roughly here.
RATIO_TOLERANCE = 0.08
#: Scales within which a reading is left to the fit.
LEFT_TO_THE_FIT = 8.0
#: Without a ratio to explain it, a reading is no web beyond these shares of what is expected.
THINNEST_SHARE, THICKEST_SHARE = 0.5, 1.5
#: What readings are, over their nominal webs, where they are in another unit; the share by which stock and warp may
#: move that; and the share of readings, more than slips, from which it is the file's (own choice).
OTHER_UNITS = {1 / MM_PER_INCH: "inches", MM_PER_INCH: "millimetres", 1e3: "micrometres", 1e-3: "metres"}
OTHER_UNIT_TOLERANCE, OTHER_UNIT_SHARE = 0.3, 0.2


def name_thickness(
    read: ArrayLike, expected: ArrayLike, scale: float, *, is_certain: bool = True
) -> list[tuple[str, str]]:
    """Name each thickness that a ratio, or no web, explains.

    Parameters
    ----------
    read : (n,) array_like, mm
        As the gauge showed it.
    expected : (n,) array_like, mm
        What the readings around say it should be.
    scale : float, mm
        Robust standard deviation of good readings about ``expected``.
    is_certain : bool
        Whether a reading that no ratio explains may be called ``beyond-web``.

    Returns
    -------
    list of (str, str)
        Code and reason; two empty strings for a reading that is left to the fit.
    """
    t, right = np.asarray(read, float), np.asarray(expected, float)
    names = [("", "")] * len(t)
    is_known = np.isfinite(t) & np.isfinite(right) & np.isfinite(scale)
    far = np.abs(t - right) > LEFT_TO_THE_FIT * scale
    for row in np.flatnonzero(is_known & far):
        names[row] = _name(float(t[row]), float(right[row]), scale, is_certain)
    return names


def refuse_other_unit(seen: Observations) -> None:
    """Refuse a file whose thicknesses, all or many, are in another unit than its column says.

    Parameters
    ----------
    seen : Observations

    Raises
    ------
    InputError
        If the ratio to the nominal web is that of another unit on a fifth of them.
    """
    underside = seen.z - seen.readings.thickness * seen.factor - seen.warp
    nominal = (seen.rough_z - underside) / seen.factor
    with np.errstate(divide="ignore", invalid="ignore"):
        share = seen.readings.thickness / nominal
    known = share[seen.is_consistent & np.isfinite(share) & (share > 0)]
    if 2 * len(known) < np.isfinite(seen.readings.thickness).sum() or not len(known):
        return  # most lie on no floor: what is wrong with the places is said of them
    for factor, unit in OTHER_UNITS.items():
        so = known[np.abs(np.log(known / factor)) < np.log1p(OTHER_UNIT_TOLERANCE)]
        if len(so) >= max(3.0, OTHER_UNIT_SHARE * len(known)):
            text = (
                f"{len(so)} of {len(known)} readings are {np.median(so):.3g} times the nominal web (median), as if "
                f"they were in {unit}. Give all columns in one unit, and name it: thickness_mm or thickness_in."
            )
            raise InputError([Finding("other-unit", seen.readings.source, "column thickness", text)])


def _name(t: float, right: float, scale: float, is_certain: bool) -> tuple[str, str]:
    if right > 0 and _is_ratio(t, 2.0 * right, 2.0 * scale, t - right):
        return "double-echo", reason_of("double-echo", thickness=t, expected=right)
    for factor, unit in ((1.0 / MM_PER_INCH, "inches"), (MM_PER_INCH, "millimetres among inches")):
        if right > 0 and _is_ratio(t, right * factor, scale * factor, t - right):
            hint = f"{t / factor:.3f} mm is about the {right:.3f} mm expected if these are {unit}"
            return "inch", reason_of("inch", what=f"thickness {t:.5g} mm", hint=hint)
    is_beyond = t <= 0 or t < THINNEST_SHARE * right or t > THICKEST_SHARE * max(right, 0.0)
    if is_certain and is_beyond:
        return "beyond-web", reason_of("beyond-web", thickness=t, expected=right)
    return "", ""


def _is_ratio(t: float, wanted: float, scale: float, miss: float) -> bool:
    """Whether t meets the wanted value to the tolerance, and far better than it meets what is expected."""
    off = abs(t - wanted)
    return off <= min(RATIO_TOLERANCE * wanted + 3.0 * scale, 0.25 * wanted) and off < 0.5 * abs(miss)

"""A bias that finished webs share, taken off the next offsets: the one place where it is applied."""

from __future__ import annotations

from dataclasses import replace

from floorfit.surface.fit import Fit
from floorfit.surface.spline import Surface

__all__ = ["with_bias"]


def with_bias(fit: Fit, cap: Surface | None, bias: float) -> tuple[Fit, Surface | None]:
    """Lower the warp that floors are decided from by the bias.

    Webs that come out thicker by ``bias`` than ``web + dz − w`` are those of a plate that stands lower by it. Decided
    from ``w − bias``, every offset is less by ``bias``, and every predicted web is what comes out.

    Parameters
    ----------
    fit : Fit
    cap : Surface or None
        What roughing left less nominal web and stock, mm; None for ``−w``. It does not move with the bias.
    bias : float, mm
        Measured less predicted web of finished pockets; positive where they came out thicker.

    Returns
    -------
    Fit, Surface or None
        For `decide`; the same objects where the bias is 0.
    """
    if bias == 0.0:
        return fit, cap
    left = fit.surface.turned() if cap is None else cap
    return replace(fit, surface=fit.surface.raised(-bias)), left

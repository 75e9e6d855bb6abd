"""Colours that survive grey paper and colour-blind eyes, with one meaning each on every map, page and sheet.

`WEB` is the web: blue is thick, grey nominal, yellow thin. It runs along blue to yellow, the axis that red-green colour
blindness leaves intact. `AMOUNT` is how much attention a place wants: the darker, the less margin or the more
uncertainty. On both, lightness goes one way, so that a grey copy still orders the values. Held, undecided and not
conforming are told by hatch and word. The anchors are our own choice; no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from matplotlib.colors import LinearSegmentedColormap

__all__ = ["AMOUNT", "HATCHES", "WEB", "colour_map", "rgb", "standing"]

Anchors = tuple[tuple[int, int, int], ...]

#: Web from thick (0, dark blue) through nominal (grey) to thin (1, light yellow), equally spaced.
WEB: Anchors = ((38, 92, 168), (84, 128, 186), (132, 160, 196), (184, 186, 190), (216, 204, 140), (240, 222, 108),
                (255, 246, 170))  # fmt: skip

#: From nothing to look at (0, near white) to look here (1, violet): one hue.
AMOUNT: Anchors = ((248, 245, 251), (221, 207, 232), (191, 167, 211), (160, 127, 188), (124, 84, 156))

#: Hatches of floors, and the word that stands for each in a key.
HATCHES = {"held": "////", "undecided": "...", "nonconform": "xxxx"}


def standing(action: str, verdict: str) -> str:
    """Return which hatch a floor has: a key of `HATCHES`, or ``""`` for a floor that is cut and conforms.

    Parameters
    ----------
    action : {"shift", "tilt", "follow", "hold"}
    verdict : {"conform", "undecided", "nonconform"}

    Examples
    --------
    >>> standing("hold", "undecided"), standing("shift", "conform"), standing("tilt", "nonconform")
    ('held', '', 'nonconform')
    """
    return "held" if action == "hold" else "" if verdict == "conform" else verdict


def rgb(anchors: Anchors, share: ArrayLike) -> NDArray[np.uint8]:
    """Return colours for positions 0 to 1 on a scale.

    Parameters
    ----------
    anchors : sequence of (r, g, b)
        Equally spaced anchors, 0 to 255.
    share : (...) array_like
        Positions; outside 0 to 1 the end colour is taken; NaN gives white.

    Returns
    -------
    (..., 3) ndarray of uint8
    """
    position = np.asarray(share, float)
    nodes = np.linspace(0.0, 1.0, len(anchors))
    filled = np.where(np.isnan(position), 0.0, position)
    channels = [np.interp(filled, nodes, [anchor[c] for anchor in anchors]) for c in range(3)]
    colours = np.rint(np.stack(channels, axis=-1))
    colours[np.isnan(position)] = 255.0
    return colours.astype(np.uint8)


def colour_map(anchors: Anchors, name: str) -> LinearSegmentedColormap:
    """Return the scale as a matplotlib colour map of 256 steps.

    Parameters
    ----------
    anchors : sequence of (r, g, b)
        Equally spaced, 0 to 255.
    name : str
        Of the map.
    """
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(name, [tuple(c / 255 for c in anchor) for anchor in anchors], N=256)

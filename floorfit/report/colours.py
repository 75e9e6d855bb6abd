"""Colours that survive grey paper and colour-blind eyes.

Both scales run along blue to yellow, the axis that red-green colour blindness leaves intact, and lightness rises all
the way, so a grey copy still orders the values. Zero is the neutral middle of the diverging scale. The anchors are our
own choice; no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from matplotlib.colors import LinearSegmentedColormap

__all__ = ["DIVERGING", "SEQUENTIAL", "colour_map", "hex_scale", "rgb"]

Anchors = tuple[tuple[int, int, int], ...]

#: From -1 (low, blue) through 0 (grey) to +1 (high, yellow), equally spaced.
DIVERGING: Anchors = ((38, 92, 168), (84, 128, 186), (132, 160, 196), (184, 186, 190), (216, 204, 140), (240, 222, 108),
                      (255, 246, 170))  # fmt: skip

#: From 0 (little, dark) to 1 (much, light).
SEQUENTIAL: Anchors = ((70, 96, 140), (110, 134, 160), (160, 168, 160), (212, 204, 150), (255, 246, 190))


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
    """Return the scale as a matplotlib colour map of 256 steps."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(name, [tuple(c / 255 for c in anchor) for anchor in anchors], N=256)


def hex_scale(anchors: Anchors) -> list[tuple[float, str]]:
    """Return the scale as (position, "#rrggbb") pairs for the page."""
    nodes = np.linspace(0.0, 1.0, len(anchors))
    return [(float(node), "#{:02x}{:02x}{:02x}".format(*anchor)) for node, anchor in zip(nodes, anchors, strict=True)]

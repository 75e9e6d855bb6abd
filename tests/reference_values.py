"""Numbers with a known answer from outside the project; each says where it comes from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BOWED",
    "BOWED_KNOWN_NOISE",
    "FRANKE_SET_2",
    "SEVEN",
    "SEVEN_FITS",
    "SEVEN_PLACES",
    "SEVEN_PLANE",
    "SEVEN_REML",
    "franke",
]

Array = NDArray[np.float64]


def _table(text: str) -> Array:
    rows = [row.split(",") for row in text.replace("\n", " ").split(";")]
    return np.array([[float(cell) for cell in row] for row in rows])


#: Seven points x, y, z. The answers below: bordered thin-plate system in 60-digit mpmath; formulas of G. Wahba,
#: Spline Models for Observational Data, 1990, §1.3, 4.5, 4.8; cross-checked with scipy 1.17.1 and R mgcv 1.8-41.
SEVEN = _table("0,0,0.10; 4,0.5,0.32; 8,0,0.21; 1,3,0.45; 5,2.5,0.78; 8.5,4,0.36; 3,5,0.52")
SEVEN_PLACES = np.array([[2, 1.5], [6, 3.25], [7.2, 0.9], [5, 2.5]])

#: By kernel smoothing λ_K = 8π λ: predictions at the places, effective parameters, leave-one-out errors, and the
#: kriging standard error at the first and the last place with the profiled τ² (sigma² = λ_K τ²).
SEVEN_FITS = {
    0.5: {
        "at": np.array([0.38044135211060856, 0.70541010586445473, 0.38723542139456629, 0.76005207694409602]),
        "edf": 6.801939794378648,
        "loo": np.array([-0.0801927567655, -0.2207083726550, -0.0432128980137, 0.0758369976136,
                         0.3724506914189, -0.4068954372445, -0.2658253984597]),
        "tau2": 0.004129973725445467,
        "se": np.array([0.14433176529255431, 0.04420847268337533]),
    },
    5.0: {
        "at": np.array([0.38009089106971441, 0.62591637533626828, 0.36307220113163628, 0.65835136965045125]),
        "edf": 5.721233509881712,
        "loo": None,
        "tau2": 0.002641160186540274,
        "se": np.array([0.13200855359362236, 0.09487980326552426]),
    },
}  # fmt: skip

#: Smoothing of the same points by REML (mpmath; R mgcv s(x, y, bs="tp", k=7) agrees to 13 digits).
SEVEN_REML = {"smoothing": 19.93628487121011, "edf": 4.510713790393710, "noise": 0.02641975470334003}

#: Least-squares plane of the same points (exact rationals): intercept, dz/dx, dz/dy.
SEVEN_PLANE = np.array([506911 / 2130750, 2782 / 1065375, 70858 / 1065375])

#: 24 readings x, y, w (mm) of a bowed 1200 x 500 mm plate, noise about 0.02 mm. REML with free noise runs to zero
#: smoothing and reports a standard error of 6e-8 mm (R mgcv): formally right, useless in the shop.
BOWED = _table(
    "50,40,0.471; 270,40,0.249; 490,40,0.114; 710,40,0.137; 930,40,0.219; 1150,40,0.426; 50,180,0.369; 270,180,0.106;"
    "490,180,0.025; 710,180,0.021; 930,180,0.143; 1150,180,0.335; 50,320,0.364; 270,320,0.094; 490,320,0.019;"
    "710,320,0.002; 930,320,0.123; 1150,320,0.335; 50,460,0.429; 270,460,0.186; 490,460,0.129; 710,460,0.119;"
    "930,460,0.245; 1150,460,0.479"
)

#: The same with the noise known, u = 0.02 mm (mpmath and R mgcv ``scale=0.0004``): places, prediction, kriging se.
BOWED_KNOWN_NOISE = {
    "tau2": 6.17709637821e-8,
    "edf": 20.165639284,
    "places": np.array([[600.0, 250.0], [160.0, 110.0], [1190.0, 490.0], [50.0, 40.0]]),
    "at": np.array([-0.0054072323255, 0.286394389448, 0.525308459959, 0.465808393603]),
    "se": np.array([0.0325936126257, 0.0337783894319, 0.0388471494727, 0.0191247717415]),
}

#: R. Franke, Tech. Rep. NPS-53-79-003, 1979, set 2 (as in R package interp, data set franke.data).
FRANKE_SET_2 = _table(
    "0,0;0,1;0,0.5;0.5,1;0.1,0.15;0.15,0.3;0.3,0.35;0.1,0.75;0.05,0.45;1,0;1,1;0.5,0;1,0.5;0.2,0.1;0.25,0.2;0.6,0.25;"
    "0.9,0.35;0.8,0.4;0.7,0.2;0.95,0.9;0.6,0.65;0.65,0.7;0.35,0.85;0.6,0.85;0.9,0.8;0.85,0.25;0.8,0.65;0.75,0.85;"
    "0.7,0.9;0.7,0.65;0.75,0.1;0.75,0.35;0.55,0.95"
)


def franke(x: Array, y: Array) -> Array:
    """Franke's function on the unit square (same source)."""
    return (
        0.75 * np.exp(-((9 * x - 2) ** 2 + (9 * y - 2) ** 2) / 4)
        + 0.75 * np.exp(-((9 * x + 1) ** 2) / 49 - (9 * y + 1) / 10)
        + 0.5 * np.exp(-((9 * x - 7) ** 2 + (9 * y - 3) ** 2) / 4)
        - 0.2 * np.exp(-((9 * x - 4) ** 2) - (9 * y - 7) ** 2)
    )


#: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 1959: tables 8 and 35, series recomputed; α in α q a⁴/D.
PLATE_UNDER_PRESSURE = [
    ("simple", 1.0, 0.00406235266065),
    ("simple", 2.0, 0.0101286630552),
    ("clamped", 1.0, 0.00126531909),
    ("clamped", 2.0, 0.00253295577),
]

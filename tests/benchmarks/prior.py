"""trial"""

from __future__ import annotations
import sys, time, pickle
from pathlib import Path
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from physics import *  # noqa
from random_plates import _RibsAndWebs, _pressures
from plate_physics import mesh_lines, PlateModel, deflect, Load, parabolic_stress, released_curvature, E_MPA, NU
import random_plates


def rff(rng, lengths, n=300, nu=1.5):
    """Random field of Matern-like spectrum by random cosines: not the prior's Gaussian one."""
    g = rng.gamma(nu, 1 / nu, n)
    k = rng.standard_normal((n, 2)) / np.sqrt(g)[:, None] / np.asarray(lengths)
    ph = rng.uniform(0, 2 * np.pi, n)

    def f(x, y):
        out = np.zeros(np.shape(x))
        for (a, b), p in zip(k, ph):
            out += np.cos(a * x + b * y + p)
        return out * np.sqrt(2 / n)

    return f


def stressed(seed, size, cells, warp, dish, mean_dish=0.0, lengths=None):
    rng = np.random.default_rng(seed)
    layout = even_layout(*size, cells[1], cells[0], rib=float(rng.uniform(4, 8)), flange=float(rng.uniform(15, 30)))
    kinds = [
        str(k)
        for k in rng.choice(
            ["rectangle", "island", "step", "slope", "lowered"], cells[0] * cells[1], p=[0.72, 0.1, 0.08, 0.05, 0.05]
        )
    ]
    part = build_part(f"stressed {seed}", layout, kinds, rng, tolerance=0.1, stock=warp + 0.3)
    x = mesh_lines([0.0, *layout.columns.ravel(), layout.length], 60.0, least=3)
    y = mesh_lines([0.0, *layout.rows.ravel(), layout.width], 60.0, least=3)
    stiff = _RibsAndWebs(part, layout)
    L = max(size)
    ell = np.exp(rng.uniform(np.log(0.25 * L), np.log(1.0 * L), 2)) if lengths is None else np.array(lengths)
    fields = [rff(rng, ell) for _ in range(3)]
    ratio = rng.uniform(0.3, 0.9)

    def curvature(a, b):
        web, number = stiff.thickness(a, b)
        own = (1 - NU) / E_MPA * 24 * 10 * (layout.blank / 2 - 2 - web / 2) / layout.blank**2
        st = parabolic_stress(10.0, layout.blank, 2.0)
        ribs = [released_curvature(s, st) for s in (stiff.along, stiff.across)]
        c = fields[2](a, b)
        sh = (0.7 * fields[0](a, b) + 0.7 * c, ratio * (0.7 * fields[1](a, b) + 0.7 * c))
        return tuple(np.where(number < 0, r, own) * s for r, s in zip(ribs, sh))

    model = PlateModel(x, y, stiff.rigidity)
    rel = deflect(model, Load(curvature=curvature))
    press = _pressures(part, layout, rng, dish, mean_dish)
    d = deflect(model, Load(pressure=lambda a, b: press[stiff.thickness(a, b)[1]]), support=stiff.is_wall)
    v = rel(*np.concatenate([floor_points(p, 12) for p in part.pockets]).T)
    f = warp / np.ptp(v)
    return Plate(part, rel.scaled(f).plus(d), layout, stress=10 * f), ell

"""The simulator against closed forms: it makes the truths of other tests, so it is tested first."""

from __future__ import annotations

import numpy as np
import pytest
from physics import (
    Load,
    PlateModel,
    Section,
    deflect,
    floor_points,
    mesh_lines,
    parabolic_stress,
    plate_rigidity,
    random_plate,
    released_curvature,
    take_readings,
)
from reference_values import PLATE_UNDER_PRESSURE

# R. G. Treuting & W. T. Read 1951 (closed form for the parabola: derivation by moment balance).
E, NU = 71700.0, 0.33
PARABOLA = {45: 2.24267782427e-6, 30: 8.97071129707e-6, 20: 1.34560669456e-5, 5: 2.01841004184e-5, 2: 2.1529707113e-5}


@pytest.mark.parametrize(("left", "curvature"), PARABOLA.items())
def test_parabolic_stress_bends_in_proportion_to_the_depth_removed(left: float, curvature: float) -> None:
    got = released_curvature(Section(((0.0, left, 1.0),)), parabolic_stress(10.0, 50.0), e_mpa=E, nu=NU)
    assert got == pytest.approx(curvature, rel=1e-10)  # printed to 12 digits; 12 Gauss points are exact here


def test_one_sided_layer_under_tension_leaves_the_edges_low() -> None:
    # Layer of d = 10 mm under 20 MPa cut from an h = 50 mm plate (G. G. Stoney 1909, exact beam-plate form).
    # The uncut plate is in balance, so the rest carries the force −σ d and about its own middle the moment
    # −σ d h / 2; any stress with these resultants bends it alike, the linear one is taken.
    force, h, rest = 20.0 * 10.0, 50.0, 40.0

    def stress(z: np.ndarray) -> np.ndarray:
        return -force / rest - force * h / 2 * (z - rest / 2) / (rest**3 / 12)

    got = released_curvature(Section(((0.0, 40.0, 1.0),)), stress, e_mpa=E, nu=NU)
    assert got == pytest.approx(-8.76046025105e-6, rel=1e-10)


def test_uncut_plate_stays_flat() -> None:
    got = released_curvature(Section(((0.0, 50.0, 1.0),)), parabolic_stress(10.0, 50.0))
    assert abs(got) < 1e-18  # zero but for rounding


def test_uniform_plate_takes_its_free_curvature_exactly() -> None:
    kappa_x, kappa_y = 8.76046025105e-6, 3.0e-6
    model = PlateModel(
        np.linspace(0, 1000, 9),
        np.linspace(0, 400, 5),
        lambda x, y: plate_rigidity(np.full_like(x, 40.0), e_mpa=E, nu=NU),
    )
    w = deflect(model, Load(curvature=lambda x, y: (np.full_like(x, kappa_x), np.full_like(x, kappa_y))))
    xs, ys = np.meshgrid(np.linspace(0, 1000, 23), np.linspace(0, 400, 11), indexing="ij")
    plane = np.linalg.lstsq(
        np.column_stack([np.ones(xs.size), xs.ravel(), ys.ravel()]),
        (w(xs, ys) - kappa_x * xs**2 / 2 - kappa_y * ys**2 / 2).ravel(),
        rcond=None,
    )[1]
    assert plane.sum() < 1e-16  # bicubics hold a parabola exactly: only rounding is left
    # Sagitta κ L²/8 over 1 m: 1.095057531 mm.
    ends = (w(0.0, 200.0) + w(1000.0, 200.0)) / 2 - w(500.0, 200.0)
    assert float(ends) == pytest.approx(1.095057531, rel=1e-8)


@pytest.mark.parametrize(("support", "ratio", "alpha"), PLATE_UNDER_PRESSURE)
def test_plate_under_pressure(support: str, ratio: float, alpha: float) -> None:
    side, q, t = 100.0, 1e-3, 2.0
    model = PlateModel(
        np.linspace(0, side * ratio, int(12 * ratio) + 1),
        np.linspace(0, side, 13),
        lambda x, y: plate_rigidity(np.full_like(x, t), e_mpa=E, nu=0.3),
    )
    w = deflect(model, Load(pressure=lambda x, y: np.full_like(x, q)), support=support)
    rigidity = E * t**3 / (12 * (1 - 0.3**2))
    got = float(w(side * ratio / 2, side / 2)) * rigidity / (q * side**4)
    assert got == pytest.approx(alpha, rel=2e-5)  # error falls as h⁴; 12 cells a side leave 1e-5 or less


def test_unknown_support_is_refused() -> None:
    model = PlateModel(np.linspace(0, 1, 3), np.linspace(0, 1, 3), lambda x, y: plate_rigidity(np.ones_like(x)))
    with pytest.raises(ValueError, match="use datum, simple or clamped"):
        deflect(model, Load(), support="glued")


def test_uneven_plate_agrees_with_scikit_fem() -> None:
    # scikit-fem 12, Bogner-Fox-Schmit element, Timoshenko & Woinowsky-Krieger's energy written out by hand.
    from skfem import Basis, BilinearForm, ElementQuadBFS, LinearForm, MeshQuad, condense, solve

    x, y = np.linspace(0, 2, 6), np.linspace(0, 1.5, 5)

    def rigidity(px: np.ndarray, py: np.ndarray) -> np.ndarray:
        return 1.0 + 0.5 * px + 0.3 * py**2

    @BilinearForm
    def bending(u, v, at):
        d = rigidity(*at.x)
        a, b = u.hess, v.hess
        same = a[0][0] * b[0][0] + a[1][1] * b[1][1] + 2 * a[0][1] * b[0][1]
        return d * ((1 - NU) * same + NU * (a[0][0] + a[1][1]) * (b[0][0] + b[1][1]))

    @LinearForm
    def push(v, at):
        return np.sin(at.x[0]) * v

    basis = Basis(MeshQuad.init_tensor(x, y), ElementQuadBFS(), intorder=6)
    held = basis.get_dofs().flatten()
    expected = solve(*condense(bending.assemble(basis), push.assemble(basis), D=held))[basis.nodal_dofs[0]]
    model = PlateModel(x, y, lambda px, py: plate_rigidity(_thickness(rigidity(px, py)), e_mpa=E, nu=NU))
    w = deflect(model, Load(pressure=lambda px, py: np.sin(px)), support="clamped")
    # The same element and the same 16 Gauss points: only rounding differs (measured 1e-13 of the largest).
    assert np.allclose(w(*basis.mesh.p), expected, atol=1e-10 * abs(expected).max())


def _thickness(rigidity: np.ndarray) -> np.ndarray:
    return (12 * (1 - NU**2) * rigidity / E) ** (1 / 3)


def test_mesh_is_fine_enough_for_a_ribbed_plate(monkeypatch: pytest.MonkeyPatch) -> None:
    import random_plates

    coarse = random_plate(5, 1200, 500, 3, 5, warp_range=1.0, kinds=["rectangle"] * 15)
    monkeypatch.setattr(random_plates, "mesh_lines", lambda edges, step, least: mesh_lines(edges, step / 2, 2 * least))
    fine = random_plate(5, 1200, 500, 3, 5, warp_range=1.0, kinds=["rectangle"] * 15)
    points = np.vstack([floor_points(pocket, 12) for pocket in coarse.part.pockets])
    # A tenth of the reading noise of 0.010 mm; measured 0.0003 mm at a warp of 1 mm.
    assert abs(coarse.warp(*points.T) - fine.warp(*points.T)).max() < 0.001


@pytest.mark.parametrize(("size", "cells"), [((1200, 500), (3, 5)), ((4000, 1200), (5, 14)), ((8000, 1000), (3, 34))])
def test_random_plate_has_the_warp_asked_for(size: tuple[float, float], cells: tuple[int, int]) -> None:
    plate = random_plate(2, *size, *cells, warp_range=0.8, dish=0.0)
    floors = np.vstack([floor_points(pocket, 12) for pocket in plate.part.pockets])
    assert np.ptp(plate.warp(*floors.T)) == pytest.approx(0.8, rel=1e-9)
    assert len(plate.part.pockets) >= cells[0] * cells[1]


def test_same_seed_same_plate_and_readings() -> None:
    first, second = (random_plate(7, 1200, 500, 3, 5) for _ in range(2))
    assert first.part == second.part
    assert np.array_equal(first.warp.w, second.warp.w)
    one, two = (take_readings(first, 3, bad=0.1).readings for _ in range(2))
    assert np.array_equal(one.thickness, two.thickness, equal_nan=True)


@pytest.mark.parametrize("measured_z", [True, False])
def test_perfect_readings_give_back_the_warp(measured_z: bool) -> None:
    plate = random_plate(7, 1200, 500, 3, 5, warp_range=0.6)
    taken = take_readings(plate, 3, noise=0.0, measured_z=measured_z)
    r = taken.readings
    under = np.array([plate.part.pocket(str(k)).underside_z for k in r.pocket])
    rough = [plate.part.pocket(str(k)).rough_z(a, b) for k, a, b in zip(r.pocket, r.x, r.y, strict=True)]
    z = r.z if measured_z else np.array(rough, float)
    # w = z − t − underside; left over: 0.0005 of the gauge's last digit, and four sigma of the Z probe's 0.002.
    assert abs(z - r.thickness - under - taken.warp).max() < (0.0095 if measured_z else 0.00051)


def test_faults_are_as_many_as_asked() -> None:
    plate = random_plate(7, 1200, 500, 3, 5)
    taken = take_readings(plate, 3, per_pocket=10, bad=0.1)
    assert (taken.fault != "").sum() == round(0.1 * len(taken.readings))
    assert np.isnan(taken.readings.thickness).sum() == (taken.fault == "blank").sum() > 0

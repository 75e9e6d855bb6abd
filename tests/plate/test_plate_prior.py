"""What is simulated has the plate's own anisotropy, is about itself, and knows its part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import small_part
from ribbed_part import ribbed

import floorfit
from floorfit.errors import InputError
from floorfit.part.model import Tolerance
from floorfit.plate.plate_prior import KEPT, form_of, leading_modes, prior


def test_modes_hold_what_principal_components_hold() -> None:
    # scikit-learn's PCA is about the mean; of values with their negatives the mean is zero, and the two agree.
    from sklearn.decomposition import PCA

    rng = np.random.default_rng(1)
    half = rng.standard_normal((40, 6)) @ (rng.standard_normal((6, 60)) * np.array([5, 3, 2, 1, 0.01, 0.01])[:, None])
    values = np.concatenate([half, -half])
    modes = leading_modes(values.reshape(-1, 10, 6), np.arange(10.0), np.arange(6.0)).values.reshape(-1, 60)
    expected = PCA(KEPT, svd_solver="full").fit(values)
    assert len(modes) == expected.n_components_
    scale = np.mean(values**2)
    got = np.sort(np.sum(modes**2, axis=1))[::-1]
    assert got == pytest.approx(expected.explained_variance_ * (79 / 80) / scale, rel=1e-4)
    overlap = np.abs(np.sum(modes * expected.components_, axis=1)) / np.linalg.norm(modes, axis=1)
    assert overlap == pytest.approx(np.ones(len(modes)), abs=1e-3)


def test_plates_bend_across_their_ribs() -> None:
    # M. T. Huber 1914, as in Timoshenko & Woinowsky-Krieger 1959, ch. 11: a plate with ribs one way is stiff along
    # them. Loaded by forces (clamps) it bends the other way; what stress releases it does by itself either way.
    from floorfit.plate.bending import PlateMesh
    from floorfit.plate.rigidity import part_rigidity
    from floorfit.plate.stress import clamped

    mesh = PlateMesh((0.0, 0.0, 600.0, 600.0), part_rigidity(ribbed(), (10, 10), 30.0))
    loads = clamped(mesh, 40, np.random.default_rng(1))
    x = np.linspace(0, 600, 25)
    w = mesh.at(mesh.solve(loads, np.array([[0, 0], [600, 0], [0, 600.0]])), x, x)
    along, across = (np.diff(w, 2, axis=axis) for axis in (1, 2))
    assert np.std(along) < 0.2 * np.std(across)


def test_root_mean_square_is_one_without_a_plane() -> None:
    found = prior(small_part.part(), fields=200)
    modes = found.modes
    assert KEPT * 0.99 < np.mean(np.sum(modes.values**2, axis=0)) <= 1.0
    x, y = np.meshgrid(modes.x, modes.y, indexing="ij")
    for plane in (np.ones(x.shape), x - x.mean(), y - y.mean()):
        assert np.abs((modes.values * plane).sum(axis=(1, 2))).max() < 1e-3 * np.abs(plane).sum()


def test_same_seed_same_prior_another_seed_nearly_the_same() -> None:
    part = small_part.part()
    few = [prior(part, fields=100) for _ in range(2)]
    assert np.array_equal(few[0].modes.values, few[1].modes.values)
    one, other = prior(part), prior(part, seed=2)
    first, second = (np.tensordot(one.modes.values, one.modes.values, (0, 0)) for one in (one, other))
    # Covariances of 1,500 draws each differ by some 1/√1500 of themselves for every mode that counts.
    assert np.linalg.norm(first - second) < 0.2 * np.linalg.norm(first)


def test_it_knows_its_part() -> None:
    part = small_part.part()
    found = prior(part, fields=100)
    found.check(part)
    pockets = tuple(replace(one, tolerance=Tolerance(-0.2, 0.2)) for one in part.pockets)
    found.check(replace(part, name="renamed", pockets=pockets))  # neither bends the plate
    thicker = replace(part, pockets=(replace(part.pockets[0], web=2.5, floor_z=2.5), *part.pockets[1:]))
    assert form_of(thicker) != form_of(part)
    with pytest.raises(InputError, match=r'is the prior of "invented plate".*floorfit prior'):
        found.check(thicker)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_unit_of_the_file_does_not_matter(unit: str) -> None:
    assert form_of(small_part.part(unit)) == form_of(small_part.part())


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"thickness_mm": 0.0}, "thickness_mm"),
        # Ribs stand out of webs 2.5 mm thick with their stock, and a plate of 400 mm is no block: 1.6 (inches meant)
        # passed with exit 0, 1e9 ended in an internal fault.
        ({"thickness_mm": 1.6}, "thickness_mm: 1.6 came.*above 2.5"),
        ({"thickness_mm": 1e9}, "thickness_mm: .*below 400"),
        ({"fields": 10}, "fields"),
        ({"seed": -1}, "seed"),
        ({"lengths_mm": [100.0, float("nan")]}, "lengths_mm"),
    ],
)
def test_numbers_out_of_range_are_refused_by_name(given: dict[str, object], named: str) -> None:
    with pytest.raises(InputError, match=f"{named}.*was expected"):
        floorfit.prior(small_part.part(), **given)  # type: ignore[arg-type]

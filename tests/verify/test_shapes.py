import numpy as np
import pytest

from floorfit.verify.shapes import find_shapes, how_alike

X, Y = np.meshgrid(np.linspace(-1, 1, 14), np.linspace(-1, 1, 9), indexing="ij")
BOW, TWIST, SADDLE = (field.ravel() for field in (X**2 - 0.36, X * Y, X**2 - Y**2))


def fields(parts: int, seed: int = 1):
    generator = np.random.default_rng(seed)
    return BOW + np.outer(generator.normal(0, 0.3, parts), TWIST) + np.outer(generator.normal(0, 0.05, parts), SADDLE)


@pytest.mark.parametrize("parts", [8, 400])  # fewer and more than places: both Gram matrices
def test_same_as_numpy(parts: int) -> None:
    rows = fields(parts)
    found = find_shapes(rows, 2)
    _, singular, vectors = np.linalg.svd(rows - rows.mean(axis=0), full_matrices=False)
    assert found.shares == pytest.approx(singular[:2] ** 2 / (singular**2).sum(), rel=1e-9)
    for k in range(2):
        expected = vectors[k] * singular[k] / np.sqrt(parts - 1)
        # 1e-6: the Gram matrix halves the digits of the smaller singular value
        assert np.abs(found.shapes[k]) == pytest.approx(np.abs(expected), abs=1e-6)
    scores = (rows - rows.mean(axis=0)) @ found.shapes.T / (found.shapes**2).sum(axis=1)
    assert scores.std(axis=0, ddof=1) == pytest.approx([1.0, 1.0])


def test_known_shapes_come_back() -> None:
    found = find_shapes(fields(60), 3)
    assert abs(np.corrcoef(found.shapes[0], TWIST)[0, 1]) > 0.99
    assert len(found.shares) == 3 and found.shares[2] < 1e-12  # two shapes are all there is
    assert found.shapes[0][np.abs(found.shapes[0]).argmax()] > 0


def test_one_part_and_equal_parts_have_no_shapes() -> None:
    assert find_shapes(fields(1)).shapes.shape == (0, X.size)
    assert len(find_shapes(np.tile(BOW, (4, 1))).shares) == 0


def test_alike_and_not() -> None:
    inside = np.ones(X.size, bool)
    generator = np.random.default_rng(5)
    same = BOW + 0.02 * np.outer(generator.normal(size=10), TWIST)
    free = np.outer(generator.normal(size=10), BOW) + np.outer(generator.normal(size=10), TWIST)
    assert how_alike(same, X.shape, inside).answer == "yes"
    assert how_alike(free, X.shape, inside).answer == "no"
    assert how_alike(same[:2], X.shape, inside).answer == "unknown"


def test_share_left_of_independent_parts_is_known() -> None:
    # Parts c_j·S, c ~ N(µ, s²): E|w − mean of others|² / E|w|² = s² (1 + 1/(n − 1)) / (µ² + s²)
    coefficients = np.random.default_rng(6).normal(1.0, 0.5, 4000)
    found = how_alike(np.outer(coefficients, BOW), X.shape, np.ones(X.size, bool))
    assert 1 - found.explained == pytest.approx(0.25 / 1.25, rel=0.1)  # 4,000 draws: 3 % each way
    assert found.curvature_left == pytest.approx(1 - found.explained, rel=1e-9)


def test_each_part_is_predicted_from_the_mean_of_the_others() -> None:
    # Leave-one-out written out: for each part the mean is taken anew without it.
    generator = np.random.default_rng(7)
    parts = np.outer(generator.normal(1, 0.3, 4), BOW) + np.outer(generator.normal(0, 0.2, 4), TWIST)
    inside = generator.uniform(size=X.size) < 0.7
    planes = np.column_stack([np.ones(X.size), X.ravel(), Y.ravel()])
    parts -= (planes @ np.linalg.lstsq(planes[inside], parts[:, inside].T)[0]).T
    left = sum(((parts[k] - np.delete(parts, k, axis=0).mean(axis=0))[inside] ** 2).sum() for k in range(4))
    found = how_alike(parts, X.shape, inside)
    assert found.explained == pytest.approx(1 - left / (parts[:, inside] ** 2).sum(), rel=1e-12)


@pytest.mark.parametrize("height", [0.0, 0.01, 3.0])
def test_how_a_part_stands_says_nothing_of_how_it_bends(height: float) -> None:
    # Planes are what no bending energy sees (J. Duchon 1977): a part on shims or askew has bent by nothing. Until now
    # parts all alike that stood askew were told as "does not bend the same way", and any parts on shims as "always".
    generator, inside = np.random.default_rng(8), X.ravel() + Y.ravel() < 1.2
    stands = generator.normal(0, height, (9, 3)) @ np.stack([np.ones(X.size), X.ravel(), Y.ravel()])
    for parts in (np.tile(BOW, (9, 1)), generator.normal(size=(9, 2)) @ np.stack([BOW, TWIST])):
        found, plain = (how_alike(one, X.shape, inside) for one in (parts + stands + height, parts))
        assert found.answer == plain.answer
        assert found.explained == pytest.approx(plain.explained, abs=1e-9)
        assert found.curvature_left == pytest.approx(plain.curvature_left, abs=1e-9)

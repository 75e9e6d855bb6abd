import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from finished_webs import rough_readings, small_part, warp

from floorfit.cli import main
from floorfit.errors import InputError
from floorfit.result import Result
from floorfit.run import correct
from floorfit.surface.expected import Expected
from floorfit.verify import read_expected

NODES = np.linspace(0.0, 400.0, 20), np.linspace(0.0, 310.0, 16)


def mean_of(field, parts: int = 10) -> Expected:
    return Expected(*NODES, field(NODES[0][:, None], NODES[1][None, :]), parts)


@cache
def plain_run() -> Result:
    """Two readings a floor with nothing expected, run once."""
    return correct(small_part(), rough_readings(small_part(), 2))


def test_agreeing_plate_uses_the_mean_and_says_so() -> None:
    part = small_part()
    result = correct(part, rough_readings(part, 2), expected=mean_of(warp))
    (finding,) = [one for one in result.findings if one.code == "expected"]
    assert "agrees" in finding.text and "it was used" in finding.text
    assert result.fit is not None
    x, y = np.meshgrid(*NODES)
    # 18 readings of 0.010 for a plane and little more: 0.010 √(4/18) = 0.005 in the mean, three of it anywhere
    assert np.abs(result.fit.surface.at(x, y) - warp(x, y)).max() < 0.015


def test_plate_that_bends_otherwise_is_fitted_as_if_nothing_were_known() -> None:
    part = small_part()
    readings, plain = rough_readings(part, 2), plain_run()
    other = correct(part, readings, expected=mean_of(lambda x, y: -3 * warp(x, y) + 0.3 * np.sin(x / 30)))
    assert plain.fit is not None and other.fit is not None
    assert np.array_equal(plain.fit.surface.coefficients, other.fit.surface.coefficients)
    assert [one.correction.offset for one in plain.decisions] == [one.correction.offset for one in other.decisions]
    assert any("does not agree" in one.text for one in other.findings)


def ridge(x, y):
    """A rise of 0.15 mm all along the middle row of floors, narrower than a spline that is all but a plane follows."""
    return 0.15 * np.exp(-(((y - 155.0) / 60.0) ** 2)) + 0.0 * x


@pytest.mark.parametrize("per_floor", [2, 3, 5])
def test_what_was_expected_is_no_error_that_readings_share(per_floor: int) -> None:
    """What is taken off the readings is as if it had not been there: y - m with m known has the likelihood of y.

    Asked of the readings themselves, each of these had a row of floors that was said to be 0.08 to 0.20 mm off.
    """
    part, mean = small_part(), mean_of(ridge, 40)
    readings = rough_readings(part, per_floor, per_floor)
    ridged = replace(readings, z=readings.z + mean.at(readings.x, readings.y))
    result = correct(part, ridged, expected=mean)
    assert any("it was used" in one.text for one in result.findings)
    assert result.systematic == () and result.conforms


@pytest.mark.parametrize(("off", "is_used"), [(0.06, True), (-0.06, False)])
def test_an_error_of_a_row_is_found_beside_what_was_expected(off: float, is_used: bool) -> None:
    """As if the mean had not been there; where it is not likely, and so is not used, as if it had not been given."""
    part, mean = small_part(), mean_of(ridge, 40)
    readings = rough_readings(part, 3, 4)
    spoiled = replace(readings, z=readings.z + off * ((readings.y > 100) & (readings.y < 210)))
    ridged = replace(spoiled, z=spoiled.z + mean.at(readings.x, readings.y))
    result, plain = correct(part, ridged, expected=mean), correct(part, spoiled if is_used else ridged).systematic
    assert any("it was used" in one.text for one in result.findings) is is_used
    assert [(one.kind, one.name) for one in result.systematic] == [(one.kind, one.name) for one in plain] != []
    (one,), (other,) = result.systematic, plain
    assert (one.effect, one.u) == pytest.approx((other.effect, other.u), rel=1e-6)
    assert not is_used or (one.name == "row of P4" and abs(one.effect - off) < 3 * one.u)


def write(folder: Path, **changes: object) -> Path:
    document = {
        "format": "floorfit-series/1", "x_mm": NODES[0].tolist(), "y_mm": NODES[1].tolist(), "warps": 3,
        "mean_mm": np.zeros((20, 16)).tolist(), "fit_u_mm": np.full((20, 16), 0.01).tolist(),
        "pockets": [{"pocket": f"P{k}"} for k in range(1, 10)],
        "bounds_mm": [0, 0, 400, 310], "shapes": {"shares": [], "shapes_mm": []},
    }  # fmt: skip
    (folder / "series.json").write_text(json.dumps({**document, **changes}))
    return folder


def test_read_back(tmp_path: Path) -> None:
    assert read_expected(write(tmp_path), small_part()).parts == 3


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"format": "floorfit-series/9"}, "floorfit-series/1 was expected"),
        ({"pockets": [{"pocket": "P1"}]}, "series of another part"),
        ({"bounds_mm": [0, 0, 500, 310]}, "series of another part"),
        ({"warps": 0}, "holds no mean warp"),
        ({"mean_mm": [[0.0]]}, "holds no mean warp"),
        ({"mean_mm": "zero"}, "is no series"),
        # What a hand or half a copy leaves; each but the last two was an internal fault of the programme.
        ({"x_mm": NODES[0][::-1].tolist()}, "is no series.*x_mm"),
        ({"y_mm": [0.0, *NODES[1][:-1].tolist()]}, "is no series.*y_mm"),
        ({"x_mm": [float("nan"), *NODES[0][1:].tolist()]}, "is no series.*x_mm"),
        ({"x_mm": [0.0, 400.0], "mean_mm": np.zeros((2, 16)).tolist()}, "is no series.*x_mm"),
        ({"identity": ["side", "A"]}, "is no series"),
        ({"identity": None}, "is no series"),
        ({"pockets": [1, 2]}, "is no series"),
        ({"bounds_mm": [0, 0]}, "is no series"),
        ({"bounds_mm": "all of it"}, "is no series"),
        ({"fit_u_mm": [[0.01]]}, "is no series.*fit_u_mm"),
        ({"mean_mm": np.full((20, 16), 1e300).tolist()}, "is no series.*mean_mm"),
        ({"warps": 9, "shapes": {"shares": [1.0], "shapes_mm": [[float("nan")] * 320]}}, "is no series.*shapes_mm"),
    ],
)
def test_refusals(tmp_path: Path, changes: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_expected(write(tmp_path, **changes), small_part())


def test_a_series_that_does_not_say_how_sure_its_mean_is_is_refused(tmp_path: Path) -> None:
    file = write(tmp_path) / "series.json"
    file.write_text(json.dumps({key: one for key, one in json.loads(file.read_text()).items() if key != "fit_u_mm"}))
    with pytest.raises(InputError, match=r"how sure its mean is.*Run `series` again"):
        read_expected(tmp_path, small_part())


def test_the_series_of_a_mirrored_part_is_refused(unpainted, tmp_path: Path) -> None:
    # Left and right parts come in pairs, with the same ids and the same rectangle (common practice, no source).
    part = small_part()
    turned = [replace(one, boundary=tuple((400.0 - x, y) for x, y in one.boundary)) for one in part.pockets]
    job = tmp_path / "job"
    plain_run().save(job, pictures=False)
    assert main(["series", str(job), "-o", str(tmp_path / "learnt")]) == 0
    assert read_expected(tmp_path / "learnt", part).parts == 1
    with pytest.raises(InputError, match="series of another part"):
        read_expected(tmp_path / "learnt", replace(part, pockets=tuple(turned)))


def test_brackets_without_end_are_no_series(tmp_path: Path) -> None:
    (tmp_path / "series.json").write_text("[" * 100_000)
    with pytest.raises(InputError, match="is no series"):
        read_expected(tmp_path, small_part())


def test_no_series_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Name a folder made by `series`"):
        read_expected(tmp_path, small_part())

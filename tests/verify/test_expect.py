import json
from pathlib import Path

import numpy as np
import pytest
from finished_webs import rough_readings, small_part, warp

from floorfit.errors import InputError
from floorfit.run import correct
from floorfit.surface.expected import Expected
from floorfit.verify import read_expected

NODES = np.linspace(0.0, 400.0, 20), np.linspace(0.0, 310.0, 16)


def mean_of(field, parts: int = 10) -> Expected:
    return Expected(*NODES, field(NODES[0][:, None], NODES[1][None, :]), parts)


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
    readings = rough_readings(part, 2)
    plain = correct(part, readings)
    other = correct(part, readings, expected=mean_of(lambda x, y: -3 * warp(x, y) + 0.3 * np.sin(x / 30)))
    assert plain.fit is not None and other.fit is not None
    assert np.array_equal(plain.fit.surface.coefficients, other.fit.surface.coefficients)
    assert [one.correction.offset for one in plain.decisions] == [one.correction.offset for one in other.decisions]
    assert any("does not agree" in one.text for one in other.findings)


def write(folder: Path, **changes: object) -> Path:
    document = {
        "format": "floorfit-series/1", "x_mm": NODES[0].tolist(), "y_mm": NODES[1].tolist(), "warps": 3,
        "mean_mm": np.zeros((20, 16)).tolist(), "pockets": [{"pocket": f"P{k}"} for k in range(1, 10)],
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
    ],
)
def test_refusals(tmp_path: Path, changes: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_expected(write(tmp_path, **changes), small_part())


def test_brackets_without_end_are_no_series(tmp_path: Path) -> None:
    (tmp_path / "series.json").write_text("[" * 100_000)
    with pytest.raises(InputError, match="is no series"):
        read_expected(tmp_path, small_part())


def test_no_series_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Name a folder made by `series`"):
        read_expected(tmp_path, small_part())

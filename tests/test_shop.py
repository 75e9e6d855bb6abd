"""A shop's own list of what must be stated."""

from __future__ import annotations

from pathlib import Path

import pytest

from floorfit.errors import InputError
from floorfit.shop import read_shop


def test_list_is_read(tmp_path: Path):
    path = tmp_path / "shop.toml"
    path.write_text('require = ["serial", "operator"]\n', encoding="utf-8")
    assert read_shop(path) == ("serial", "operator")


@pytest.mark.parametrize("text", ["require = serial", 'require = "serial"', "require = [1]", "colour = 1"])
def test_anything_else_is_refused(tmp_path: Path, text: str):
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"shop\.toml: "):
        read_shop(path)

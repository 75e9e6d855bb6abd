"""Settings that cannot be meant are refused, all at once."""

from __future__ import annotations

import math

import pytest

from floorfit.cad.extract_settings import ExtractSettings, check_settings
from floorfit.errors import InputError


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("units", "feet"),
        ("side", "left"),
        ("boundary", "middle"),
        ("up", (0.0, 0.0, 0.0)),
        ("up", (math.nan, 0.0, 1.0)),
        ("up", (0.0, 1.0)),
        ("max_slope_deg", 31.0),
        ("max_slope_deg", math.nan),
        ("min_area", -1.0),
        ("web_max", 0.0),
        ("chord_tolerance", 0.0),
        ("finish_stock", -0.1),
        ("body", "0"),
        ("body", "first"),
    ],
)
def test_each_fault_names_its_setting(name, value):
    with pytest.raises(InputError, match=r"came, .* expected") as caught:
        check_settings(ExtractSettings(**{name: value}))
    assert [finding.place for finding in caught.value.findings] == [name]


def test_defaults_are_sound():
    check_settings(ExtractSettings())
    check_settings(ExtractSettings(units="in", body="all", web_max=5.0, finish_stock=0.5))

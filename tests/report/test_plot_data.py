import json

import numpy as np
import pytest
import record_factory

from floorfit.report.plan_view import plan_of
from floorfit.report.plot_data import plot_data, script_json


@pytest.mark.parametrize("make, per_mm", [(record_factory.frame, 1.0), (record_factory.inch_part, 1 / 25.4)])
def test_layers_equal_the_record_to_their_digits(make, per_mm) -> None:
    record = make()
    data = plot_data(record, plan_of(record))
    pairs = {"warp": ("warp_mm", 1), "uncertainty": ("warp_u_mm", 2), "margin": ("margin_mm", 1),
             "before": ("web_before_mm", 1), "after": ("web_after_mm", 1)}  # fmt: skip
    for name, (field, factor) in pairs.items():
        truth = np.array(getattr(record.map, field), dtype=float) * factor * per_mm
        shown = np.array(data["layers"][name], dtype=float)
        digits = data["decimals"] + 1
        assert np.array_equal(np.isnan(truth), np.isnan(shown))
        assert np.nanmax(np.abs(truth - shown)) <= 0.5 * 10**-digits * (1 + 1e-9)  # half of the last digit


def test_script_json_holds_no_markup_and_reads_back() -> None:
    hostile = {"name": "</script><!--&amp;\u2028", "n": [1.5, None]}
    text = str(script_json(hostile))
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == hostile


def test_nan_is_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        script_json({"a": float("nan")})


def test_no_map_gives_no_layers() -> None:
    record = record_factory.no_surface()
    data = plot_data(record, plan_of(record))
    assert data["layers"] == {} and data["x"] == [] and len(data["floors"]) == 18


def test_large_grid_is_thinned_for_the_page() -> None:
    record = record_factory.frame()
    grid = record.map
    layers = {name: value for name, value in vars(grid).items() if name not in {"x_mm", "y_mm"}}
    twice = {name: np.tile(rows, (2, 2)) for name, rows in layers.items()}
    nodes = {"x_mm": np.arange(2.0 * len(grid.x_mm)), "y_mm": np.arange(2.0 * len(grid.y_mm))}
    large = record.model_copy(update={"map": type(grid)(**nodes, **twice)})
    data = plot_data(large, plan_of(large))
    assert len(data["x"]) * len(data["y"]) <= 60_000
    assert np.array(data["layers"]["warp"]).shape == (len(data["y"]), len(data["x"]))


def test_tolerance_scale_puts_limits_at_one() -> None:
    record = record_factory.frame()
    data = plot_data(record, plan_of(record))
    for (middle, half, *_), decision in zip(data["scales"], record.decisions, strict=True):
        ends = ((decision.web_lower_limit_mm - middle) / half, (decision.web_upper_limit_mm - middle) / half)
        assert ends == pytest.approx((-1, 1), abs=1e-9)  # rounding of differences near 0.1

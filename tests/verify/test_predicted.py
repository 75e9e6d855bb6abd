import dataclasses

import numpy as np
import pytest
from finished_webs import small_record
from scipy.interpolate import BSpline, RegularGridInterpolator

from floorfit.errors import InputError
from floorfit.verify.predicted import Prediction, webs_of


def test_surface_is_the_tensor_spline_of_the_record_and_its_dishes() -> None:
    surface = small_record().surface
    assert surface is not None
    x, y = np.random.default_rng(1).uniform((0, 0), (400, 310), (50, 2)).T
    rows = BSpline.design_matrix(x, surface.knots_x_mm, 3).toarray()
    columns = BSpline.design_matrix(y, surface.knots_y_mm, 3).toarray()
    expected = np.einsum("ni,ij,nj->n", rows, np.array(surface.coefficients_mm), columns)
    for dish in surface.dishes:
        form = np.array(surface.dish_forms[dish.form])
        ends = zip(dish.low_mm, dish.high_mm, form.shape, strict=True)
        nodes = [np.linspace(low, high, count) for low, high, count in ends]
        at = RegularGridInterpolator(nodes, form, bounds_error=False, fill_value=0.0)
        expected += dish.warp_mm * at(np.column_stack([x, y]))
    # independent evaluation by scipy's B-splines and tables; 1e-9 mm: rounding of a few hundred terms
    assert webs_of(small_record()).warp.at(x, y) == pytest.approx(expected, abs=1e-9)


def test_deviation_is_offset_less_warp() -> None:
    record = small_record()
    prediction = Prediction.of(record)
    warp = webs_of(record).warp.at([50.0, 90.0], [40.0, 70.0])  # type: ignore[arg-type]
    expected = record.decisions[0].correction.at([50.0, 90.0], [40.0, 70.0]) - warp
    assert prediction.deviation(0, [50.0, 90.0], [40.0, 70.0]) == pytest.approx(expected, abs=1e-12)


def test_bias_lowers_every_offset_and_leaves_the_predicted_webs() -> None:
    # The contract's sign: dz is added to the floor Z. Webs that come out 0.03 thicker want floors 0.03 lower.
    plain, biased = small_record(), small_record(0.03)
    for before, after in zip(plain.decisions, biased.decisions, strict=True):
        assert after.offset_mm == pytest.approx(before.offset_mm - 0.03, abs=1e-9)
        assert after.web_after_min_mm == pytest.approx(before.web_after_min_mm, abs=1e-9)
        # A bias has an uncertainty of its own (JCGM 100, 5.1.2), so it can only make the offset less sure.
        assert after.conformance_probability <= before.conformance_probability
        assert after.offset_u_mm > before.offset_u_mm
    assert biased.settings["bias"] == 0.03
    assert biased.surface == plain.surface
    places = [50.0, 90.0], [40.0, 70.0]
    expected = Prediction.of(plain).deviation(0, *places)
    assert Prediction.of(biased).deviation(0, *places) == pytest.approx(expected, abs=1e-9)
    layers = [np.array(record.map.web_after_mm, float) for record in (plain, biased)]  # type: ignore[union-attr]
    assert layers[1] == pytest.approx(layers[0], abs=2e-6, nan_ok=True)  # layers are kept to a nanometre


def test_uncertainty_lies_between_the_nodes_of_the_map() -> None:
    record = small_record()
    assert record.map is not None
    layer = np.array(record.map.warp_u_mm, float)
    found = Prediction.of(record).deviation_u(record.map.x_mm[3], record.map.y_mm[4])
    assert float(found) == pytest.approx(layer[4, 3])


def test_surface_that_does_not_hold_together_is_refused() -> None:
    surface = small_record().surface
    assert surface is not None
    broken = surface.model_copy(update={"coefficients_mm": surface.coefficients_mm[:-1]})
    with pytest.raises(InputError, match="do not fit each other"):
        webs_of(small_record().model_copy(update={"surface": broken}))


def test_uncertainty_between_nodes_is_bilinear() -> None:
    rng = np.random.default_rng(4)
    record = small_record()
    assert record.map is not None
    shape = np.shape(record.map.warp_u_mm)
    layer = dataclasses.replace(record.map, warp_u_mm=rng.uniform(0.01, 0.02, shape))
    x, y = (rng.uniform(nodes[0], nodes[-1], 200) for nodes in (layer.x_mm, layer.y_mm))
    # scipy's interpolator, written by others; rounding of four terms
    expected = RegularGridInterpolator((layer.y_mm, layer.x_mm), np.array(layer.warp_u_mm))(np.column_stack([y, x]))
    found = Prediction.of(record.model_copy(update={"map": layer})).deviation_u(x, y)
    assert found == pytest.approx(expected, abs=1e-12)

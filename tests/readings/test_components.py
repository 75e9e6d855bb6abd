"""Uncertainty budgets against published examples and the uncertainties package."""

from __future__ import annotations

import math

import pytest
from uncertainties import ufloat

from floorfit.readings.components import Component, combine_components


def test_end_gauge_example_of_the_gum() -> None:
    # JCGM 100:2008, H.1, nm: the standard; the difference from three causes; expansion and temperature differences,
    # both rectangular, through l·θ and l·α.
    length = 50.000623e6
    difference = combine_components([Component("r", 5.8, 24), Component("s", 3.9, 5), Component("t", 6.7, 8)])
    assert (difference.u, difference.dof) == (pytest.approx(9.68194, abs=1e-5), pytest.approx(25.4473, abs=1e-4))
    budget = combine_components(
        [
            Component("standard", 25.0, 18),
            Component("difference", difference.u, difference.dof),
            Component("expansion", length * 0.1 * 1e-6 / math.sqrt(3), 50),
            Component("temperature", length * 11.5e-6 * 0.05 / math.sqrt(3), 2),
        ]
    )
    # The GTC library 1.5.1 gives 31.663879111 and 16.751855737; printed are 32 and 16.
    assert budget.u == pytest.approx(31.663879111, abs=1e-9)
    assert budget.dof == pytest.approx(16.751855737, abs=1e-8)
    # t for 99 % and 16 degrees of freedom: 2.9207816 (JCGM 100, table G.2); printed 93 nm from the rounded 32.
    assert budget.coverage_factor(0.99) == pytest.approx(2.9207816, abs=1e-6)
    assert budget.expanded(0.99) == pytest.approx(93.0, abs=1.0)


def test_welch_satterthwaite_by_hand() -> None:
    # u = 3 (4 degrees of freedom) and 4 (9): 625/(81/4 + 256/9).
    budget = combine_components([Component("a", 3.0, 4), Component("b", 4.0, 9)])
    assert budget.u == pytest.approx(5.0, abs=1e-15)
    assert budget.dof == pytest.approx(12.835139760410724, rel=1e-14)


def test_known_components_have_a_normal_coverage_factor() -> None:
    # 1.95996398454: quantile 0.975 of the normal distribution.
    assert combine_components([Component("a", 1.0)]).coverage_factor() == pytest.approx(1.95996398454, abs=1e-10)


def test_nothing_is_certain() -> None:
    assert combine_components([]).u == 0.0


def test_sum_agrees_with_an_independent_package() -> None:
    total = ufloat(0, 0.0021) + 3 * ufloat(0, 0.0007) - ufloat(0, 0.0044)
    budget = combine_components([Component("a", 0.0021), Component("b", 3 * 0.0007), Component("c", 0.0044)])
    assert budget.u == pytest.approx(total.std_dev, rel=1e-14)

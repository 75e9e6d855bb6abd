"""Lines from a template: values, units, and a sandbox that holds."""

from __future__ import annotations

import pytest
from nc_cases import PART, corrections, follow, hold, tilt

from floorfit.errors import InputError
from floorfit.nc.lines import render_lines

GIVEN = corrections(A=0.127, B=-0.254)


def test_a_work_offset_for_each_pocket():
    """RS274/NGC: G10 L2 P- Z- sets a work offset (NISTIR 6556, 3.5.5). 0.127 mm = 0.005 in (25.4 mm exactly)."""
    text = render_lines(PART, GIVEN, 'G10 L2 P{{ number }} Z{{ "%.4f" | format(offset_in) }}')
    assert text.splitlines()[:2] == ["G10 L2 P1 Z0.0050", "G10 L2 P2 Z-0.0100"]
    assert len(text.splitlines()) == len(PART.pockets)


def test_first_and_last():
    text = render_lines(PART, GIVEN, "{% if first %}({% endif %}{{ id }}{% if last %}){% endif %}\n")
    assert text == "(A\nB\nC\nD)\n"


@pytest.mark.parametrize(
    "template",
    [
        "{{ nothing }}",
        "{{ offset_mm",
        "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "{% include '/etc/hostname' %}",
        "{{ 'a' * 1000000000 }}",
        "{{ 9 ** 9999999 }}",
        "{{ offset_mm / 0 }}",
        "{{ 'x' | center(1000) }}",
        "{{ 'a' | format_unknown }}",
    ],
)
def test_templates_that_are_wrong_or_reach_out(template):
    with pytest.raises(InputError, match="The template may use"):
        render_lines(PART, GIVEN, template)


def test_what_does_not_fit_in_a_line():
    with pytest.raises(InputError, match="is held"):
        render_lines(PART, corrections(A=hold("A")), "{{ offset_mm }}")
    with pytest.raises(InputError, match="follows a surface"):
        render_lines(PART, corrections(A=follow("A", 0.1)), "{{ offset_mm }}")
    with pytest.raises(InputError, match="is tilted"):
        render_lines(PART, corrections(A=tilt("A", 0.1, 1e-3, 0)), "{{ offset_mm }}")


def test_held_pockets_left_out_or_zero():
    given = corrections(A=hold("A"), B=0.1)
    assert len(render_lines(PART, given, "{{ id }}", held="skip").splitlines()) == 3
    assert render_lines(PART, given, "{{ offset_mm }}", held="cut").splitlines()[0] == "0.0"


@pytest.mark.parametrize(
    "line", ["G10 L2 P10 Z1", "g10 l2 p{{ number + 9 }} z1", "G10 L20 P0 Z1", "G10 L2 Z1", "G10L2P1.5Z1"]
)
def test_a_work_offset_that_the_standard_has_not_got_is_refused(line):
    """NISTIR 6556, 3.5.5: P is an integer from 1 to 9, for G54 to G59.3."""
    with pytest.raises(InputError, match="P1 to P9"):
        render_lines(PART, corrections(A=0.1), line)


def test_work_offsets_that_exist_are_written():
    assert render_lines(PART, corrections(A=0.1), "G10 L20 P9 Z1").count("P9") == len(PART.pockets)

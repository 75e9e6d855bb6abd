"""The picture in section: it draws what it is given, the same bytes each time."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from floorfit.report.section import MOST_FLOORS, draw_section, write_section


def trace(name: str, change: float) -> SimpleNamespace:
    path = np.linspace(0, 100, 50)
    return SimpleNamespace(pocket=name, path=path, before=np.full(50, 2.0), after=np.full(50, 2.0 + change))


def test_the_floors_that_change_most_are_drawn():
    figure = draw_section([trace(f"P{i}", 0.01 * i) for i in range(20)], "a $title$")
    titles = [axis.get_title(loc="left") for axis in figure.axes]
    assert len(titles) == MOST_FLOORS
    assert titles[0].startswith("P19: dZ +0.190")


def test_before_and_after_are_the_given_numbers():
    axis = draw_section([trace("A", -0.1)], "t").axes[0]
    before, after = axis.get_lines()
    assert np.allclose(np.asarray(after.get_ydata()) - np.asarray(before.get_ydata()), -0.1)


def test_nothing_to_draw_and_odd_names(tmp_path):
    write_section([], "nothing", tmp_path / "a.png")
    write_section([trace("<b>$x_$\n" + "y" * 200, 0.1)], "t", tmp_path / "b.png")
    write_section([trace("<b>$x_$\n" + "y" * 200, 0.1)], "t", tmp_path / "c.png")
    assert (tmp_path / "b.png").read_bytes() == (tmp_path / "c.png").read_bytes()

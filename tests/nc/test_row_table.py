"""A growing table of numbers, against numpy's own stacking."""

from __future__ import annotations

import numpy as np

from floorfit.nc.motions import RowTable


def test_rows_come_back_by_columns_and_only_the_last_is_changed() -> None:
    table, rows = RowTable("x y line"), [[1.5, -2.0, 1.0], [0.1, 2.0**52, 2.0], [9.0, 0.5, 5.0]]
    for row in rows:
        table.add(*row)
    table.set_last("y", -1.0)
    whole = np.array([*rows[:2], [9.0, -1.0, 5.0]])
    assert len(table) == 3
    assert np.array_equal(np.column_stack(list(table.columns().values())), whole)
    assert list(table.columns()) == ["x", "y", "line"]

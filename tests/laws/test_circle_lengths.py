"""Lengths of a line inside a circle: each place on the line is in one of them where it is inside, and else in none."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from netplan.emergency.circle_lengths import lengths_in_circle

ROUNDED = 1e-9
"""What two ways of adding up lengths of some hundred may be apart."""
NUMBERS = st.floats(-100.0, 100.0, allow_nan=False).map(lambda value: round(value, 3))


@given(
    corners=st.lists(st.tuples(NUMBERS, NUMBERS), min_size=2, max_size=8),
    centre=st.tuples(NUMBERS, NUMBERS),
    radius=st.floats(0.0, 80.0),
)
def test_a_place_is_inside_a_length_where_it_is_inside_the_circle(
    corners: list[tuple[float, float]], centre: tuple[float, float], radius: float
) -> None:
    line = shapely.LineString(corners)
    found = lengths_in_circle(np.array(corners), centre, radius)
    assert all(low <= high for low, high in found)
    assert all(one[1] < two[0] for one, two in pairwise(found))
    at = np.linspace(0.0, line.length, 60)
    away = shapely.distance(shapely.line_interpolate_point(line, at), shapely.Point(centre))
    is_in = np.array(
        [any(low - ROUNDED <= place <= high + ROUNDED for low, high in found) for place in at.tolist()]
    )
    is_clear = np.abs(away - radius) > 1e-6
    assert (is_in == (away < radius))[is_clear].all()


def test_a_line_that_touches_the_circle_has_its_place() -> None:
    found = lengths_in_circle(np.array([[-3.0, 2.0], [5.0, 2.0]]), (0.0, 0.0), 2.0)
    assert found == [(3.0, 3.0)]
    (half,) = lengths_in_circle(np.array([[-3.0, 1.0], [5.0, 1.0]]), (0.0, 0.0), 2.0)
    assert half == pytest.approx((3.0 - 3.0**0.5, 3.0 + 3.0**0.5), abs=1e-12)
    assert lengths_in_circle(np.array([[-3.0, 2.0], [5.0, 2.0]]), (0.0, 0.0), -1.0) == []

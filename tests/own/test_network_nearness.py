"""Searches by sorting into cells against comparing everything with everything."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from netplan.network.spatial_index import close_pairs, points_on_lines

REACH_M = 0.05


@pytest.mark.parametrize("seed", range(40))
def test_both_searches_agree_with_all_pairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = np.concatenate([[0], np.cumsum(rng.integers(2, 5, 12))])
    coords = np.round(rng.uniform(0, 6, (start[-1], 2))) * 10.0
    near = coords[rng.integers(0, len(coords), 20)] + rng.choice([0, 0.01, 0.049, 0.051], (20, 2))
    points = np.vstack([near, np.round(rng.uniform(0, 60, (40, 2)))])
    lines = [shapely.LineString(coords[a:b]) for a, b in pairwise(start.tolist())]
    places = np.asarray(shapely.points(points), dtype=object)
    gap = np.array([[shapely.distance(place, line) for line in lines] for place in places])
    point, line, measure, distance = points_on_lines(points, coords, start, REACH_M)
    found = set(zip(point.tolist(), line.tolist(), strict=True))
    assert found == set(zip(*(part.tolist() for part in np.nonzero(gap <= REACH_M)), strict=True))
    assert len(found) == len(point)
    assert distance == pytest.approx(gap[point, line], abs=1e-9)
    foot = [lines[b].interpolate(m).distance(places[a]) for a, b, m in zip(point, line, measure, strict=True)]
    assert foot == pytest.approx(distance, abs=1e-9)
    pairs = close_pairs(points, REACH_M)
    apart = np.hypot(*(points[:, None] - points[None]).T)
    wanted = {(a, b) for a in range(len(points)) for b in range(a) if apart[a, b] <= REACH_M}
    assert {(max(pair), min(pair)) for pair in pairs.tolist()} == wanted
    assert len(pairs) == len(wanted)


def test_far_off_vertices_cost_nothing() -> None:
    points = np.array([[0.0, 0.0], [5_000_000.0, 50.0]])
    coords = np.array([[0.0, 0.0], [10_000_000.0, 100.0]])
    point, line, measure, _ = points_on_lines(points, coords, np.array([0, 2]), REACH_M)
    assert point.tolist() == [0, 1]
    assert line.tolist() == [0, 0]
    assert measure == pytest.approx([0, 5_000_000], rel=1e-9)


def test_nothing_to_search() -> None:
    none = np.zeros((0, 2))
    assert len(points_on_lines(none, none, np.zeros(1, dtype=int), REACH_M)[0]) == 0

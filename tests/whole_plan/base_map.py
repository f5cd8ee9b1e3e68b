"""The base map of some random towns: houses along the streets, streets, a railway or a stream."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from tests.support.networks import XY, line, point
from tests.whole_plan.draw import Draw
from tests.whole_plan.streets import at, length

__all__ = ["lay_base_map"]

FROM_STREET_M = 5.0
"""From a main to the front of a house [m]."""


def lay_base_map(draw: Draw) -> None:
    """Draw the base map by a generator of its own, so that the rest of the town stays what it is without."""
    rng = np.random.default_rng([17, draw.town.seed])
    if rng.random() < 0.45:
        return
    draw.town.kinds.add("base map")
    draw.rows["buildings"] = list(_houses(draw, rng))
    if rng.random() < 0.6:
        draw.town.kinds.add("streets")
        draw.rows["streets"] = [{"name": "", "geometry": line(*ends)} for ends in draw.line.values()]
    if rng.random() < 0.3:
        draw.town.kinds.add("rail or water")
        x, y = float(rng.uniform(20, 120)), float(rng.uniform(20, 120))
        along = line((x, -30.0), (x + float(rng.uniform(-9, 9)), y))
        draw.rows["rail" if rng.random() < 0.5 else "water"] = [{"name": "", "geometry": along}]


def _houses(draw: Draw, rng: Any) -> Any:
    mains = shapely.union_all([line(*ends) for ends in draw.line.values()])
    for ends in draw.line.values():
        span, where = length(ends), float(rng.uniform(3.0, 9.0))
        while where < span - 3.0:
            wide, deep = float(rng.uniform(5.0, 14.0)), float(rng.uniform(6.0, 14.0))
            side = 1.0 if rng.random() < 0.5 else -1.0
            shape = _house(ends, (where, where + wide), side, deep)
            # Now and then a house is recorded over a main, as bad records have it.
            if shape.distance(mains) > 1.0 or rng.random() < 0.03:
                yield {"name": "", "geometry": shape}
            where += wide + float(rng.choice([0.0, 0.0, 2.0, 12.0]))


def _house(ends: tuple[XY, XY], along: tuple[float, float], side: float, deep: float) -> Any:
    (x0, y0), (x1, y1) = ends
    span = length(ends)
    across = np.array([-(y1 - y0), x1 - x0]) / span * side
    front = [np.array(point(at(ends, where / span)).coords[0]) for where in along]
    low, high = FROM_STREET_M * across, (FROM_STREET_M + deep) * across
    return shapely.Polygon([front[0] + low, front[1] + low, front[1] + high, front[0] + high])

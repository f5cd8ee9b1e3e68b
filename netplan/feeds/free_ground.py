"""Where a hose may lie: outside buildings, water, rail and keep-out areas, along streets where any are near.

Buildings, water, rail and keep-out areas are kept clear of, so that walls which meet leave no gap between
them and lines are crossed nowhere. Streets are their lines with a width, areas as they are drawn; where a
main lies is street too, for its tees are dug there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import floor
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.graph.visibility_graph import Barriers, VisibilityGraph
from netplan.network.model import Network

__all__ = ["BUILDING", "CLEAR_M", "FreeGround", "LocalGround", "Obstacles", "lines_of_mains"]

CLEAR_M: Final = 0.25
"""How far a hose bends round the corner of an obstacle (own) [m]."""
LEAST_CLEAR_M: Final = 0.14
"""How near a hose may come to an obstacle (own) [m]."""
SIMPLER_M: Final = 0.1
"""How far outlines with many vertices may be moved to have fewer (own) [m]."""
SEAM_M: Final = 0.01
"""How far beyond the edge of a street a hose along the edge may lie (own) [m]."""
MAIN_HALF_WIDTH_M: Final = 2.0
"""How far beside a main the ground is street all the same (own) [m]."""
MOST_KEPT: Final = 2000
"""Squares of ground that are kept (own) [-]."""
BUILDING: Final = "building"
_KIND_OF: Final = {"buildings": BUILDING, "water": "water", "rail": "rail"}
_MITRE: Final[dict[str, Any]] = {"join_style": "mitre", "mitre_limit": 2.0, "cap_style": "square"}

Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True, eq=False)
class Obstacles:
    """What a hose may not cross.

    Parameters
    ----------
    shapes : array of shapely geometries, shape (k,)
        Lines and areas in the working CRS [m].
    kind : tuple of str
        "building", "water", "rail" or "keep-out area".
    """

    shapes: Shapes
    kind: tuple[str, ...]

    @classmethod
    def of(cls, network: Network) -> Obstacles:
        """Return those that a network records."""
        shapes, kinds = [_drawn(network.keep_out.geometry)], ["keep-out area"]
        for layer, kind in _KIND_OF.items():
            if layer in network.base:
                shapes.append(_drawn(network.base[layer].geometry.array))
                kinds.append(kind)
        kind = tuple(kind for some, kind in zip(shapes, kinds, strict=True) for _ in some)
        return cls(np.concatenate(shapes), kind)


def _drawn(shapes: Any) -> Shapes:
    """Return the lines and areas of a layer."""
    some = shapely.force_2d(np.asarray(shapes, dtype=object))
    return some[(shapely.get_dimensions(some) >= 1) & ~shapely.is_empty(some)]


def lines_of_mains(network: Network) -> Shapes:
    """Return the mains of a network as lines."""
    count, pipes = network.pipes.n_mains, network.pipes
    start = pipes.coord_start[: count + 1]
    coords = pipes.coords_m[: start[-1]] if len(start) else pipes.coords_m[:0]
    kind = shapely.GeometryType.LINESTRING
    return np.asarray(shapely.from_ragged_array(kind, coords, (start,)), dtype=object)


@dataclass(frozen=True, eq=False)
class LocalGround:
    """The ground of a square, for paths that lie within it.

    Parameters
    ----------
    obstacles : array of shapely geometries, shape (k,)
    kind : tuple of str
    streets, mains : arrays of shapely geometries
    half_width : float
        Half the width of a street that is drawn as a line [m in the CRS].
    """

    obstacles: Shapes
    kind: tuple[str, ...]
    streets: Shapes
    mains: Shapes
    half_width: float

    @cached_property
    def open_ground(self) -> VisibilityGraph:
        """All that is free."""
        return VisibilityGraph(self._corners, self._barriers)

    @cached_property
    def along_streets(self) -> VisibilityGraph:
        """What is free of the streets."""
        lines = self.streets[shapely.get_dimensions(self.streets) == 1]
        areas = shapely.make_valid(self.streets[shapely.get_dimensions(self.streets) == 2])
        wide = shapely.buffer(lines, self.half_width, **_MITRE)
        beside = shapely.buffer(self.mains, MAIN_HALF_WIDTH_M, **_MITRE)
        street = shapely.union_all(np.concatenate([wide, areas, beside]))
        corners = np.concatenate([self._corners, shapely.get_coordinates(street)])
        return VisibilityGraph(corners, self._barriers, shapely.buffer(street, SEAM_M, **_MITRE))

    @cached_property
    def street_lines(self) -> Shapes:
        """Centre lines of the streets, joined where one goes on as the next."""
        lines = self.streets[shapely.get_dimensions(self.streets) == 1]
        return np.asarray(shapely.get_parts(shapely.line_merge(shapely.union_all(lines))), dtype=object)

    @cached_property
    def _corners(self) -> Floats:
        around = shapely.simplify(shapely.buffer(self.obstacles, CLEAR_M, **_MITRE), SIMPLER_M)
        return np.asarray(shapely.get_coordinates(around))

    @cached_property
    def _barriers(self) -> Barriers:
        near = shapely.buffer(self.obstacles, LEAST_CLEAR_M, **_MITRE)
        return Barriers(near, np.arange(len(near)))

    @cached_property
    def _bare(self) -> Shapes:
        """What of each obstacle counts for a tee that lies too near to keep clear of it."""
        inner = shapely.buffer(self.obstacles, -SEAM_M, **_MITRE)
        return np.where(shapely.get_dimensions(self.obstacles) == 1, self.obstacles, inner)

    def holding(self, place: Floats) -> Ints:
        """Return the obstacles that a place lies within."""
        is_within = shapely.intersects(self._bare, shapely.Point(place))
        return np.flatnonzero(is_within & (shapely.get_dimensions(self.obstacles) == 2))

    def bare_round(self, place: Floats) -> dict[int, Any]:
        """Return the obstacles nearer to a place than a hose may come, bare; None for one that holds it."""
        rows = np.flatnonzero(shapely.intersects(self._barriers.shapes, shapely.Point(place)))
        holding = set(self.holding(place).tolist())
        return {row: None if row in holding else self._bare[row] for row in rows.tolist()}


class FreeGround:
    """The ground of a network, looked at square by square.

    Parameters
    ----------
    obstacles : Obstacles
    streets : array of shapely geometries
        Lines and areas in the working CRS [m].
    mains : array of shapely LineStrings
        What is street too.
    """

    def __init__(self, obstacles: Obstacles, streets: Shapes, mains: Shapes) -> None:
        self._obstacles, self._streets, self._mains = obstacles, streets, mains
        self._known: dict[tuple[int, int, float, float], LocalGround] = {}

    @classmethod
    def of(cls, network: Network) -> FreeGround:
        """Return the ground of a network, of what it records."""
        streets = _drawn(network.base["streets"].geometry.array) if "streets" in network.base else _NOTHING
        # Without streets it is not asked where the mains lie.
        mains = lines_of_mains(network) if len(streets) else _NOTHING
        return cls(Obstacles.of(network), streets, mains)

    @property
    def is_blank(self) -> bool:
        """Whether nothing is recorded that a hose has to go round or along."""
        return not len(self._obstacles.shapes) and not len(self._streets)

    @cached_property
    def _trees(self) -> tuple[shapely.STRtree, shapely.STRtree, shapely.STRtree]:
        some = (self._obstacles.shapes, self._streets, self._mains)
        return shapely.STRtree(some[0]), shapely.STRtree(some[1]), shapely.STRtree(some[2])

    def round(self, middle: Floats, span: float, half_width: float) -> LocalGround:
        """Return the ground that holds every path no longer than `span` round a place [m in the CRS]."""
        size = max(span / 2.0, 1.0)
        cell = floor(middle[0] / size), floor(middle[1] / size)
        key = (*cell, span, half_width)
        if key not in self._known:
            low = np.array(cell) * size - span / 2.0 - SEAM_M
            square = shapely.box(*low, *(low + size + span + 2.0 * SEAM_M))
            near = [tree.query(square) for tree in self._trees]
            obstacles, order = _in_order(self._obstacles.shapes[near[0]])
            kinds = tuple(self._obstacles.kind[row] for row in near[0][order].tolist())
            streets, mains = (
                _in_order(some[near[k]])[0] for k, some in ((1, self._streets), (2, self._mains))
            )
            if len(self._known) >= MOST_KEPT:
                self._known.pop(next(iter(self._known)))
            self._known[key] = LocalGround(obstacles, kinds, streets, mains, half_width)
        return self._known[key]


def _in_order(shapes: Shapes) -> tuple[Shapes, Ints]:
    """Return shapes made valid, in an order that does not depend on that of the rows; and their rows."""
    some = shapely.normalize(shapely.make_valid(shapes))
    order = np.array(sorted(range(len(some)), key=lambda row: some[row].wkb), dtype=np.int64)
    return some[order], order


_NOTHING: Final[Shapes] = np.zeros(0, dtype=object)

"""Where pipes meet: ends that are one node, and ends on the interior of another pipe.

Joined pipes are split at their nodes into pieces, by sorting alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.graph.connected_components import component_labels
from netplan.network.flat_geometry import interpolated_at, measures
from netplan.network.model import Nodes, Pieces
from netplan.network.spatial_index import close_pairs, points_on_lines
from netplan.network.vocabulary import ValveState

__all__ = [
    "POINT_REACH_M",
    "SNAP_M",
    "NodePlaces",
    "PipePolylines",
    "first_of",
    "join_pipes",
    "merge_nodes",
    "split_pipes",
]

SNAP_M: Final = 0.05
"""Ends within this distance are one node [m]."""

POINT_REACH_M: Final = 0.5
"""Valves, fittings, stations and the like sit on the nearest main within this distance [m]."""

_SAME_M: Final = 1e-3
_SAME_PLACE_M = 1e-3


@dataclass(slots=True, eq=False)
class PipePolylines:
    """The course of all live pipes, mains first.

    Parameters
    ----------
    coords_m, height_m, start
        Flat vertices [m], heights [m] and offsets as in `model.Pipes`.
    main_shapes : object array
        The mains as shapely lines, for spatial searches.
    length_m : float array
        Planar length in the working CRS [m].
    system : int16 array
        Pressure system of each pipe.
    n_mains : int
        Rows below are mains.
    """

    coords_m: Floats
    height_m: Floats
    start: Ints
    main_shapes: NDArray[np.object_]
    length_m: Floats
    system: NDArray[np.int16]
    n_mains: int

    def __len__(self) -> int:
        return len(self.length_m)


@dataclass(slots=True, eq=False)
class NodePlaces:
    """Nodes, and the places on pipes where they sit.

    Parameters
    ----------
    x_m, y_m, system : arrays
        Nodes: place [m] and pressure system.
    end_node : int64 array, shape (n, 2)
        Nodes at the first and the last vertex of each pipe.
    pipe, measure_m, before, after : arrays
        Places on the interior of pipes: row, planar measure [m], and the node that ends the part before
        and starts the part after; they differ where a valve parts them.
    valve : int64 array
        Row of the valve at the place, else -1.
    merged : list of int64 arrays, shape (k, 2)
        Pairs of nodes found to be one.
    """

    x_m: Floats
    y_m: Floats
    system: NDArray[np.int16]
    end_node: Ints
    pipe: Ints
    measure_m: Floats
    before: Ints
    after: Ints
    valve: Ints
    merged: list[Ints] = field(default_factory=list)

    @property
    def n_nodes(self) -> int:
        """How many nodes there are."""
        return len(self.x_m)

    def add_nodes(self, xy_m: Floats, system: NDArray[np.int16]) -> Ints:
        """Append nodes and return their rows."""
        first = self.n_nodes
        self.x_m = np.concatenate([self.x_m, xy_m[:, 0]])
        self.y_m = np.concatenate([self.y_m, xy_m[:, 1]])
        self.system = np.concatenate([self.system, system])
        return np.arange(first, first + len(xy_m))

    def add_places(self, pipe: Ints, measure_m: Floats, before: Ints, after: Ints, valve: Ints) -> None:
        """Append places on pipes and keep all of them sorted by pipe and measure."""
        self.pipe = np.concatenate([self.pipe, pipe])
        self.measure_m = np.concatenate([self.measure_m, measure_m])
        self.before = np.concatenate([self.before, before])
        self.after = np.concatenate([self.after, after])
        self.valve = np.concatenate([self.valve, valve])
        # At one measure a tee comes before a valve, valves by their row.
        order = _sorted_places(self.pipe, self.measure_m, self.valve, self.before)
        for name in ("pipe", "measure_m", "before", "after", "valve"):
            setattr(self, name, getattr(self, name)[order])


def _sorted_places(pipe: Ints, measure_m: Floats, valve: Ints, before: Ints) -> Ints:
    """Return the order by pipe, measure, valve and node: roughly by one key, then exactly where that ties."""
    if not len(pipe):
        return np.zeros(0, dtype=np.int64)
    key = pipe * (float(measure_m.max()) + 1.0) + measure_m
    order = np.argsort(key, kind="stable")
    # A key of one number is coarser than its two parts: what it does not part by more is sorted by the parts.
    doubt = np.zeros(len(key) + 1, dtype=bool)
    doubt[1:-1] = np.diff(key[order]) <= float(key[order[-1]]) * 1e-12
    shared = np.flatnonzero(doubt[:-1] | doubt[1:])
    some = order[shared]
    order[shared] = some[np.lexsort([before[some], valve[some], measure_m[some], pipe[some]])]
    return order


def join_pipes(
    course: PipePolylines, corner_m: Mapping[int, tuple[float, float]] | None = None
) -> NodePlaces:
    """Join pipes of each system at their ends and where an end lies on another pipe.

    Parameters
    ----------
    course : PipePolylines
    corner_m : mapping, optional
        Place from which the millimetres of a system count, by its code [m]; by default the least x and y
        of its ends.
    """
    first, last = course.start[:-1], course.start[1:] - 1
    ends = course.coords_m[np.column_stack([first, last]).ravel()]
    end_system = np.repeat(course.system, 2)
    node, xy, system = _snap(ends, end_system, corner_m or {})
    nothing = np.zeros(0, dtype=np.int64)
    joins = NodePlaces(
        xy[:, 0],
        xy[:, 1],
        system,
        node.reshape(-1, 2),
        nothing,
        np.zeros(0),
        nothing,
        nothing,
        nothing,
    )
    pipe, at, measure = _tees(course, joins)
    joins.add_places(pipe, measure, at, at, np.full(len(pipe), -1))
    return joins


def merge_nodes(joins: NodePlaces) -> Ints:
    """Return the lasting row of every node after the merged pairs are made one."""
    if not joins.merged:
        return np.arange(joins.n_nodes)
    return _lasting(np.concatenate(joins.merged), joins.n_nodes)


def _lasting(pairs: Ints, n: int) -> Ints:
    """Return the row of each of `n` nodes once pairs are made one; their order survives the merging."""
    named = _first_of_merged(pairs, n)
    rank = np.cumsum(named == np.arange(n)) - 1
    return np.asarray(rank[named], dtype=np.int64)


def _first_of_merged(pairs: Ints, n: int) -> Ints:
    """Return for each node the first of those that it is one with."""
    named = np.arange(n)
    involved, ends = np.unique(pairs, return_inverse=True)
    one, other = ends.reshape(-1, 2).T
    label, _ = component_labels(len(involved), one, other)
    named[involved] = involved[first_of(label)[label]]
    return named


def first_of(label: NDArray[Any]) -> Ints:
    """Return the first place of each label 0, 1, 2 … of an array that holds all of them."""
    first = np.empty(int(label.max(initial=-1)) + 1, dtype=np.int64)
    first[label[::-1]] = np.arange(len(label))[::-1]
    return first


def _snap(
    points: Floats, system: NDArray[np.int16], corner_m: Mapping[int, tuple[float, float]]
) -> tuple[Ints, Floats, NDArray[np.int16]]:
    node = np.empty(len(points), dtype=np.int64)
    places: list[Floats] = []
    systems: list[NDArray[np.int16]] = []
    done = 0
    for code in np.flatnonzero(np.bincount(system)):
        chosen = np.flatnonzero(system == code)
        own, xy = _snap_one(points[chosen], corner_m.get(int(code)))
        node[chosen] = own + done
        places.append(xy)
        systems.append(np.full(len(xy), code, dtype=np.int16))
        done += len(xy)
    if not places:
        return node, np.zeros((0, 2)), np.zeros(0, dtype=np.int16)
    return node, np.concatenate(places), np.concatenate(systems)


def _snap_one(points: Floats, corner_m: tuple[float, float] | None) -> tuple[Ints, Floats]:
    """Return the node of each point and the places of the nodes, for one system."""
    least = (points[:, 0].min(), points[:, 1].min())
    origin = np.array(least if corner_m is None else np.minimum(corner_m, least))
    cell = np.round((points - origin) / _SAME_M).astype(np.int64)
    key = cell[:, 0] * (int(cell[:, 1].max()) + 1) + cell[:, 1]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    unique = origin + cell[first] * _SAME_M
    pairs = close_pairs(unique, SNAP_M)
    if not len(pairs):
        return inverse, unique
    named = _first_of_merged(pairs, len(unique))
    first_one = named == np.arange(len(unique))
    rank = np.cumsum(first_one) - 1
    xy = unique[first_one]
    moved = np.flatnonzero(np.isin(named, np.unique(named[~first_one])))
    at, place = np.unique(rank[named[moved]], return_inverse=True)
    count = np.bincount(place)
    xy[at] = np.column_stack([np.bincount(place, weights=unique[moved, axis]) / count for axis in (0, 1)])
    return rank[named][inverse], xy


def _tees(course: PipePolylines, joins: NodePlaces) -> tuple[Ints, Ints, Floats]:
    """Return pipe, node and measure where a node lies on the interior of a pipe that doesn't end there."""
    places = np.column_stack([joins.x_m, joins.y_m])
    node, pipe, measure, _ = points_on_lines(places, course.coords_m, course.start, SNAP_M)
    keep = (
        (joins.end_node[pipe, 0] != node)
        & (joins.end_node[pipe, 1] != node)
        & (joins.system[node] == course.system[pipe])
    )
    return pipe[keep], node[keep], measure[keep]


def split_pipes(
    course: PipePolylines, joins: NodePlaces, valve_state: NDArray[np.uint8], scale: float
) -> tuple[Nodes, Pieces, Ints]:
    """Return nodes, pieces and the lasting row of every node of `joins`.

    Parameters
    ----------
    valve_state : uint8 array
        Codes of `vocabulary.ValveState` by valve row.
    scale : float
        Planar length over true length [-].
    """
    n, k = len(course), len(joins.pipe)
    cuts = np.bincount(joins.pipe, minlength=n)
    first = np.arange(n) + np.concatenate([[0], np.cumsum(cuts)[:-1]]) if n else np.zeros(0, dtype=np.int64)
    pipe = np.repeat(np.arange(n), cuts + 1)
    own = np.arange(k) + joins.pipe  # the part that ends at a place; the next one starts there
    begin, end = np.zeros(n + k), np.empty(n + k)
    begin_node, end_node = np.empty(n + k, dtype=np.int64), np.empty(n + k, dtype=np.int64)
    begin[own + 1], begin_node[own + 1] = joins.measure_m, joins.after
    end[own], end_node[own] = joins.measure_m, joins.before
    begin_node[first] = joins.end_node[:, 0]
    last = first + cuts
    end[last], end_node[last] = course.length_m, joins.end_node[:, 1]
    short = end - begin < _SAME_PLACE_M
    joins.merged.append(np.column_stack([begin_node[short], end_node[short]]))
    lasting = merge_nodes(joins)
    keep = np.flatnonzero(~short)
    with_valve = np.flatnonzero(joins.valve >= 0)
    valve = joins.valve[with_valve]
    order = np.argsort(np.concatenate([2 * keep, 2 * own[with_valve] + 1]), kind="stable")
    at = joins.measure_m[with_valve]
    everything = (
        (pipe[keep], joins.pipe[with_valve]),
        (begin[keep] / scale, at / scale),
        (end[keep] / scale, at / scale),
        (lasting[begin_node[keep]], lasting[joins.before[with_valve]]),
        (lasting[end_node[keep]], lasting[joins.after[with_valve]]),
        (np.full(len(keep), -1), valve),
        (np.ones(len(keep), dtype=bool), valve_state[valve] != ValveState.CLOSED),
    )
    column = [np.concatenate(pair)[order] for pair in everything]
    pieces = Pieces(
        column[0].astype(np.int32),
        column[1],
        column[2],
        column[3].astype(np.int32),
        column[4].astype(np.int32),
        column[5].astype(np.int32),
        column[6].astype(np.bool_),
    )
    return _nodes(course, joins, lasting), pieces, lasting


def _nodes(course: PipePolylines, joins: NodePlaces, lasting: Ints) -> Nodes:
    first = first_of(lasting)
    return Nodes(
        joins.x_m[first], joins.y_m[first], _heights(course, joins, lasting, len(first)), joins.system[first]
    )


def _heights(course: PipePolylines, joins: NodePlaces, lasting: Ints, n: int) -> NDArray[np.float64]:
    """Mean height of the pipe ends at each node; on the interior of a pipe, the height of that pipe."""
    height = np.full(n, np.nan)
    if not np.isfinite(course.height_m).any():
        return height
    running = measures(course.coords_m, course.start)
    inner = interpolated_at(course.height_m, course.start, running, joins.pipe, joins.measure_m)
    at_end = course.height_m[np.column_stack([course.start[:-1], course.start[1:] - 1])]
    for node, value in (
        (joins.before, inner),
        (joins.after, inner),
        (joins.end_node.ravel(), at_end.ravel()),
    ):
        known = np.isfinite(value)
        rows = lasting[node[known]]
        count = np.bincount(rows, minlength=n)
        total = np.bincount(rows, weights=value[known], minlength=n)
        height = np.where(count > 0, total / np.maximum(count, 1), height)
    return height

"""Joints that may be missing: ends that nearly meet, and mains that cross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.checks.pipe_views import (
    ids_of_mains,
    ids_of_services,
    mains_as_lines,
    meeting_mains,
    pipe_ends,
)
from netplan.network.finding_log import FindingLog, listed
from netplan.network.model import Network
from netplan.network.near_miss_distance import NEAR_MISS_M
from netplan.network.pipe_joining import SNAP_M
from netplan.network.topology import components

__all__ = [
    "Crossings",
    "NearMisses",
    "check_crossings",
    "check_near_misses",
    "crossings",
    "near_misses",
]

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class NearMisses:
    """Ends of pipes that nearly reach a main, sorted by pipe and side; one row an end.

    Parameters
    ----------
    pipe : int64 array
        Row in `Network.pipes` of the pipe that ends there.
    side : int64 array
        0 where it is the first vertex, 1 where it is the last.
    node : int64 array
        Node of that end.
    main : int64 array
        The nearest main of its system.
    gap_m : float array
        Planar distance to that main [m], above the snap distance.
    end_m, foot_m : float arrays, shape (n, 2)
        The end, and the place on the main nearest to it [m].
    rivals : int64 array
        How many other mains lie hardly farther, not joined to the nearest one at that place.
    """

    pipe: Ints
    side: Ints
    node: Ints
    main: Ints
    gap_m: Floats
    end_m: Floats
    foot_m: Floats
    rivals: Ints

    def __len__(self) -> int:
        return len(self.pipe)


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Places where two mains of one system cross without a joint: rows of the mains, place [m]."""

    one: Ints
    other: Ints
    at_m: Floats

    def __len__(self) -> int:
        return len(self.one)


def near_misses(network: Network, reach_m: float = NEAR_MISS_M, within: Box | None = None) -> NearMisses:
    """Return the loose ends between the snap distance and `reach_m` [m] from a main of their system.

    A loose end of a main is one where nothing else meets; a service counts when neither end is on anything,
    or when it hangs together with services alone: with the one end of them all that is nearest to a main.

    Parameters
    ----------
    network : Network
    reach_m : float
        Greatest distance [m].
    within : tuple of float, optional
        West, south, east and north of the area to look in [m]; everywhere when left out.
    """
    pipe, side, node = _loose_ends(network)
    nodes, pipes = network.nodes, network.pipes
    xy = np.column_stack([nodes.x_m[node], nodes.y_m[node]])
    if within is not None:
        inside = (xy >= within[:2]).all(axis=1) & (xy <= within[2:]).all(axis=1)
        pipe, side, node, xy = pipe[inside], side[inside], node[inside], xy[inside]
    lines, rows = _mains_within(network, within, reach_m)
    points = np.asarray(shapely.points(xy), dtype=object)
    at, near = shapely.STRtree(lines[rows]).query(points, predicate="dwithin", distance=reach_m)
    near = rows[near]
    own = (near != pipe[at]) & (pipes.system[near] == pipes.system[pipe[at]])
    at, near = at[own], near[own]
    gap = np.asarray(shapely.distance(points[at], lines[near]))
    order = np.lexsort([near, np.round(gap, 6), at])
    at, near, gap = at[order], near[order], gap[order]
    first = np.ones(len(at), dtype=bool)
    first[1:] = at[1:] != at[:-1]
    head = np.flatnonzero(first)
    foot = shapely.get_coordinates(
        shapely.line_interpolate_point(lines[near], shapely.line_locate_point(lines[near], points[at]))
    )
    # A main whose nearest place is elsewhere and hardly farther is a rival: which of the two is meant?
    apart = np.hypot(*(foot - foot[head][np.cumsum(first) - 1]).T) > SNAP_M
    hardly = gap <= 2 * gap[head][np.cumsum(first) - 1]
    rivals = np.bincount(np.cumsum(first) - 1, weights=apart & hardly & ~first, minlength=len(head))
    keep = gap[head] > SNAP_M
    chosen = head[keep]
    result = NearMisses(
        pipe[at[chosen]],
        side[at[chosen]],
        node[at[chosen]],
        near[chosen],
        gap[chosen],
        xy[at[chosen]],
        foot[chosen].reshape(-1, 2),
        rivals[keep].astype(np.int64),
    )
    return _nearest_end_of_services(network, result)


def _mains_within(network: Network, within: Box | None, reach_m: float) -> tuple[NDArray[np.object_], Ints]:
    """Return the mains as lines, None where they are out of the way, and the rows that are not."""
    pipes, n = network.pipes, network.pipes.n_mains
    if within is None:
        return mains_as_lines(network), np.arange(n)
    start = pipes.coord_start[:n]
    low = np.minimum.reduceat(pipes.coords_m[: pipes.coord_start[n]], start, axis=0)
    high = np.maximum.reduceat(pipes.coords_m[: pipes.coord_start[n]], start, axis=0)
    west, south, east, north = within
    near = (low <= (east + reach_m, north + reach_m)) & (high >= (west - reach_m, south - reach_m))
    rows = np.flatnonzero(near.all(axis=1))
    lines = np.full(n, None, dtype=object)
    for row in rows.tolist():
        lines[row] = shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
    return lines, rows


def _loose_ends(network: Network) -> tuple[Ints, Ints, Ints]:
    ends, n = pipe_ends(network), network.pipes.n_mains
    pieces = network.pieces
    loose = np.zeros(ends.shape, dtype=bool)
    loose[:n] = (meeting_mains(network) == 1)[ends[:n]]
    loose[:n][ends[:n, 0] == ends[:n, 1]] = False
    degree = np.bincount(np.concatenate([pieces.from_node, pieces.to_node]), minlength=len(network.nodes))
    single = degree[ends[n:]] == 1
    loose[n:] = (
        single & (single.all(axis=1) | ~_with_main(network)[components(network)[ends[n:, 0]]])[:, None]
    )
    pipe, side = np.nonzero(loose)
    return pipe, side, ends[pipe, side].astype(np.int64)


def _with_main(network: Network) -> NDArray[np.bool_]:
    """Return for each connected part whether a main belongs to it."""
    part = components(network)
    found = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
    found[part[network.pieces.from_node[network.pieces.pipe < network.pipes.n_mains]]] = True
    return found


def _nearest_end_of_services(network: Network, found: NearMisses) -> NearMisses:
    """Return all ends of mains, and of services that hang together the one nearest to a main."""
    n = network.pipes.n_mains
    part = components(network)[found.node]
    alone = ~_with_main(network)[part]
    # Services on a main already are told each by itself.
    group = np.where(alone, part.astype(np.int64), -1 - found.pipe)
    service = found.pipe >= n
    order = np.lexsort([found.side, found.pipe, np.round(found.gap_m, 6), group])
    again = np.zeros(len(order), dtype=bool)
    again[1:] = (group[order][1:] == group[order][:-1]) & service[order][1:]
    rows = np.sort(order[~again])
    return NearMisses(
        found.pipe[rows],
        found.side[rows],
        found.node[rows],
        found.main[rows],
        found.gap_m[rows],
        found.end_m[rows],
        found.foot_m[rows],
        found.rivals[rows],
    )


def check_near_misses(network: Network, notes: FindingLog) -> None:
    """Notice pipes that end on nothing between the snap distance and 2 m from a main."""
    found = near_misses(network)
    n = network.pipes.n_mains
    for layer, ids, of_layer, base in (
        ("mains", ids_of_mains(network), found.pipe < n, 0),
        ("services", ids_of_services(network), found.pipe >= n, n),
    ):
        rows = np.flatnonzero(of_layer)
        notes.add_each(
            "near-miss",
            layer,
            ids.take(found.pipe[rows] - base),
            np.arange(len(rows)),
            Severity.WARNING,
            _Gap(network, found, rows),
            "extend it to the joint, or leave it if there is none",
            found.end_m[rows],
        )


class _Gap:
    """Words for one near miss; a class, so that each layer keeps its own rows."""

    def __init__(self, network: Network, found: NearMisses, rows: Ints) -> None:
        self._network, self._found, self._rows = network, found, rows
        self._part, self._with_main = components(network), _with_main(network)
        part = self._part[network.customers.attach_node]
        self._order = np.argsort(part, kind="stable")
        self._sorted = part[self._order]

    def __call__(self, at: int) -> str:
        row = self._rows[at]
        pipes, main = self._network.pipes, int(self._found.main[row])
        words = f"ends {self._found.gap_m[row]:.2f} m from main {pipes.id[main]} without reaching it"
        return words if self._found.pipe[row] < pipes.n_mains else words + self._behind(row)

    def _behind(self, row: int) -> str:
        """Return words for the customers that only this end would feed."""
        customers, own = self._network.customers, self._part[self._found.node[row]]
        if self._with_main[own]:
            return ""
        low, high = (int(place) for place in np.searchsorted(self._sorted, [own, own + 1]))
        at = self._order[low:high]
        who = np.unique(np.searchsorted(customers.attach_start, at, side="right") - 1)
        names = [customers.id[customer] for customer in who.tolist()]
        return f"; behind it: {listed(names) if names else 'no recorded customer'}"


def crossings(network: Network, within: Box | None = None) -> Crossings:
    """Return the places where mains of one system cross and no joint lies, everywhere or in an area."""
    pipes, pieces = network.pipes, network.pieces
    lines, chosen = _mains_within(network, within, 0.0)
    one, other = shapely.STRtree(lines[chosen]).query(lines[chosen], predicate="crosses")
    one, other = chosen[one], chosen[other]
    keep = (one < other) & (pipes.system[one] == pipes.system[other])
    one, other = one[keep], other[keep]
    if not len(one):
        return Crossings(one, other, np.zeros((0, 2)))
    meet = shapely.intersection(lines[one], lines[other])
    places, which = shapely.get_coordinates(meet, return_index=True)
    ends = np.concatenate([pieces.from_node, pieces.to_node])
    node = np.unique(ends[np.concatenate([pieces.pipe, pieces.pipe]) < pipes.n_mains])
    if within is not None:
        at = np.column_stack([network.nodes.x_m[node], network.nodes.y_m[node]])
        low, high = places.min(axis=0) - 1.0, places.max(axis=0) + 1.0
        node = node[((at >= low) & (at <= high)).all(axis=1)]
    joints = np.asarray(shapely.points(network.nodes.x_m[node], network.nodes.y_m[node]), dtype=object)
    points = np.asarray(shapely.points(places), dtype=object)
    at, _ = shapely.STRtree(joints).query(points, predicate="dwithin", distance=SNAP_M)
    open_crossing = np.ones(len(points), dtype=bool)
    open_crossing[at] = False
    rows = np.flatnonzero(open_crossing)
    return Crossings(one[which[rows]], other[which[rows]], places[rows])


def check_crossings(network: Network, notes: FindingLog) -> None:
    """Notice mains of one system that cross without a joint."""
    found = crossings(network)
    ids = ids_of_mains(network)
    notes.add_each(
        "crossing",
        "mains",
        ids.take(found.one),
        np.arange(len(found)),
        Severity.NOTE,
        lambda row: f"crosses main {ids[found.other[row]]} without a joint",
        "split both mains there if they are joined",
        found.at_m,
    )

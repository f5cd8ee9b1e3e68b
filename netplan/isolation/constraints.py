"""What a cut leaves of the network round it: sensing points parted from their stations, stations shut in."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.segment_graph import BOUNDARY, SegmentGraph

__all__ = ["Sensing", "open_segments", "parted", "sensing_pairs", "shut_in"]


@dataclass(frozen=True, slots=True)
class Sensing:
    """A station that senses elsewhere: supernodes of both, and one open way between them."""

    station: int
    outlet: int
    point: int
    nodes: frozenset[int]
    segments: frozenset[int]


def open_segments(index: SegmentGraph) -> NDArray[np.bool_]:
    """Return which segments are open from end to end."""
    shut = index.segment_of[~index.network.pieces.is_open]
    result = np.ones(len(index.segment_a), dtype=np.bool_)
    result[shut[shut >= 0]] = False
    return result


def sensing_pairs(index: SegmentGraph, is_open: NDArray[np.bool_]) -> tuple[Sensing, ...]:
    """Return every station that senses away from its outlet and is joined to that place by open mains."""
    network = index.network
    wanted = {
        (station, int(node))
        for station, node in enumerate(network.stations.sensing_node.tolist())
        if node >= 0
    }
    wanted |= {
        (int(station), int(node))
        for station, node in zip(network.sensing.station.tolist(), network.sensing.node.tolist(), strict=True)
        if station >= 0 and node >= 0
    }
    pairs = []
    for station, node in sorted(wanted):
        at = int(network.stations.node[station])
        if at < 0:
            continue
        outlet, point = int(index.super_of[at]), int(index.super_of[node])
        way = _way(index, is_open, outlet, point) if outlet != point else None
        if way is not None:
            pairs.append(Sensing(station, outlet, point, frozenset(way[0]), frozenset(way[1])))
    return tuple(pairs)


def _neighbours(index: SegmentGraph, is_open: NDArray[np.bool_], node: int) -> Iterable[tuple[int, int]]:
    for segment in index.segments_at(node).tolist():
        if is_open.item(segment):
            a, b = index.segment_a.item(segment), index.segment_b.item(segment)
            yield segment, b if a == node else a


def _way(
    index: SegmentGraph, is_open: NDArray[np.bool_], start: int, goal: int
) -> tuple[list[int], list[int]] | None:
    came: dict[int, tuple[int, int]] = {start: (-1, -1)}
    queue = deque([start])
    while queue and goal not in came:
        node = queue.popleft()
        for segment, other in _neighbours(index, is_open, node):
            if other not in came:
                came[other] = (node, segment)
                queue.append(other)
    if goal not in came:
        return None
    nodes, segments = [goal], []
    while nodes[-1] != start:
        before, segment = came[nodes[-1]]
        nodes.append(before)
        segments.append(segment)
    return nodes, segments


def parted(
    index: SegmentGraph,
    is_open: NDArray[np.bool_],
    pairs: tuple[Sensing, ...],
    zone: set[int],
    cut_segments: set[int],
) -> int | None:
    """Return the first station whose sensing point a cut parts from it, or None.

    Parameters
    ----------
    zone : set of int
        Supernodes in the zones.
    cut_segments : set of int
        Segments that carry a stop or part of the work.
    """
    for pair in pairs:
        if pair.nodes.isdisjoint(zone) and pair.segments.isdisjoint(cut_segments):
            continue
        if pair.outlet in zone or pair.point in zone or not _meet(index, is_open, pair, zone, cut_segments):
            return pair.station
    return None


def _meet(
    index: SegmentGraph, is_open: NDArray[np.bool_], pair: Sensing, zone: set[int], cut_segments: set[int]
) -> bool:
    """Search from both ends in turn, so that a small part on either side ends the search early."""
    seen = ({pair.outlet}, {pair.point})
    queues = (deque([pair.outlet]), deque([pair.point]))
    side = 0
    while queues[0] and queues[1]:
        node = queues[side].popleft()
        for segment, other in _neighbours(index, is_open, node):
            if segment in cut_segments or other in zone or other in seen[side]:
                continue
            if other in seen[1 - side]:
                return True
            seen[side].add(other)
            queues[side].append(other)
        side = 1 - side
    return False


def shut_in(
    index: SegmentGraph,
    is_open: NDArray[np.bool_],
    live_ends: list[tuple[int, bool]],
    zone: set[int],
    cut_segments: set[int],
) -> tuple[tuple[int, ...], bool]:
    """Return the stations left with no customer to feed, and whether valves alone shut them in.

    Parameters
    ----------
    live_ends : list of (supernode, is a valve)
        Live end of each stop.
    """
    stations: set[int] = set()
    by_valves = True
    done: set[int] = set()
    for end, _ in live_ends:
        if end in done or end in zone:
            continue
        part = _without_customers(index, is_open, end, zone, cut_segments)
        done |= part or {end}
        if part is None:
            continue
        here = _stations_at(index, part)
        if here:
            stations.update(here)
            by_valves &= all(is_valve for other, is_valve in live_ends if other in part)
    return tuple(sorted(stations)), by_valves


def _without_customers(
    index: SegmentGraph, is_open: NDArray[np.bool_], start: int, zone: set[int], cut_segments: set[int]
) -> set[int] | None:
    seen, frontier = {start}, [start]
    while frontier:
        node = frontier.pop()
        if index.customer_start[node + 1] > index.customer_start[node] or index.blocked[node] & BOUNDARY:
            return None
        for segment, other in _neighbours(index, is_open, node):
            if segment not in cut_segments and other not in zone and other not in seen:
                seen.add(other)
                frontier.append(other)
    return seen


def _stations_at(index: SegmentGraph, supernodes: set[int]) -> list[int]:
    if not any(index.blocked[node] & 1 for node in supernodes):
        return []
    at = index.network.stations.node
    return [
        row for row, node in enumerate(at.tolist()) if node >= 0 and int(index.super_of[node]) in supernodes
    ]

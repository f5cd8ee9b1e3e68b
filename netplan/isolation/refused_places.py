"""Why a stop is where it is and no nearer."""

from __future__ import annotations

from collections import deque

from netplan.isolation.cut_enumeration import Found
from netplan.isolation.joints import free_intervals
from netplan.isolation.local_edge import LocalEdge
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.model import Cut, Refusal
from netplan.isolation.segment_geometry import SegmentGeometry

__all__ = ["DEARER", "not_nearer", "refusals_on"]

DEARER = "dearer"
"""Code of a length where a stop can be made, in cuts that cost more."""


def refusals_on(near: LocalGraph, shape: SegmentGeometry, until_m: float) -> list[Refusal]:
    """Return every length of a shape up to a place where a method cannot be used, zone at its start."""
    found = []
    for number, method in enumerate(near.placement.rules.method):
        for block in near.placement.blocks(shape, number):
            for leg in shape.legs:
                low = max(block.low_m, leg.start_m)
                high = min(block.high_m, leg.end_m, until_m)
                if high > low or (leg.start_m == leg.end_m and low <= high):
                    found.append(_refusal(shape, leg.piece, low, high, method.name, block.code, block.words))
    return found


def _refusal(
    shape: SegmentGeometry, piece: int, low: float, high: float, method: str, code: str, words: str
) -> Refusal:
    leg = next(leg for leg in shape.legs if leg.piece == piece)
    a, b = sorted((leg.chainage(low), leg.chainage(high)))
    return Refusal(leg.pipe, a, b, method, "from" if leg.sign > 0 else "to", code, words)


def _possible(near: LocalGraph, shape: SegmentGeometry, until_m: float) -> list[Refusal]:
    found = []
    for number, method in enumerate(near.placement.rules.method):
        for low, high in free_intervals(shape.length_m, near.placement.blocks(shape, number)):
            for leg in shape.legs:
                start, end = max(low, leg.start_m), min(high, leg.end_m, until_m)
                if end >= start and start < until_m:
                    words = "a stop can be made here, but the cuts that use it cost more or are other options"
                    found.append(_refusal(shape, leg.piece, start, end, method.name, DEARER, words))
    return found


def not_nearer(near: LocalGraph, cut: Cut) -> tuple[tuple[Refusal, ...], ...]:
    """Return, for each stop of a cut, every nearer place on its side and why the stop is not there."""
    found: Found = cut.found
    ways = _ways(found)
    by_stop = {}
    for edge, at_u, choice in found.stops:
        shape = near.shape(edge, at_u)
        leg = shape.leg_at(choice.at_m)
        rows: list[Refusal] = []
        for before, forward in ways.get(edge.u if at_u else edge.v, ()):
            passed = near.shape(before, forward)
            rows += refusals_on(near, passed, passed.length_m) + _possible(near, passed, passed.length_m)
        rows += refusals_on(near, shape, choice.at_m)
        method = near.placement.rules.method[choice.method].name
        rows += [row for row in _possible(near, shape, choice.at_m) if row.method != method]
        key = (leg.pipe, leg.chainage(choice.at_m), "from" if leg.sign > 0 else "to")
        by_stop[key] = tuple(sorted(set(rows)))
    return tuple(by_stop[stop.pipe, stop.chainage_m, stop.work_side] for stop in cut.stops)


def _ways(found: Found) -> dict[int, list[tuple[LocalEdge, bool]]]:
    """Return the way from the work to every node of a zone, edge by edge."""
    at: dict[int, list[LocalEdge]] = {}
    for edge in found.inner:
        if edge.u != edge.v:
            at.setdefault(edge.u, []).append(edge)
            at.setdefault(edge.v, []).append(edge)
    ways: dict[int, list[tuple[LocalEdge, bool]]] = {SOURCE: []}
    queue = deque([SOURCE])
    while queue:
        node = queue.popleft()
        for edge in at.get(node, ()):
            other = edge.v if edge.u == node else edge.u
            if other not in ways:
                ways[other] = [*ways[node], (edge, edge.u == node)]
                queue.append(other)
    return ways

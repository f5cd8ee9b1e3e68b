"""Why there is no stop: why none nearer to the work, and what stands in the way when nothing isolates it."""

from __future__ import annotations

from collections import Counter, deque

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.blocked_lengths import free_intervals
from netplan.isolation.cut_enumeration import FoundZone
from netplan.isolation.cut_model import Cut, IsolationProblem, Refusal
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_edges import LocalEdge
from netplan.isolation.segment_geometry import SegmentGeometry

__all__ = ["DEARER", "in_the_way", "not_nearer", "refusals_on"]


MOST_NAMED = 4
"""Mains or customers named in one line (own) [-]."""

REMEDIES = {
    "clearance": "a shorter clearance",
    "work-clearance": "a shorter clearance to the work",
    "assembly": "a shorter assembly",
    "fitting": "a shorter clearance to fittings",
    "main-end": "a shorter clearance to fittings, or proof that the joint is on record only "
    "(clearance.through_record_joints)",
    "squeeze-mark": "another method than squeezing",
    "keep-out": "permission to dig in the keep-out area",
    "forbidden": "lifting the order",
    "material": "a method for this material",
    "size": "a method for this size",
    "rating": "a method of a higher rating, or a lower fault pressure",
    "fault-pressure-unknown": "the station's greatest outlet pressure on record",
    "early-pe": "another method than squeezing",
    "unknown-resin": "the year or resin of the main on record",
    "inserted": "access to the host",
    "joint": "anchored joints",
    "transition": "an anchored transition",
    "valve-state": "the state of the valve proved on site",
    "valve-operable": "the valve proved operable",
    "no-outlet": "an outlet for this size",
    "valve-tappings": "a shorter clearance, or a longer valve.tapping_reach_m",
}


def in_the_way(
    local: LocalGraph, problem: IsolationProblem, refused: Counter[str], gave_up: bool
) -> list[str]:
    """Return one line for each thing that keeps the work from being isolated, at least one."""
    lines = _on_the_work(local) or _open_sides(local)
    if lines:
        return lines
    lines = [f"{words} ({times} ways to stop it)" for words, times in refused.most_common()]
    if gave_up:
        lines.append("the search ended before every way was tried")
    if problem.orders.max_stops:
        lines.append(f"more than {problem.orders.max_stops} stops are needed; allow more")
    if problem.orders.force or problem.orders.force_valves:
        lines.append("the ordered stops do not belong to one cut; drop one of them")
    return lines or ["no part of the network feeds it, or every way is blocked"]


def _on_the_work(local: LocalGraph) -> list[str]:
    return [
        f"{_what_stands_at(local, supernode)} is on the work section itself; shorten the section"
        for supernode in local.work.supernodes
        if local.barred(supernode)
    ]


def _what_stands_at(local: LocalGraph, supernode: int) -> str:
    index, network = local.index, local.index.network
    bits = int(index.blocked[supernode])
    names = []
    for bit, what, ids, nodes in (
        (1, "station", network.stations.id, network.stations.node),
        (2, "injection point", network.injections.id, network.injections.node),
    ):
        if bits & bit:
            names += [
                f"{what} {ids[row]}"
                for row, node in enumerate(nodes.tolist())
                if node >= 0 and index.super_of[node] == supernode
            ]
    if bits & 4 and not names:
        names.append("a sensing point")
    if not bits:
        kept = sorted(local.shared.kept & set(index.customers_at(supernode).tolist()))
        names += [f"customer {network.customers.id[row]}, who must stay on," for row in kept]
    return " and ".join(names)


def _open_sides(local: LocalGraph) -> list[str]:
    """Follow segments that cannot be stopped from the work to whatever may not be in a zone."""
    lines = []
    for first in local.edges_at(SOURCE):
        way = _way_out(local, first, first.u == SOURCE) if first.u != first.v else None
        if way is not None:
            lines.append(_side(local, way))
    return list(dict.fromkeys(lines))


def _way_out(local: LocalGraph, first: LocalEdge, forward: bool) -> list[tuple[LocalEdge, bool]] | None:
    if first.cost(forward) < INFINITE:
        return None
    start = first.v if forward else first.u
    came: dict[int, list[tuple[LocalEdge, bool]]] = {SOURCE: [], start: [(first, forward)]}
    queue = [start]
    while queue:
        node = queue.pop(0)
        if local.barred(local.supernode[node]):
            return came[node]
        local.explore(node)
        for edge in local.edges_at(node):
            at_u = edge.u == node
            other = edge.v if at_u else edge.u
            if other not in came and edge.cost(at_u) >= INFINITE:
                came[other] = [*came[node], (edge, at_u)]
                queue.append(other)
    return None


def _side(local: LocalGraph, way: list[tuple[LocalEdge, bool]]) -> str:
    network = local.index.network
    last, forward = way[-1]
    goal = _what_stands_at(local, local.supernode[last.v if forward else last.u])
    cutting_off = [(edge, at_u) for edge, at_u in way if local.choices(edge, at_u)]
    if cutting_off:
        return _cut_off(local, goal, cutting_off)
    refusals: list[Refusal] = []
    for edge, at_u in way:
        geometry = local.geometry(edge, at_u)
        refusals += refusals_on(local, geometry, geometry.length_m)
    mains = list(dict.fromkeys(network.pipes.id[row.pipe] for row in refusals))
    worst: dict[str, Refusal] = {}
    for row in refusals:
        if row.code in ("not-a-valve", "valve-piece"):
            continue
        best = worst.get(row.method)
        if best is None or row.to_m - row.from_m > best.to_m - best.from_m:
            worst[row.method] = row
    why = "; ".join(f"{row.method}: {row.words}" for row in worst.values()) or "no method serves it"
    gives = list(dict.fromkeys(REMEDIES[row.code] for row in worst.values() if row.code in REMEDIES))
    return (
        f"the side towards {goal} cannot be stopped on {_listed(mains)} ({why}); "
        f"what would allow a plan: {', '.join([*gives, 'or an added fitting or valve'])}"
    )


def _cut_off(local: LocalGraph, goal: str, way: list[tuple[LocalEdge, bool]]) -> str:
    """Say that stops could be made on a side, but each cuts somebody off who must stay on and has no feed."""
    network = local.index.network
    mains = dict.fromkeys(
        network.pipes.id[local.geometry(edge, at_u).leg_at(local.choices(edge, at_u)[0].at_m).pipe]
        for edge, at_u in way
    )
    kept = sorted({row for edge, at_u in way for row in _kept_beyond(local, edge, at_u)})
    who = _listed([network.customers.id[row] for row in kept])
    reach_m = local.placement.rules.bypass.reach_m
    side = "" if goal.startswith("customer") else f"on the side towards {goal} "
    return (
        f"{side}a stop on {_listed(list(mains))} cuts off {who}, who must stay on, and no feed serves "
        f"that part; what would allow a plan: a feed for it within bypass.reach_m of {reach_m:g} m, or a "
        "supply of their own"
    )


def _kept_beyond(local: LocalGraph, edge: LocalEdge, zone_at_u: bool) -> list[int]:
    """Return the customers that must stay on and that a stop on an edge strands."""
    index, stranding = local.index, local.shared.stranding
    a, b = edge.ends(index)
    far = b if zone_at_u else a
    if stranding is None or far < 0:
        return []
    span = stranding.span(edge.segment, index.far_end(edge.segment, far), far)
    return [] if span is None else stranding.kept_on(span)


def _listed(names: list[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (
        f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    )


DEARER = "dearer"
"""Code of a length where a stop can be made, in cuts that cost more."""


def refusals_on(local: LocalGraph, geometry: SegmentGeometry, until_m: float) -> list[Refusal]:
    """Return every length of a segment up to a place where a method cannot be used, zone at its start."""
    found = []
    for number, method in enumerate(local.placement.rules.method):
        for block in local.placement.blocks(geometry, number, local.work):
            for leg in geometry.legs:
                low = max(block.low_m, leg.start_m)
                high = min(block.high_m, leg.end_m, until_m)
                if high > low or (leg.start_m == leg.end_m and low <= high):
                    found.append(
                        _refusal(geometry, leg.piece, low, high, method.name, block.code, block.words)
                    )
    return found


def _refusal(
    geometry: SegmentGeometry, piece: int, low: float, high: float, method: str, code: str, words: str
) -> Refusal:
    leg = next(leg for leg in geometry.legs if leg.piece == piece)
    a, b = sorted((leg.chainage(low), leg.chainage(high)))
    return Refusal(leg.pipe, a, b, method, "from" if leg.sign > 0 else "to", code, words)


def _possible(local: LocalGraph, geometry: SegmentGeometry, until_m: float) -> list[Refusal]:
    found = []
    for number, method in enumerate(local.placement.rules.method):
        for low, high in free_intervals(
            geometry.length_m, local.placement.blocks(geometry, number, local.work)
        ):
            for leg in geometry.legs:
                start, end = max(low, leg.start_m), min(high, leg.end_m, until_m)
                if end >= start and start < until_m:
                    words = "a stop can be made here, but the sets of stops that use it cost more or are "
                    "other options"
                    found.append(_refusal(geometry, leg.piece, start, end, method.name, DEARER, words))
    return found


def not_nearer(local: LocalGraph, cut: Cut) -> tuple[tuple[Refusal, ...], ...]:
    """Return, for each stop of a cut, every nearer place on its side and why the stop is not there."""
    found: FoundZone = cut.found
    ways = _ways(found)
    by_stop = {}
    for edge, at_u, choice in found.stops:
        geometry = local.geometry(edge, at_u)
        leg = geometry.leg_at(choice.at_m)
        rows: list[Refusal] = []
        for before, forward in ways.get(edge.u if at_u else edge.v, ()):
            passed = local.geometry(before, forward)
            rows += refusals_on(local, passed, passed.length_m) + _possible(local, passed, passed.length_m)
        rows += refusals_on(local, geometry, choice.at_m)
        method = local.placement.rules.method[choice.method].name
        rows += [row for row in _possible(local, geometry, choice.at_m) if row.method != method]
        key = (leg.pipe, leg.chainage(choice.at_m), "from" if leg.sign > 0 else "to")
        by_stop[key] = tuple(sorted(set(rows)))
    return tuple(by_stop[stop.pipe, stop.chainage_m, stop.work_side] for stop in cut.stops)


def _ways(found: FoundZone) -> dict[int, list[tuple[LocalEdge, bool]]]:
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

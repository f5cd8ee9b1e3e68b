"""The zone that given stops make: no search, only whether each can be made and what lies between them.

The stops are those of a plan that was made before. What has changed in the records since shows here: a place
that no method serves any more, a main by which gas gets past the stops, a stop that parts nothing now.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from netplan.core.errors import NoPlanError
from netplan.isolation.cut_enumeration import CutEnumeration, FoundZone
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_edges import LocalEdge
from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.segment_graph import SUPPLIED
from netplan.isolation.stop_placement import Choice
from netplan.rules.rule_set import MethodKind

__all__ = ["GivenStop", "given_zone"]

SAME_M: Final = 6e-4
"""How far a place that a plan states to the millimetre may lie from the one it was rounded from (own) [m]."""
EDGE_M: Final = 2e-3
"""How far inside a length that is barred a place must lie to count as barred by it (own) [m]."""


@dataclass(frozen=True, slots=True)
class GivenStop:
    """A stop as a plan states it, on the mains and valves of a network.

    Parameters
    ----------
    name : str
        Its id in the plan.
    method : str
        Name of a method of the rules.
    pipe : int
        Row of its main.
    chainage_m : float
        Barrier nearest the work [m].
    zone_before : bool
        Whether the zone lies on the side of smaller chainages.
    valve : int
        Row of the valve; -1 for a stop that is none.
    """

    name: str
    method: str
    pipe: int
    chainage_m: float
    zone_before: bool
    valve: int = -1


@dataclass(frozen=True, slots=True)
class _Placed:
    """A given stop on an edge: whether the zone is to be at the edge's end u."""

    stop: GivenStop
    edge: LocalEdge
    at_u: bool


def given_zone(local: LocalGraph, stops: Sequence[GivenStop]) -> FoundZone:
    """Return the zone between given stops, each made by its own method at its own place.

    Parameters
    ----------
    local : LocalGraph
        Of the work.
    stops : sequence of GivenStop

    Raises
    ------
    NoPlanError
        With a reason for each stop that cannot be made, and for gas that gets past them.
    """
    placed, reasons = _placed(local, stops)
    choices: dict[int, Choice] = {}
    for one in placed:
        made = _choice(local, one)
        if isinstance(made, str):
            reasons.append(f"{one.stop.name}: {made}")
        else:
            choices[id(one.edge)] = made
    if not reasons:
        reasons += _double(placed)
    zone, leaks = _between(local, placed)
    # Without one of the stops gas gets past it for certain: that is said already.
    reasons += [] if reasons else leaks
    if reasons:
        raise NoPlanError(reasons[0], tuple(reasons))
    return CutEnumeration(local, 0).zone_with(zone, lambda edge, _: choices[id(edge)])


def _placed(local: LocalGraph, stops: Sequence[GivenStop]) -> tuple[list[_Placed], list[str]]:
    """Return the stops on the edges of the graph, looking outward from the work until all are found."""
    waiting = {stop.name: (stop, _segments(local, stop)) for stop in stops}
    found: dict[str, _Placed] = {}
    reasons = [
        f"{stop.name}: nothing to stop at {_place_words(local, stop)}"
        for stop, segments in waiting.values()
        if not segments
    ]
    waiting = {name: one for name, one in waiting.items() if one[1]}
    for node in local.outward():
        if not waiting:
            break
        for edge in local.edges_at(node):
            for stop, segments in list(waiting.values()):
                at_u = _side(local, edge, stop) if edge.segment in segments else None
                if at_u is not None:
                    found[stop.name] = _Placed(stop, edge, at_u)
                    del waiting[stop.name]
    reasons += [
        f"{stop.name}: {_place_words(local, stop)} is no longer joined to the work section"
        for stop, _ in waiting.values()
    ]
    return [found[stop.name] for stop in stops if stop.name in found], reasons


def _place_words(local: LocalGraph, stop: GivenStop) -> str:
    network = local.index.network
    if stop.valve >= 0:
        return f"valve {network.valves.id[stop.valve]}"
    return f"main {network.pipes.id[stop.pipe]} {stop.chainage_m:.2f} m"


def _segments(local: LocalGraph, stop: GivenStop) -> frozenset[int]:
    """Return the segments that the place of a stop may lie on: two where it is at a node."""
    index = local.index
    pieces = index.network.pieces
    if stop.valve >= 0:
        rows = [int(index.network.valves.piece[stop.valve])]
    else:
        rows = [
            row
            for row in pieces.rows_of(stop.pipe)
            if pieces.from_m[row] - SAME_M <= stop.chainage_m <= pieces.to_m[row] + SAME_M
            and pieces.valve[row] < 0
        ]
    found = {int(index.segment_of[row]) for row in rows if row >= 0}
    return frozenset(found - {-1})


def _side(local: LocalGraph, edge: LocalEdge, stop: GivenStop) -> bool | None:
    """Return whether the zone lies at the edge's end u; None where the place is not on it."""
    geometry = local.geometry(edge)
    if _at(geometry, stop) is None:
        return None
    leg = next(one for one in geometry.legs if one.pipe == stop.pipe)
    return (leg.sign > 0) == stop.zone_before


def _at(geometry: SegmentGeometry, stop: GivenStop) -> float | None:
    """Return where a stop lies on a segment [m], though its chainage was rounded; None for nowhere."""
    for leg in geometry.legs:
        at = leg.start_m + leg.sign * (stop.chainage_m - leg.chainage_m)
        if leg.pipe == stop.pipe and leg.start_m - SAME_M <= at <= leg.end_m + SAME_M:
            return min(max(at, leg.start_m), leg.end_m)
    return None


def _choice(local: LocalGraph, one: _Placed) -> Choice | str:
    """Return a stop by its own method at its own place, or why it cannot be made there."""
    placement, stop = local.placement, one.stop
    geometry = local.geometry(one.edge, one.at_u)
    at = _at(geometry, stop)
    number = next((k for k, m in enumerate(placement.rules.method) if m.name == stop.method), -1)
    if number < 0:
        return f"the rules have no method {stop.method}"
    if at is None:
        return f"{_place_words(local, stop)} lies in the work section"
    nearest, exact = (
        next((choice for choice in some if choice.method == number), None)
        for some in (
            local.choices(one.edge, one.at_u),
            placement.choices(
                geometry,
                at,
                unobstructed=placement.is_unobstructed(one.edge.segment),
                work=local.work,
            ),
        )
    )
    # Valves have no place of their own to choose. A plan states the nearest place that is free to the
    # millimetre: where it is the same, it is meant.
    if nearest is not None and (stop.valve >= 0 or abs(nearest.at_m - at) <= SAME_M):
        return nearest
    return exact or "; ".join(dict.fromkeys(_why(local, geometry, number, at))) or "no room for it"


def _why(local: LocalGraph, geometry: SegmentGeometry, method: int, at_m: float) -> Iterator[str]:
    placement = local.placement
    rule = placement.rules.method[method]
    is_valve = rule.kind is MethodKind.VALVE
    for block in placement.blocks(geometry, method, local.work):
        # A stop mostly stands where what keeps it off ends: that end bars nothing.
        if is_valve or block.low_m + EDGE_M < at_m < block.high_m - EDGE_M:
            yield f"no {rule.name} can be made at its place: {block.words}"


def _double(placed: Sequence[_Placed]) -> list[str]:
    seen: dict[int, str] = {}
    reasons = []
    for one in placed:
        other = seen.setdefault(id(one.edge), one.stop.name)
        if other != one.stop.name:
            reasons.append(
                f"{one.stop.name}: it is on the same length of main as {other}, with nothing between"
            )
    return reasons


def _between(local: LocalGraph, placed: Sequence[_Placed]) -> tuple[frozenset[int], list[str]]:
    """Return what the stops part from the rest, and where gas gets past them or a stop parts nothing."""
    outer = {one.edge.v if one.at_u else one.edge.u: one.stop.name for one in placed}
    on_stop = {id(one.edge) for one in placed}
    before: dict[int, tuple[int, LocalEdge] | None] = {SOURCE: None}
    queue = [SOURCE]
    for node in queue:
        local.explore(node)
        past = _supply_at(local, node)
        if past or node in outer:
            where = past or f"the live side of {outer[node]}"
            return frozenset(before), [
                f"gas reaches the work past the stops from {where}, {_way(local, before, node)}"
            ]
        for other, edges in sorted(local.around(node).items(), key=lambda item: local.supernode[item[0]]):
            free = [edge for edge in edges if id(edge) not in on_stop]
            if free and other not in before:
                before[other] = (node, free[0])
                queue.append(other)
    zone = frozenset(before)
    idle = [
        f"{one.stop.name}: it no longer separates anything from the work"
        for one in placed
        if (one.edge.u if one.at_u else one.edge.v) not in zone
    ]
    return zone, idle


def _supply_at(local: LocalGraph, node: int) -> str:
    """Return what gives gas at a local node, in words; empty for nothing."""
    index = local.index
    supernodes = local.work.supernodes if node == SOURCE else (local.supernode[node],)
    for supernode in supernodes:
        if supernode < 0 or not index.blocked[supernode] & SUPPLIED:
            continue
        network = index.network
        for table, what in ((network.stations, "station"), (network.injections, "injection")):
            for row, at in enumerate(table.node.tolist()):
                if at >= 0 and index.super_of[at] == supernode:
                    return f"{what} {table.id[row]}"
        return "the network beyond"
    return ""


def _way(local: LocalGraph, before: dict[int, tuple[int, LocalEdge] | None], node: int) -> str:
    """Return the mains along which gas comes from a node to the work, the nearest last."""
    network, names = local.index.network, []
    step = before[node]
    while step is not None:
        for piece in local.index.pieces_of(step[1].segment).tolist():
            valve = int(network.pieces.valve[piece])
            pipe = network.pipes.id[int(network.pieces.pipe[piece])]
            names.append(f"valve {network.valves.id[valve]}" if valve >= 0 else f"main {pipe}")
        step = before[step[0]]
    return "by " + ", ".join(dict.fromkeys(names)) if names else "at the work itself"

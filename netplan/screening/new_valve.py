"""A valve that is not there: the places it can have on a segment, its price, and the network with it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final, NamedTuple

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.core.errors import BadInputError
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation import SegmentGraph
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.isolation.stop_prices import stop_price_minor
from netplan.network.linear_reference import piece_at, points_at
from netplan.network.model import Network, Nodes, Pieces, Valves
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Operable, ValveState
from netplan.rules.rule_set import MethodKind, Rules

__all__ = ["NEW_VALVE", "ValvePlace", "halfway", "is_beside", "least_valve_minor", "places_on", "with_valve"]

FROM_NODE_M: Final = 1.0
"""Least distance of a new valve from the end of a segment (own); half the piece where that is shorter [m]."""
ROOM_M: Final = 0.5
"""Length between that end and the valve, clear of both, for the valve's tapping (own) [m]."""
LEAST_M: Final = 0.01
"""No valve is put nearer to an end of a piece (own) [m]."""


class ValvePlace(NamedTuple):
    """A place for a new valve: main, chainage [m], and how far it is from an end of its segment [m]."""

    pipe: int
    chainage_m: float
    from_end_m: float


def places_on(index: SegmentGraph, segment: int, rules: Rules) -> list[ValvePlace]:
    """Return the places near both ends of a segment, one where both are the same.

    Far enough from the end for what is tapped beside the valve, where the first piece is as long.
    """
    network, clearance = index.network, rules.clearance
    geometry = segment_geometry(index, segment)
    places: dict[tuple[int, float], ValvePlace] = {}
    for way in (geometry, geometry.turned()):
        leg = next((leg for leg in way.legs if leg.end_m - leg.start_m > 2.0 * LEAST_M), None)
        if leg is None or network.pieces.valve[leg.piece] >= 0:
            continue
        clear = max(clearance.fitting_m, clearance.fitting_od * float(network.pipes.od_m[leg.pipe]))
        inward = min(max(FROM_NODE_M, 2.0 * clear + ROOM_M), (leg.end_m - leg.start_m) / 2.0)
        at = leg.pipe, round(leg.chainage(leg.start_m + inward), 6)
        places[at] = ValvePlace(*at, leg.start_m + inward)
    return sorted(places.values())


def is_beside(place: ValvePlace, geometry: SegmentGeometry) -> bool:
    """Whether a place lies on what is left of a segment beside a work."""
    return any(
        leg.pipe == place.pipe
        and min(leg.chainage(leg.start_m), leg.chainage(leg.end_m)) < place.chainage_m
        and place.chainage_m < max(leg.chainage(leg.start_m), leg.chainage(leg.end_m))
        for leg in geometry.legs
    )


def halfway(geometry: SegmentGeometry) -> ValvePlace:
    """Return the place halfway between a work and the end of its segment."""
    leg = geometry.leg_at(geometry.length_m / 2.0)
    chainage_m = leg.chainage_within(geometry.length_m / 2.0)
    return ValvePlace(leg.pipe, round(chainage_m, 6), geometry.length_m / 2.0)


def least_valve_minor(index: SegmentGraph, rules: Rules) -> Ints:
    """Return the least price of closing a valve on each segment that has none [minor units], with its pit.

    That of a new one, and on a valve that is not usable as recorded of this one. `INFINITE` on usable valves,
    and where the rules know no valve.
    """
    pieces, pipes, valves = index.network.pieces, index.network.pipes, index.network.valves
    methods = [method for method in rules.method if method.kind is MethodKind.VALVE]
    price = np.full(len(index.segment_a), INFINITE, dtype=np.int64)
    may_be: Flags = (pieces.valve < 0) & (pieces.to_m > pieces.from_m)
    if len(valves):
        usable = (valves.operable == Operable.YES) & (valves.state != ValveState.UNKNOWN)
        may_be |= (pieces.valve >= 0) & ~usable[np.maximum(pieces.valve, 0)]
    rows = np.flatnonzero((index.segment_of >= 0) & may_be)
    if not methods or not len(rows):
        return price
    pipe = pieces.pipe[rows]
    sizes, kind = np.unique(
        np.column_stack([pipes.od_m[pipe], pipes.surface[pipe]]), axis=0, return_inverse=True
    )
    least = np.array(
        [
            min(stop_price_minor(rules, method, float(od), int(code)) for method in methods)
            for od, code in sizes
        ]
    )
    np.minimum.at(price, index.segment_of[rows], least[kind.ravel()])
    return price


NEW_VALVE = "\U0010ffff new valve"
"""Id of the valve: it sorts behind every other."""


def with_valve(network: Network, main: int, chainage_m: float) -> Network:
    """Return the network with an open, operable valve in a main; nothing else is changed.

    Rows of pipes, nodes, customers and stations stay; pieces behind the valve move by two.

    Raises
    ------
    BadInputError
        When the chainage is not inside a piece of the main.
    """
    pieces, nodes = network.pieces, network.nodes
    piece = piece_at(network, main, chainage_m)
    low, high = float(pieces.from_m[piece]), float(pieces.to_m[piece])
    if not low < chainage_m < high:
        raise BadInputError(f"a valve at {chainage_m:g} m lies at an end of its piece; move it inward")
    x, y = points_at(network, np.array([main]), np.array([chainage_m]))[0]
    a, b = int(pieces.from_node[piece]), int(pieces.to_node[piece])
    share = (chainage_m - low) / (high - low)
    height = nodes.height_m[a] + share * (nodes.height_m[b] - nodes.height_m[a])
    first, second = len(nodes), len(nodes) + 1
    after = piece + 1

    def split(column: Any, values: list[Any], own: Any) -> Any:
        changed = column.copy()
        changed[piece] = own
        return np.insert(changed, after, np.array(values, dtype=column.dtype))

    valves = network.valves
    moved = np.where(valves.piece > piece, valves.piece + 2, valves.piece)
    return replace(
        network,
        nodes=Nodes(
            np.append(nodes.x_m, [x, x]),
            np.append(nodes.y_m, [y, y]),
            np.append(nodes.height_m, [height, height]),
            np.append(nodes.system, [nodes.system[a]] * 2).astype(nodes.system.dtype),
        ),
        pieces=Pieces(
            pipe=split(pieces.pipe, [main, main], main),
            from_m=split(pieces.from_m, [chainage_m, chainage_m], low),
            to_m=split(pieces.to_m, [chainage_m, high], chainage_m),
            from_node=split(pieces.from_node, [first, second], a),
            to_node=split(pieces.to_node, [second, b], first),
            valve=split(pieces.valve, [len(valves), -1], -1),
            is_open=split(pieces.is_open, [True, pieces.is_open[piece]], pieces.is_open[piece]),
        ),
        valves=Valves(
            id=TextColumn([*valves.id, NEW_VALVE]),
            state=np.append(valves.state, np.uint8(ValveState.OPEN)).astype(np.uint8),
            operable=np.append(valves.operable, np.uint8(Operable.YES)).astype(np.uint8),
            pipe=np.append(valves.pipe, main).astype(np.int32),
            piece=np.append(moved, after).astype(np.int32),
            chainage_m=np.append(valves.chainage_m, chainage_m),
            turns_to_close=np.append(valves.turns_to_close, np.nan),
            size_m=np.append(valves.size_m, np.nan),
            closing_direction=TextColumn([*valves.closing_direction, ""]),
            cover_type=TextColumn([*valves.cover_type, ""]),
            last_operated=TextColumn([*valves.last_operated, ""]),
            remark=TextColumn([*valves.remark, ""]),
            x_m=np.append(valves.x_m, np.nan),
            y_m=np.append(valves.y_m, np.nan),
        ),
    )

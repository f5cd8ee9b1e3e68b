"""A network with one more valve in a main."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from netplan.core.errors import BadInputError
from netplan.network.linear_reference import piece_at, points_at
from netplan.network.model import Network, Nodes, Pieces, Valves
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Operable, ValveState

__all__ = ["NEW_VALVE", "with_valve"]

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
        ),
    )

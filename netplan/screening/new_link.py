"""A link that is not there: a main between two nodes, with an open, operable valve halfway."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, Final

import numpy as np

from netplan.network.model import Network, Nodes, Pieces, Pipes
from netplan.network.text_column import TextColumn
from netplan.screening.new_valve import with_valve

__all__ = ["NEW_LINK", "mains_at", "straight_m", "with_link"]

NEW_LINK: Final = "\U0010ffff new link"
"""Id of the main: it sorts behind every other."""


def straight_m(network: Network, a: int, b: int) -> float:
    """Return the straight distance of two nodes [m]."""
    nodes = network.nodes
    return float(np.hypot(nodes.x_m[a] - nodes.x_m[b], nodes.y_m[a] - nodes.y_m[b]) / network.scale)


def with_link(network: Network, a: int, b: int) -> Network:
    """Return the network with a straight main from node `a` to node `b`; nothing else is changed.

    It is of the material and size of the widest main at its ends. Rows of mains, nodes, customers and
    stations stay; those of services move by one.

    Parameters
    ----------
    network : Network
    a, b : int
        Nodes of mains of one system.
    """
    row, pieces = network.pipes.n_mains, network.pieces
    pipes = _pipes(network, a, b)
    length_m = float(pipes.length_m[row])
    place = int(np.searchsorted(pieces.pipe, np.int32(row)))

    def put(column: Any, value: Any) -> Any:
        return np.insert(column, place, np.array([value], dtype=column.dtype))

    def moved(rows: Any, first: int) -> Any:
        return np.where(rows >= first, rows + 1, rows).astype(rows.dtype)

    longer = replace(
        network,
        pipes=pipes,
        pieces=Pieces(
            pipe=put(moved(pieces.pipe, row), row),
            from_m=put(pieces.from_m, 0.0),
            to_m=put(pieces.to_m, length_m),
            from_node=put(pieces.from_node, a),
            to_node=put(pieces.to_node, b),
            valve=put(pieces.valve, -1),
            is_open=put(pieces.is_open, True),
        ),
        valves=replace(
            network.valves,
            pipe=moved(network.valves.pipe, row),
            piece=moved(network.valves.piece, place),
        ),
        fittings=replace(network.fittings, pipe=moved(network.fittings.pipe, row)),
    )
    return with_valve(longer, row, length_m / 2.0)


def _pipes(network: Network, a: int, b: int) -> Pipes:
    """Return the pipes with the link behind the last main."""
    pipes, nodes, row = network.pipes, network.nodes, network.pipes.n_mains
    like = _widest_at(network, a, b)
    own: dict[str, Any] = {"id": NEW_LINK, "length_m": straight_m(network, a, b), "street": ""}
    columns: dict[str, Any] = {}
    for field in fields(pipes):
        column = getattr(pipes, field.name)
        if field.name in ("n_mains", "coords_m", "coord_start"):
            continue
        value = own.get(field.name, column[like])
        if isinstance(column, TextColumn):
            columns[field.name] = TextColumn(np.insert(column.numpy(), row, value))
        else:
            columns[field.name] = np.insert(column, row, np.array([value], dtype=column.dtype))
    ends = [_at(nodes, a), _at(nodes, b)]
    first = int(pipes.coord_start[row])
    start = pipes.coord_start
    return replace(
        pipes,
        **columns,
        n_mains=row + 1,
        coords_m=np.insert(pipes.coords_m, first, ends, axis=0),
        coord_start=np.concatenate([start[: row + 1], start[row:] + len(ends)]),
    )


def mains_at(network: Network, node: int) -> frozenset[int]:
    """Return the mains that end at a node or pass it."""
    pieces = network.pieces
    at = (pieces.from_node == node) | (pieces.to_node == node)
    return frozenset(pieces.pipe[at & (pieces.pipe < network.pipes.n_mains)].tolist())


def _widest_at(network: Network, a: int, b: int) -> int:
    mains = sorted(mains_at(network, a) | mains_at(network, b))
    return mains[int(np.argmax(network.pipes.bore_m[mains]))]


def _at(nodes: Nodes, node: int) -> tuple[float, float]:
    return float(nodes.x_m[node]), float(nodes.y_m[node])

"""The network as a ring sees it: groups of nodes that no stop can part, joined by pieces that one can."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Ints, Ints32
from netplan.graph.connected_components import component_labels
from netplan.graph.grouping import grouped
from netplan.graph.minimum_cut import INFINITE
from netplan.network.model import Network

__all__ = ["RingGraph", "graph_of_groups", "ring_graph"]


@dataclass(frozen=True, slots=True, eq=False)
class RingGraph:
    """Groups of nodes joined by pieces that a stop can go on.

    Parameters
    ----------
    group : int32 array, shape (nodes,)
        Group of each node: those joined by open pieces without a stop.
    seconds : int64 array, shape (pieces,)
        Of a stop on each piece; `INFINITE` where none can go.
    start : int64 array, shape (groups + 1,)
    piece : int32 array
        Pieces that leave group g: ``piece[start[g]:start[g + 1]]``.
    other : int32 array
        The group that each of them leads to.
    meters : int64 array, shape (groups,)
        Meters attached at each group.
    supplies : int64 array, shape (groups,)
        Stations, injections and places on the boundary of a part of a network at each group.
    times : frozenset of int
        The different times of a stop [s].
    """

    group: Ints32
    seconds: Ints
    start: Ints
    piece: Ints32
    other: Ints32
    meters: Ints
    supplies: Ints
    times: frozenset[int]

    def leaving(self, group: int) -> zip[tuple[int, int]]:
        """Return the pieces that leave a group, each with the group that it leads to."""
        low, high = self.start.item(group), self.start.item(group + 1)
        return zip(self.piece[low:high].tolist(), self.other[low:high].tolist(), strict=True)


def ring_graph(network: Network, seconds: Ints) -> RingGraph:
    """Return the groups of a network for one choice of stops.

    Parameters
    ----------
    network : Network
    seconds : int64 array, shape (pieces,)
        Of a stop on each piece; `INFINITE` where none can go.
    """
    pieces, n = network.pieces, len(network.nodes)
    joins = pieces.is_open & (seconds >= INFINITE)
    group, count = component_labels(n, pieces.from_node[joins], pieces.to_node[joins])
    return graph_of_groups(network, seconds, group, count)


def graph_of_groups(network: Network, seconds: Ints, group: Ints32, count: int) -> RingGraph:
    """Return what joins groups of nodes that are known already; all as in `RingGraph`."""
    pieces = network.pieces
    rows = np.flatnonzero(pieces.is_open & (seconds < INFINITE))
    one, two = group[pieces.from_node[rows]], group[pieces.to_node[rows]]
    rows, one, two = rows[one != two], one[one != two], two[one != two]
    ends, far = np.concatenate([one, two]), np.concatenate([two, one])
    start, place = grouped(ends, count, np.arange(len(ends), dtype=np.int32))
    return RingGraph(
        group=group,
        seconds=seconds,
        start=start,
        piece=np.concatenate([rows, rows]).astype(np.int32)[place],
        other=far[place],
        meters=_meters(network, group, count),
        supplies=np.bincount(group[_supply_nodes(network)], minlength=count),
        times=frozenset(np.unique(seconds[rows]).tolist()),
    )


def _meters(network: Network, group: Ints32, count: int) -> Ints:
    """Return the meters of each group; a customer of several attachments counts at the first."""
    customers = network.customers
    first, last = customers.attach_start[:-1], customers.attach_start[1:]
    rows = np.flatnonzero(last > first)
    at = group[customers.attach_node[first[rows]]]
    return np.rint(np.bincount(at, customers.meters[rows], count)).astype(np.int64)


def _supply_nodes(network: Network) -> Ints32:
    nodes = np.concatenate([network.stations.node, network.injections.node])
    if network.beyond is not None:
        nodes = np.concatenate([nodes, network.beyond.node])
    return nodes[nodes >= 0].astype(np.int32)

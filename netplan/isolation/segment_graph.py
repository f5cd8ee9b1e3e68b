"""The network as the choice of stops sees it: supernodes joined by segments of main.

Services cannot be stopped, so everything a service joins is one supernode. A segment is a length of main that
carries no branch, fitting, valve, customer or change of size at its inner nodes: a stop's assembly may span
those. A valve is a segment of its own. Built once for a network; all arrays, no Python object a pipe.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints, Ints32
from netplan.graph.connected_components import component_labels
from netplan.graph.grouping import grouped
from netplan.network.model import Network
from netplan.network.subnetwork import merged_parts

__all__ = ["BOUNDARY", "SUPPLIED", "SegmentGraph", "segment_graph"]


BOUNDARY: Final = 8
"""Bit of `SegmentGraph.blocked` for a supernode at the boundary of a part of a network."""
SUPPLIED: Final = 1 | 2 | BOUNDARY
"""Bits of `SegmentGraph.blocked` for supernodes that gas comes from."""
AT_NODE_M = 0.05
"""A fitting this near to a node's chainage sits on the node [m]: the default snap distance."""


@dataclass(frozen=True, slots=True, eq=False)
class SegmentGraph:
    """Whole-network arrays for choosing stops.

    Parameters
    ----------
    network : Network
    super_of : int32 array
        Supernode of each network node.
    n_super : int
    segment_of : int32 array
        Segment of each piece; -1 for pieces of services.
    segment_a, segment_b : int32 arrays
        Supernodes at the two ends of each segment.
    segment_start : int64 array, shape (segments + 1,)
    segment_pieces : int32 array
        Pieces of segment r, ascending: ``segment_pieces[segment_start[r]:segment_start[r + 1]]``.
    segment_volume_m3 : float array
        Geometric volume of each segment [m³].
    segment_chain : int32 array
        Chain between junctions of each segment.
    adjacent_start, adjacent_segment : arrays
        Segments at each supernode (a loop appears twice).
    is_inner : bool array
        Inner nodes of segments: network nodes that a stop's assembly may span.
    fitting_key, fitting_row : arrays
        Fittings in order along all pipes, see `pipe_base_m`.
    pipe_base_m : float array
        Start of each pipe on one long line of all pipes [m].
    part : int32 array
        Part of the network (joined by open pieces) of each node.
    super_volume_m3 : float array
        Geometric volume of the services of each supernode [m³].
    member_start, member_node : arrays
        Network nodes of each supernode.
    service_start, service_piece : arrays
        Pieces of services of each supernode.
    customer_start, customer_row : arrays
        Customers attached at each supernode, each once.
    multi_attached : bool array
        Customers attached at more than one supernode.
    blocked : uint8 array
        Per supernode: bit 1 a station, 2 an injection, 4 a sensing point, 8 the boundary of a part of a
        network.
    cost_contexts : list
        The last few cost contexts made of it, with what they hold for.
    """

    network: Network
    super_of: Ints32
    n_super: int
    segment_of: Ints32
    segment_a: Ints32
    segment_b: Ints32
    segment_start: Ints
    segment_pieces: Ints32
    segment_volume_m3: Floats
    segment_chain: Ints32
    adjacent_start: Ints
    adjacent_segment: Ints32
    is_inner: Flags
    fitting_key: Floats
    fitting_row: Ints32
    pipe_base_m: Floats
    part: Ints32
    super_volume_m3: Floats
    member_start: Ints
    member_node: Ints32
    service_start: Ints
    service_piece: Ints32
    customer_start: Ints
    customer_row: Ints32
    multi_attached: Flags
    blocked: NDArray[np.uint8]
    cost_contexts: list[tuple[Any, tuple[float, float], Any]] = field(default_factory=list, repr=False)

    def segments_at(self, supernode: int) -> Ints32:
        """Return the segments at a supernode; one that comes back to it appears twice."""
        return self.adjacent_segment[self.adjacent_start[supernode] : self.adjacent_start[supernode + 1]]

    def far_end(self, segment: int, supernode: int) -> int:
        """Return the supernode at the other end of a segment."""
        a, b = self.segment_a.item(segment), self.segment_b.item(segment)
        return b if a == supernode else a

    def pieces_of(self, segment: int) -> Ints32:
        """Return the pieces of a segment, by row."""
        return self.segment_pieces[self.segment_start[segment] : self.segment_start[segment + 1]]

    def members(self, supernode: int) -> Ints32:
        """Return the network nodes of a supernode."""
        return self.member_node[self.member_start[supernode] : self.member_start[supernode + 1]]

    def services_at(self, supernode: int) -> Ints32:
        """Return the pieces of services of a supernode."""
        return self.service_piece[self.service_start[supernode] : self.service_start[supernode + 1]]

    def customers_at(self, supernode: int) -> Ints32:
        """Return the customers attached at a supernode."""
        return self.customer_row[self.customer_start[supernode] : self.customer_start[supernode + 1]]


def segment_graph(network: Network) -> SegmentGraph:
    """Return the arrays that every choice of stops on `network` starts from."""
    pieces, n_nodes = network.pieces, len(network.nodes)
    is_main = pieces.pipe < network.pipes.n_mains
    super_of, n_super = component_labels(n_nodes, pieces.from_node[~is_main], pieces.to_node[~is_main])
    part, _ = component_labels(n_nodes, pieces.from_node[pieces.is_open], pieces.to_node[pieces.is_open])
    if network.beyond is not None:
        part, _ = merged_parts(part, network.beyond)
    base = np.concatenate([[0.0], np.cumsum(network.pipes.length_m + 10.0)])
    key, row = _fittings(network, base)
    is_inner = _inner_nodes(network, is_main, base, key)
    mains = np.flatnonzero(is_main)
    segment_of = np.full(len(pieces), -1, dtype=np.int32)
    segment_of[mains], n_segments = _chained(pieces.from_node[mains], pieces.to_node[mains], is_inner)
    segment_start, segment_pieces = grouped(segment_of[mains], n_segments, mains)
    segment_a, segment_b = _segment_ends(network, mains, segment_of, n_segments, is_inner, super_of)
    bore = network.pipes.bore_m[pieces.pipe]
    volume = 0.25 * np.pi * bore**2 * (pieces.to_m - pieces.from_m)
    segment_volume = np.bincount(segment_of[mains], volume[mains], n_segments).astype(np.float64)
    super_volume = np.bincount(super_of[pieces.from_node[~is_main]], volume[~is_main], n_super).astype(
        np.float64
    )
    ends = np.concatenate([segment_a, segment_b])
    segments = np.concatenate([np.arange(n_segments, dtype=np.int32)] * 2)
    adjacent_start, adjacent_segment = grouped(ends, n_super, segments)
    member_start, member_node = grouped(super_of, n_super, np.arange(n_nodes, dtype=np.int32))
    services = np.flatnonzero(~is_main)
    service_start, service_piece = grouped(super_of[pieces.from_node[services]], n_super, services)
    customer_start, customer_row, multi_attached = _customers(network, super_of, n_super)
    return SegmentGraph(
        network=network,
        super_of=super_of,
        n_super=n_super,
        segment_of=segment_of,
        segment_a=segment_a,
        segment_b=segment_b,
        segment_start=segment_start,
        segment_pieces=segment_pieces,
        segment_volume_m3=segment_volume,
        segment_chain=_segment_chains(network, mains, segment_of, n_segments),
        adjacent_start=adjacent_start,
        adjacent_segment=adjacent_segment,
        is_inner=is_inner,
        fitting_key=key,
        fitting_row=row,
        pipe_base_m=base,
        part=part,
        super_volume_m3=super_volume,
        member_start=member_start,
        member_node=member_node,
        service_start=service_start,
        service_piece=service_piece,
        customer_start=customer_start,
        customer_row=customer_row,
        multi_attached=multi_attached,
        blocked=_blocked(network, super_of, n_super),
    )


def _fittings(network: Network, base: Floats) -> tuple[Floats, Ints32]:
    fittings = network.fittings
    placed = np.flatnonzero(fittings.pipe >= 0).astype(np.int32)
    key = base[fittings.pipe[placed]] + fittings.chainage_m[placed]
    order = np.argsort(key, kind="stable")
    return key[order], placed[order]


def _boundary(network: Network) -> Ints32:
    node = np.zeros(0, dtype=np.int32) if network.beyond is None else network.beyond.node
    if network.unread is None:
        return node
    return np.concatenate([node, network.unread.far_nodes().astype(np.int32)])


def _inner_nodes(network: Network, is_main: Flags, base: Floats, fitting_key: Floats) -> Flags:
    """Return the nodes where two pieces of main of the same make meet and nothing else is recorded."""
    pieces, pipes, n = network.pieces, network.pipes, len(network.nodes)
    ends = np.concatenate([pieces.from_node, pieces.to_node])
    touching = np.concatenate([is_main & (pieces.valve < 0)] * 2)
    degree = np.bincount(ends, minlength=n)
    is_inner: Flags = (degree == 2) & (np.bincount(ends[touching], minlength=n) == 2)
    # Two ends at each of these nodes: sorted by node, they stand side by side.
    at_inner = np.flatnonzero(is_inner[ends])
    two = at_inner[np.argsort(ends[at_inner], kind="stable")].reshape(-1, 2)
    pipe = np.concatenate([pieces.pipe, pieces.pipe])[two]
    same = np.ones(len(two), dtype=np.bool_)
    for values in (pipes.od_m, pipes.bore_m, pipes.material):
        same &= values[pipe[:, 0]] == values[pipe[:, 1]]
    is_inner[ends[two[:, 0]]] = same
    for at in (
        network.stations.node,
        network.sensing.node,
        network.injections.node,
        network.stations.sensing_node,
        _boundary(network),
    ):
        is_inner[at[at >= 0]] = False
    is_inner[network.customers.attach_node] = False
    if len(fitting_key):
        for chainage, node in ((pieces.from_m, pieces.from_node), (pieces.to_m, pieces.to_node)):
            place = base[pieces.pipe] + chainage
            right = np.searchsorted(fitting_key, place - AT_NODE_M)
            hit = (right < len(fitting_key)) & (
                fitting_key[np.minimum(right, len(fitting_key) - 1)] <= place + AT_NODE_M
            )
            is_inner[node[hit]] = False
    return is_inner


def _chained(a: Ints32, b: Ints32, through: Flags) -> tuple[Ints32, int]:
    """Return groups of pieces that are joined by nodes that may be passed through."""
    n = len(a)
    ends = np.concatenate([a, b])
    piece = np.concatenate([np.arange(n), np.arange(n)])
    passing = through[ends]
    order = np.argsort(ends[passing], kind="stable")
    pairs = piece[passing][order].reshape(-1, 2)
    label, count = component_labels(n, pairs[:, 0], pairs[:, 1])
    return label, count


def _segment_ends(
    network: Network, mains: Ints, segment_of: Ints32, n_segments: int, is_inner: Flags, super_of: Ints32
) -> tuple[Ints32, Ints32]:
    pieces = network.pieces
    nodes = np.stack([pieces.from_node[mains], pieces.to_node[mains]], axis=1).ravel()
    segments = np.repeat(segment_of[mains], 2)
    ending = ~is_inner[nodes]
    order = np.argsort(segments[ending], kind="stable")
    segments, nodes = segments[ending][order], nodes[ending][order]
    segment_a, segment_b = np.full(n_segments, -1, dtype=np.int32), np.full(n_segments, -1, dtype=np.int32)
    segment_a[segments[0::2]] = super_of[nodes[0::2]]
    segment_b[segments[1::2]] = super_of[nodes[1::2]]
    # A closed ring of inner nodes touches nothing: hang it on its own first node.
    for segment in np.flatnonzero(segment_a < 0):
        segment_a[segment] = segment_b[segment] = super_of[
            pieces.from_node[mains[np.argmax(segment_of[mains] == segment)]]
        ]
    return segment_a, segment_b


def _segment_chains(network: Network, mains: Ints, segment_of: Ints32, n_segments: int) -> Ints32:
    """Return the chain between junctions of each segment: services and valves do not make a junction."""
    pieces = network.pieces
    a, b = pieces.from_node[mains], pieces.to_node[mains]
    through = np.bincount(np.concatenate([a, b]), minlength=len(network.nodes)) == 2
    for at in (network.stations.node, network.injections.node, _boundary(network)):
        through[at[at >= 0]] = False
    label, _ = _chained(a, b, through)
    chain = np.zeros(n_segments, dtype=np.int32)
    chain[segment_of[mains]] = label
    return chain


def _customers(network: Network, super_of: Ints32, n_super: int) -> tuple[Ints, Ints32, Flags]:
    customers = network.customers
    n = len(customers)
    row = np.repeat(np.arange(n, dtype=np.int64), np.diff(customers.attach_start))
    # Sorted, not np.unique: that hashes whole numbers, which takes sixty times as long for a city.
    pairs = np.sort(super_of[customers.attach_node].astype(np.int64) * max(n, 1) + row)
    pairs = pairs[np.diff(pairs, prepend=-1) != 0]
    at, who = pairs // max(n, 1), pairs % max(n, 1)
    start = np.zeros(n_super + 1, dtype=np.int64)
    np.cumsum(np.bincount(at, minlength=n_super), out=start[1:])
    return start, who.astype(np.int32), np.bincount(who, minlength=n) > 1


def _blocked(network: Network, super_of: Ints32, n_super: int) -> NDArray[np.uint8]:
    blocked = np.zeros(n_super, dtype=np.uint8)
    for bit, at in (
        (1, network.stations.node),
        (2, network.injections.node),
        (4, network.sensing.node),
        (4, network.stations.sensing_node),
        (BOUNDARY, _boundary(network)),
    ):
        blocked[super_of[at[at >= 0]]] |= np.uint8(bit)
    return blocked

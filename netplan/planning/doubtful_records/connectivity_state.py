"""Connectivity once the stops and feeds of an option are in: what doubtful records are judged on."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut
from netplan.network.model import Network
from netplan.network.topology import adjacency, components_without, station_nodes

__all__ = ["ConnectivityState", "connectivity_state"]

PipePlace = tuple[int, float]
"""A pipe row and a chainage on it [m]."""
_WAY_ROUND_NODES: Final = 2000
"""Nodes among which a way round a piece is looked for before all parts are worked out (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class ConnectivityState:
    """Connectivity with all stops and feeds in; each zone is one place of its own behind the nodes.

    Parameters
    ----------
    network : Network
    cut : Cut
    carries : bool array, shape (pieces,)
        Pieces that carry gas and lie in no zone.
    links : int64 array, shape (k, 2)
        Places joined besides: nodes of a zone with it, both ends of each feed.
    part : int64 array, shape (places,)
        Connected part of each place.
    fed : bool array, shape (parts,)
        Whether a station or an injection feeds the part.
    """

    network: Network
    cut: Cut
    carries: Flags
    links: Ints
    part: Ints
    fed: Flags

    @property
    def zone_places(self) -> Ints:
        """The places that stand for the zones."""
        return len(self.network.nodes) + np.arange(len(self.cut.zones))

    def place(self, pipe: int, chainage_m: float) -> int:
        """Return the place of a chainage on a pipe: a zone, or the node on its side of the stops."""
        pieces = self.network.pieces
        rows = np.array(pieces.rows_of(pipe))
        holds = rows[(pieces.from_m[rows] <= chainage_m + 1e-6) & (chainage_m - 1e-6 <= pieces.to_m[rows])]
        piece = int(holds[0] if len(holds) else rows[-1])
        for number, zone in enumerate(self.cut.zones):
            for part in zone.pieces:
                if part.piece != piece:
                    continue
                if part.from_m - 1e-6 <= chainage_m <= part.to_m + 1e-6:
                    return len(self.network.nodes) + number
                return int((pieces.from_node if chainage_m < part.from_m else pieces.to_node)[piece])
        return int(pieces.from_node[piece])

    def without_gas(self, part: Ints | None = None, fed: Flags | None = None) -> Flags:
        """Return the customers with an attachment that no source reaches, or that lies in a zone."""
        label = self.part if part is None else part
        live = (self.fed if fed is None else fed)[label]
        customers = self.network.customers
        owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
        dark = ~live[customers.attach_node] | self.in_zone[customers.attach_node]
        return np.bincount(owner, weights=dark, minlength=len(customers)) > 0

    def stays_joined(self, piece: int) -> bool:
        """Return whether both ends of a piece surely hang together without it: a way round lies near."""
        pieces, near = self.network.pieces, adjacency(self.network)
        ends = int(pieces.from_node[piece]), int(pieces.to_node[piece])
        side = dict(zip(ends, (0, 1), strict=True))
        queue = deque(side)
        while queue and len(side) < _WAY_ROUND_NODES:
            node = queue.popleft()
            at = near.of(node)
            for other, way in zip(near.neighbour[at].tolist(), near.piece[at].tolist(), strict=True):
                if way == piece or not self.carries[way]:
                    continue
                if other not in side:
                    side[other] = side[node]
                    queue.append(other)
                elif side[other] != side[node]:
                    return True
        return False

    @property
    def in_zone(self) -> Flags:
        """Nodes inside a zone."""
        inside = np.zeros(len(self.network.nodes), dtype=bool)
        for zone in self.cut.zones:
            inside[zone.nodes] = True
        return inside


def connectivity_state(
    network: Network, cut: Cut, feeds: Sequence[tuple[PipePlace, PipePlace]], opened: Iterable[int]
) -> ConnectivityState:
    """Return the connectivity of an option with its stops and feeds in.

    Parameters
    ----------
    network : Network
    cut : Cut
    feeds : sequence of pairs of PipePlace
        Where each bypass or hose begins and ends.
    opened : iterable of int
        Rows of the valves that are opened for the work.
    """
    carries = network.pieces.is_open.copy()
    carries[network.valves.piece[list(opened)]] = True
    for stop in cut.stops:
        carries[stop.piece] = False
    for zone in cut.zones:
        carries[[part.piece for part in zone.pieces]] = False
    count = len(network.nodes)
    pairs = [(int(node), count + k) for k, zone in enumerate(cut.zones) for node in zone.nodes]
    nothing = np.zeros(0, dtype=np.int64)
    bare = ConnectivityState(network, cut, carries, nothing, nothing, np.zeros(0, dtype=bool))
    pairs += [(bare.place(*one), bare.place(*other)) for one, other in feeds]
    links = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    part, fed = parts_of(network, carries, links, count + len(cut.zones))
    return ConnectivityState(network, cut, carries, links, part, fed)


def parts_of(network: Network, carries: Flags, links: Ints, count: int) -> tuple[Ints, Flags]:
    """Return the connected part of each of `count` places, and which parts are fed."""
    pieces = network.pieces
    # Parts of the network as it stands, less what is closed; then the few that are joined besides.
    alone = components_without(network, np.flatnonzero(pieces.is_open & ~carries))
    known = int(alone.max(initial=-1)) + 1
    label = np.concatenate([alone, np.arange(known, known + count - len(alone))])
    opened = np.flatnonzero(carries & ~pieces.is_open)
    one = label[np.concatenate([pieces.from_node[opened], links[:, 0]])]
    other = label[np.concatenate([pieces.to_node[opened], links[:, 1]])]
    size = known + count - len(alone)
    joined, number = component_labels(size, one, other)
    part = joined[label]
    fed = np.zeros(number, dtype=bool)
    fed[part[station_nodes(network, injections=True)]] = True
    return part.astype(np.int64), fed

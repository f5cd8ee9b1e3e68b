"""Connectivity: connected parts, which of them are fed, and a networkx view of a neighbourhood."""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import dijkstra

from netplan.core.arrays import Flags, Ints32
from netplan.core.extras import require_extra
from netplan.graph.connected_components import component_labels
from netplan.network.model import Network, Pieces

if TYPE_CHECKING:
    import networkx as nx


__all__ = [
    "Adjacency",
    "adjacency",
    "components",
    "components_without",
    "fed_nodes",
    "neighbourhood",
    "station_nodes",
    "take_kept",
    "to_networkx",
]

_PARTS: WeakKeyDictionary[Pieces, NDArray[np.int32]] = WeakKeyDictionary()
"""Parts over the open pieces, asked for again and again; gone with the pieces."""

_NEAR: WeakKeyDictionary[Pieces, Adjacency] = WeakKeyDictionary()
_FARTHEST: Final = 50_000
"""Nodes after which a search from both sides costs more than one of the whole network."""


@dataclass(frozen=True, slots=True, eq=False)
class Adjacency:
    """Neighbours of every node: those of node i stand at ``start[i]:start[i + 1]``.

    Parameters
    ----------
    start : int64 array, shape (nodes + 1,)
    neighbour : int32 array
        The node at the other end.
    piece : int32 array
        The piece that leads there.
    """

    start: NDArray[np.int64]
    neighbour: Ints32
    piece: Ints32
    _pairs: dict[int, list[tuple[int, int]]] = field(default_factory=dict, repr=False)

    def of(self, node: int) -> slice:
        """Return where the neighbours of a node stand."""
        return slice(int(self.start[node]), int(self.start[node + 1]))

    def pairs(self, node: int) -> list[tuple[int, int]]:
        """Return the neighbours of a node with the piece that leads to each; kept once asked for."""
        known = self._pairs.get(node)
        if known is None:
            at = self.of(node)
            known = list(zip(self.neighbour[at].tolist(), self.piece[at].tolist(), strict=True))
            self._pairs[node] = known
        return known


def adjacency(network: Network, *, open_only: bool = True) -> Adjacency:
    """Return the neighbours of every node, each list sorted by piece."""
    if not open_only:
        return _adjacency(network, open_only=False)
    if network.pieces not in _NEAR:
        _NEAR[network.pieces] = _adjacency(network, open_only=True)
    return _NEAR[network.pieces]


def _adjacency(network: Network, *, open_only: bool) -> Adjacency:
    pieces = network.pieces
    chosen = np.flatnonzero(pieces.is_open) if open_only else np.arange(len(pieces))
    one, two = pieces.from_node[chosen], pieces.to_node[chosen]
    node, other = np.stack([one, two], axis=1).ravel(), np.stack([two, one], axis=1).ravel()
    piece = np.repeat(chosen, 2)
    # One column an entry: the library's counting sort then keeps the order of the pieces at each node.
    table = coo_array(
        (np.ones(len(node), np.int8), (node, np.arange(len(node)))), shape=(len(network.nodes), len(node))
    ).tocsr()
    start, order = table.indptr, table.indices
    return Adjacency(start.astype(np.int64), other[order], piece[order].astype(np.int32))


def components(network: Network, carries: Flags | None = None) -> NDArray[np.int32]:
    """Return the number of the connected part of each node.

    Parameters
    ----------
    carries : bool array, optional
        Which pieces carry gas; the open ones by default.
    """
    if carries is None:
        if network.pieces not in _PARTS:
            part = _components(network, network.pieces.is_open)
            part.flags.writeable = False
            _PARTS[network.pieces] = part
        return _PARTS[network.pieces]
    return _components(network, carries)


def take_kept(network: Network, part: NDArray[np.int32], near: Adjacency) -> None:
    """Take parts and neighbours over the open pieces that were worked out before for the same network.

    Parameters
    ----------
    part : int32 array, shape (nodes,)
        As `components` returned it.
    near : Adjacency
        As `adjacency` returned it.
    """
    part.flags.writeable = False
    _PARTS[network.pieces] = part
    _NEAR[network.pieces] = near


def _components(network: Network, keep: Flags) -> NDArray[np.int32]:
    pieces = network.pieces
    return component_labels(len(network.nodes), pieces.from_node[keep], pieces.to_node[keep])[0]


def components_without(network: Network, closed: NDArray[Any]) -> NDArray[np.int32]:
    """Return the number of the connected part of each node once some pieces are closed.

    Parameters
    ----------
    closed : int array
        Rows of pieces.

    Returns
    -------
    int32 array, shape (nodes,)
        As `components` with fewer pieces: equal within a part, numbered anew where something was parted off.

    Notes
    -----
    Walks outward from both ends of the closed pieces, always from the side that has come least far, until but
    one side of a part is unfinished: the cost is that of what is parted off, not of the network.
    """
    part = components(network)
    pieces = network.pieces
    rows = np.unique(closed)
    rows = rows[pieces.is_open[rows]]
    ends = np.unique(np.concatenate([pieces.from_node[rows], pieces.to_node[rows]]))
    sides = _Sides(adjacency(network), part, set(rows.tolist()), ends.tolist())
    if not sides.walk(_FARTHEST):
        carries = pieces.is_open.copy()
        carries[rows] = False
        return components(network, carries)
    result = part.copy()
    for number, nodes in enumerate(sorted(sides.parted_off(), key=min), start=int(part.max(initial=-1)) + 1):
        result[nodes] = number
    return result


class _Sides:
    """Searches that start beside closed pieces and become one where they meet."""

    def __init__(self, near: Adjacency, part: NDArray[np.int32], closed: set[int], starts: list[int]) -> None:
        self._near, self._closed = near, closed
        self._side = {node: number for number, node in enumerate(starts)}
        self._of = list(range(len(starts)))
        self._nodes = [[node] for node in starts]
        self._open = [deque([node]) for node in starts]
        self._part = [int(part[node]) for node in starts]
        self._seen = len(starts)

    def walk(self, most: int) -> bool:
        """Go on until each part has one unfinished side at most; False after so many nodes."""
        unfinished = Counter(self._part)
        queue = [(1, number) for number in range(len(self._part))]
        while queue:
            size, number = heappop(queue)
            if self._of[number] != number or size != len(self._nodes[number]):
                continue  # merged or grown since
            of_part = self._part[number]
            if unfinished[of_part] <= 1:
                continue
            if not self._open[number]:
                unfinished[of_part] -= 1
                continue
            if self._seen > most:
                return False
            number, merged = self._step(number)
            unfinished[of_part] -= merged
            heappush(queue, (len(self._nodes[number]), number))
        return True

    def parted_off(self) -> list[list[int]]:
        """Return the nodes of every side that is finished."""
        roots = (number for number, of in enumerate(self._of) if number == of)
        return [self._nodes[number] for number in roots if not self._open[number]]

    def _step(self, number: int) -> tuple[int, int]:
        """Look round one node of a side; return the side it is then, and how many others it took in."""
        side, merged = self._side, 0
        for node, piece in self._near.pairs(self._open[number].popleft()):
            if piece in self._closed:
                continue
            known = side.get(node)
            if known is None:
                side[node] = number
                self._nodes[number].append(node)
                self._open[number].append(node)
                self._seen += 1
                continue
            other = known if self._of[known] == known else self._root(known)
            if other != number:
                number, merged = self._merge(number, other), merged + 1
        return number, merged

    def _root(self, number: int) -> int:
        while self._of[number] != number:
            self._of[number] = self._of[self._of[number]]
            number = self._of[number]
        return number

    def _merge(self, one: int, other: int) -> int:
        if len(self._nodes[one]) < len(self._nodes[other]):
            one, other = other, one
        self._of[other] = one
        self._nodes[one] += self._nodes[other]
        self._open[one] += self._open[other]
        self._nodes[other], self._open[other] = [], deque()
        return one


def station_nodes(network: Network, *, injections: bool = False) -> Ints32:
    """Return the nodes of placed stations, of injections if wanted, and where a boundary is fed.

    What lies behind a closed valve and was not read counts as fed.
    """
    node = network.stations.node
    if injections:
        node = np.concatenate([node, network.injections.node])
    if network.beyond is not None:
        node = np.concatenate([node, network.beyond.node])
    if network.unread is not None:
        node = np.concatenate([node, network.unread.far_nodes()])
    return np.unique(node[node >= 0])


def fed_nodes(network: Network, carries: Flags | None = None, *, injections: bool = False) -> Flags:
    """Return for each node whether a regulator station reaches it over the pieces that carry gas."""
    part = components(network, carries)
    fed = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
    fed[part[station_nodes(network, injections=injections)]] = True
    return np.asarray(fed[part])


def neighbourhood(network: Network, nodes: NDArray[Any], length_m: float) -> NDArray[np.int64]:
    """Return the nodes within a length of some nodes along the pipes, sorted, those included.

    Closed valves do not end a neighbourhood.

    Parameters
    ----------
    network : Network
    nodes : int array
        Where to start.
    length_m : float
        How far [m].
    """
    pieces = network.pieces
    n = len(network.nodes)
    # A tiny length keeps valves, which have none, in the sparse matrix.
    length = np.maximum(pieces.to_m - pieces.from_m, 1e-9)
    order = np.lexsort([length, pieces.to_node, pieces.from_node])
    pair = np.column_stack([pieces.from_node, pieces.to_node])[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (np.diff(pair, axis=0) != 0).any(axis=1)  # of parallel pieces the shortest
    links = csr_array((length[order][first], (pair[first, 0], pair[first, 1])), shape=(n, n))
    reach = dijkstra(links, directed=False, indices=np.unique(nodes), limit=float(length_m), min_only=True)
    return np.flatnonzero(np.isfinite(reach))


def to_networkx(network: Network, nodes: NDArray[Any] | None = None) -> nx.MultiGraph[int]:
    """Return the pieces between some nodes (all by default) as a networkx graph.

    Nodes carry ``x_m``, ``y_m``, ``height_m``, ``system``, ``stations`` and ``customers`` (ids); edges
    have the piece's row as key and carry ``piece``, ``layer``, ``pipe_id``, ``from_m``, ``to_m``,
    ``length_m``, ``bore_m``, ``is_open`` and, for a valve, ``valve_id``. Meant for neighbourhoods: every
    node and piece becomes a Python object.

    Raises
    ------
    MissingExtraError
        When networkx is not installed.
    """
    require_extra("graph", "A network as a networkx graph")
    import networkx as nx

    chosen = np.zeros(len(network.nodes), dtype=bool)
    chosen[slice(None) if nodes is None else nodes] = True
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    rows = np.flatnonzero(chosen)
    for node in rows.tolist():
        graph.add_node(
            node,
            x_m=float(network.nodes.x_m[node]),
            y_m=float(network.nodes.y_m[node]),
            height_m=float(network.nodes.height_m[node]),
            system=network.systems[int(network.nodes.system[node])],
            stations=[],
            customers=[],
        )
    _hang_on(graph, network, chosen)
    pieces, pipes = network.pieces, network.pipes
    for piece in np.flatnonzero(chosen[pieces.from_node] & chosen[pieces.to_node]).tolist():
        pipe, valve = int(pieces.pipe[piece]), int(pieces.valve[piece])
        graph.add_edge(
            int(pieces.from_node[piece]),
            int(pieces.to_node[piece]),
            key=piece,
            piece=piece,
            layer="mains" if pipe < pipes.n_mains else "services",
            pipe_id=pipes.id[pipe],
            from_m=float(pieces.from_m[piece]),
            to_m=float(pieces.to_m[piece]),
            length_m=float(pieces.to_m[piece] - pieces.from_m[piece]),
            bore_m=float(pipes.bore_m[pipe]),
            is_open=bool(pieces.is_open[piece]),
            **({"valve_id": network.valves.id[valve]} if valve >= 0 else {}),
        )
    return graph


def _hang_on(graph: nx.MultiGraph[int], network: Network, chosen: Flags) -> None:
    stations, customers = network.stations, network.customers
    for row in np.flatnonzero(stations.node >= 0).tolist():
        if chosen[stations.node[row]]:
            graph.nodes[int(stations.node[row])]["stations"].append(stations.id[row])
    who = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    for place in np.flatnonzero(chosen[customers.attach_node]).tolist():
        graph.nodes[int(customers.attach_node[place])]["customers"].append(customers.id[int(who[place])])

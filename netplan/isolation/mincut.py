"""Minimum cuts with whole-number capacities, safe against the 32-bit numbers of the flow routine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import networkx as nx
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

__all__ = ["INFINITE", "Arcs", "least_cut"]

INFINITE: Final = 1 << 52
"""Capacity of an arc that no cut may hold [minor units]."""

CLIP: Final = (1 << 30) - 1
"""Capacities are clipped here: a cut below this value holds no clipped arc, so it is the true one."""


@dataclass(frozen=True, slots=True, eq=False)
class Arcs:
    """A directed graph with merged arcs, both directions present, rows sorted.

    Node 0 is the source and node 1 the sink; every other node has an arc from the source and one to the sink.

    Parameters
    ----------
    n : int
        Nodes.
    indptr, indices : int32 arrays
        Compressed rows.
    capacity : int64 array
        Capacities [minor units], at most `INFINITE`.
    from_source, to_sink : int64 arrays, shape (n,)
        Positions of those arcs; -1 for nodes 0 and 1.
    """

    n: int
    indptr: NDArray[np.int32]
    indices: NDArray[np.int32]
    capacity: NDArray[np.int64]
    from_source: NDArray[np.int64]
    to_sink: NDArray[np.int64]

    @classmethod
    def build(
        cls, n: int, tail: NDArray[np.int64], head: NDArray[np.int64], capacity: NDArray[np.int64]
    ) -> Arcs:
        """Merge parallel arcs, summing capacities without wrapping, and add what is missing."""
        inner = np.arange(2, n, dtype=np.int64)
        zero = np.zeros_like(inner)
        tails = np.concatenate([tail, head, zero, inner, inner, zero + 1])
        heads = np.concatenate([head, tail, inner, zero, zero + 1, inner])
        values = np.concatenate([capacity, np.zeros(len(tail) + 4 * len(inner), dtype=np.int64)])
        key, inverse = np.unique(tails * n + heads, return_inverse=True)
        merged = np.zeros(len(key), dtype=np.int64)
        # Infinite arcs are summed as such and cut back, so a few parallel ones cannot wrap either.
        np.add.at(merged, inverse, np.minimum(values, INFINITE))
        merged = np.minimum(merged, INFINITE)
        rows = key // n
        indptr = np.searchsorted(rows, np.arange(n + 1)).astype(np.int32)
        from_source = np.full(n, -1, dtype=np.int64)
        to_sink = np.full(n, -1, dtype=np.int64)
        from_source[2:] = np.searchsorted(key, inner)
        to_sink[2:] = np.searchsorted(key, inner * n + 1)
        return cls(n, indptr, (key % n).astype(np.int32), merged, from_source, to_sink)


def least_cut(
    arcs: Arcs, inside: NDArray[np.int64], outside: NDArray[np.int64]
) -> tuple[int, NDArray[np.bool_]] | None:
    """Return the least cut and its smallest source side, with some nodes held on either side.

    Parameters
    ----------
    inside, outside : int arrays
        Nodes that must be on the source's and on the sink's side.

    Returns
    -------
    (int, bool array) or None
        Value [minor units] and the source side; None where no finite cut exists.
    """
    capacity = arcs.capacity.copy()
    capacity[arcs.from_source[inside]] = INFINITE
    capacity[arcs.to_sink[outside]] = INFINITE
    clipped = np.minimum(capacity, CLIP).astype(np.int32)
    graph = csr_array((clipped, arcs.indices, arcs.indptr), shape=(arcs.n, arcs.n))
    result = maximum_flow(graph, 0, 1)
    flow = result.flow
    if flow.nnz != len(clipped):
        raise AssertionError("the flow routine changed the pattern of arcs")
    value = int(flow.data[flow.indptr[0] : flow.indptr[1]].astype(np.int64).sum())
    if value >= CLIP:
        return _wide_cut(arcs, capacity)
    return value, _reached(arcs, clipped > flow.data)


def _reached(arcs: Arcs, open_arc: NDArray[np.bool_]) -> NDArray[np.bool_]:
    count = np.concatenate([[0], np.cumsum(open_arc)]).astype(np.int32)
    indices = arcs.indices[open_arc]
    residual = csr_array(
        (np.ones(len(indices), dtype=np.int8), indices, count[arcs.indptr]), shape=(arcs.n, arcs.n)
    )
    order = breadth_first_order(residual, 0, directed=True, return_predecessors=False)
    side = np.zeros(arcs.n, dtype=np.bool_)
    side[order] = True
    return side


def _wide_cut(arcs: Arcs, capacity: NDArray[np.int64]) -> tuple[int, NDArray[np.bool_]] | None:
    """Return the least cut by whole numbers of any size: rare, and slower."""
    if _reached(arcs, capacity >= INFINITE)[1]:
        return None
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(arcs.n))
    tails = np.repeat(np.arange(arcs.n), np.diff(arcs.indptr)).tolist()
    for tail, head, value in zip(tails, arcs.indices.tolist(), capacity.tolist(), strict=True):
        if value >= INFINITE:
            graph.add_edge(tail, head)
        elif value:
            graph.add_edge(tail, head, capacity=value)
    residual = nx.algorithms.flow.preflow_push(graph, 0, 1, value_only=False)
    value = int(residual.graph["flow_value"])
    side = np.zeros(arcs.n, dtype=np.bool_)
    frontier, side[0] = [0], True
    while frontier:
        node = frontier.pop()
        for head, arc in residual[node].items():
            if not side[head] and arc["capacity"] > arc["flow"]:
                side[head] = True
                frontier.append(head)
    return value, side

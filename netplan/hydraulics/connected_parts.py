"""Connected parts of the network once some of its links are closed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import csr_array

from netplan.core.arrays import Flags, Ints
from netplan.graph.connected_components import component_labels, matrix_component_labels
from netplan.hydraulics.prepared_network import Layout

__all__ = ["ConnectedParts", "find_parts"]


@dataclass(frozen=True, slots=True, eq=False)
class ConnectedParts:
    """Which part each joined node belongs to, and what is cut.

    Parameters
    ----------
    label : ndarray of int, shape (size,)
        Part of each joined node.
    count : int
        Number of parts.
    closed_segment : ndarray of int
        Closed segments, ascending.
    closed_chain : ndarray of bool, shape (k,)
        Chains with a closed segment.
    at_junctions : int
        Number of parts that have a junction.
    """

    label: Ints
    count: int
    closed_segment: Ints
    closed_chain: Flags
    at_junctions: int


def find_parts(layout: Layout, closed: Ints, whole: ConnectedParts | None = None) -> ConnectedParts:
    """Label the parts of a layout.

    Parameters
    ----------
    layout : Layout
        The network with all its links.
    closed : ndarray of int
        Positions in `layout.live` of links that are closed now.
    whole : ConnectedParts, optional
        The parts with nothing closed; where closing parts nothing, its labels are taken over.
    """
    if whole is not None and not closed.size:
        return whole
    chains, branches = layout.chains, layout.branches
    is_closed = np.zeros(layout.live.size, dtype=bool)
    is_closed[closed] = True
    closed_segment = np.flatnonzero(is_closed[chains.link]) if closed.size else np.zeros(0, np.int64)
    closed_chain = np.zeros(chains.count, dtype=bool)
    closed_chain[chains.chain_of[closed_segment]] = True

    found, numbers = 0, np.zeros(0, dtype=np.int32)
    if chains.junction.size:
        numbers, found = matrix_component_labels(_joined(layout, closed_chain))
    at_junction = np.asarray(numbers, dtype=np.int64)
    parts_inner_nodes = closed_segment.size != int(closed_chain.sum()) or closed_segment.size != closed.size
    if whole is not None and not parts_inner_nodes and found == whole.at_junctions:
        return ConnectedParts(whole.label, whole.count, closed_segment, closed_chain, whole.at_junctions)
    label = np.full(layout.size, -1, dtype=np.int64)
    label[chains.node] = at_junction[chains.start][chains.chain_of]
    label[chains.junction] = at_junction
    count = _label_pieces(layout, closed_segment, at_junction, label, int(found))
    count = _label_rings(layout, label, count, is_closed)
    label = label[branches.root]
    if closed.size:
        count = _label_cut_branches(layout, is_closed, label, count)
    return ConnectedParts(label, count, closed_segment, closed_chain, int(found))


def _joined(layout: Layout, closed_chain: Flags) -> csr_array:
    """Return which junctions are joined by chains that carry gas through, each pair once."""
    pattern = layout.pattern
    carries = np.where(closed_chain[pattern.across], 0.0, 1.0)
    data = np.bincount(pattern.entry, weights=carries, minlength=pattern.upper.nnz)
    # Columns of the upper triangle read as rows: the same pairs.
    graph = csr_array(
        (data, pattern.upper.indices.copy(), pattern.upper.indptr.copy()), shape=pattern.upper.shape
    )
    graph.eliminate_zeros()
    return graph


def _label_pieces(layout: Layout, closed_segment: Ints, at_junction: Ints, label: Ints, count: int) -> int:
    # Nodes of a closed chain hang on its start, on its end, or on nothing.
    chains = layout.chains
    for chain in np.unique(chains.chain_of[closed_segment]):
        low, high = int(chains.first[chain]), int(chains.first[chain + 1])
        cuts = closed_segment[(closed_segment >= low) & (closed_segment < high)]
        for left, right in pairwise(cuts):
            label[chains.node[left:right]] = count
            count += 1
        label[chains.node[cuts[-1] : high - 1]] = at_junction[chains.end[chain]]
    return count


def _label_rings(layout: Layout, label: Ints, count: int, is_closed: Flags) -> int:
    # Rings without any junction: no chain reaches them.
    core = layout.branches.root == np.arange(layout.size)
    unlabelled = core & (label < 0)
    if not unlabelled.any():
        return count
    keep = unlabelled[layout.from_node] & unlabelled[layout.to_node] & ~is_closed
    ring, _ = component_labels(layout.size, layout.from_node[keep], layout.to_node[keep])
    _, number = np.unique(ring[unlabelled], return_inverse=True)
    label[unlabelled] = count + number
    return count + int(number.max()) + 1


def _label_cut_branches(layout: Layout, is_closed: Flags, label: Ints, count: int) -> int:
    branches = layout.branches
    cut = is_closed[branches.link]
    if not cut.any():
        return count
    own = np.full(layout.size, -1, dtype=np.int64)
    head = branches.child[cut]
    own[head] = count + np.arange(head.size)
    for low, high in zip(branches.rounds[-2::-1], branches.rounds[:0:-1], strict=True):
        child, parent = branches.child[low:high], branches.parent[low:high]
        fresh = own[child] < 0
        own[child[fresh]] = own[parent[fresh]]
    label[own >= 0] = own[own >= 0]
    return count + int(head.size)

"""Who loses gas when a main is out at its two ends: every main of a network in one pass.

Every main becomes a hub joined to all nodes it passes, so that taking the main out is taking one vertex out
of a graph whose root is all supplies together. Trees are peeled from their leaves; on the meshed core that is
left a depth-first walk tells which hubs stand between the root and what hangs behind them (low points:
Hopcroft and Tarjan, Communications of the ACM 16, 1973, pages 372 to 378; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Ints
from netplan.graph.dominators import DominatorTree, dominator_tree
from netplan.network.model import Network
from netplan.network.topology import fed_nodes, station_nodes

__all__ = ["EndLoss", "SupplyTree", "has_priority", "lost_at_ends"]


@dataclass(frozen=True, slots=True, eq=False)
class SupplyTree:
    """What stands between each node and all supplies.

    Parameters
    ----------
    dominators : DominatorTree
        Over the network's nodes, then the hubs of mains, then the root.
    hub_main : int array
        Main of each hub.
    n_nodes : int
        Vertices below this are nodes.
    fed : bool array, shape (nodes,)
        Nodes that a supply reaches.
    """

    dominators: DominatorTree
    hub_main: Ints
    n_nodes: int
    fed: Flags

    def mains_before(self, node: int) -> dict[int, int]:
        """Return the mains without which no supply reaches a node, nearest first, and the vertex behind each.

        The vertex is the top of what is parted together with the node.
        """
        found: dict[int, int] = {}
        before, top = self.dominators.immediate, self.dominators.top
        at = node
        while (above := int(before[at])) >= 0:
            hub = above - self.n_nodes
            if hub >= 0:
                found.setdefault(int(self.hub_main[hub]), int(top[at]))
            at = above
        return found


@dataclass(frozen=True, slots=True, eq=False)
class EndLoss:
    """What each main takes with it when it is out at its two ends; rows are those of the mains.

    Parameters
    ----------
    customers, meters, priority : int64 arrays
        Customers, their meters, and priority customers that no station and no injection reaches any more,
        although one does before. A customer with several attachments counts when none of them is fed.
    tree : SupplyTree
    """

    customers: Ints
    meters: Ints
    priority: Ints
    tree: SupplyTree


def has_priority(network: Network) -> Flags:
    """Return which customers have a priority."""
    return np.array(pc.not_equal(network.customers.priority.arrow, ""), dtype=bool)


def lost_at_ends(network: Network) -> EndLoss:
    """Return who is lost when each main is cut at its two ends, with nothing else touched.

    Taken out is the whole main, every tee on it with it: what is teed off it loses that way in. Closed valves
    stay closed.
    """
    customers, n_mains = network.customers, network.pipes.n_mains
    fed = fed_nodes(network, injections=True)
    figures = np.stack([np.ones(len(customers)), customers.meters, has_priority(network)], axis=1)
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    width = max(len(network.nodes), 1)
    pairs = np.stack(np.divmod(_distinct(owner * width + customers.attach_node), width), axis=1)
    pairs = pairs[fed[pairs[:, 1]]]
    ways = np.bincount(pairs[:, 0], minlength=len(customers))
    single = ways[pairs[:, 0]] == 1
    tree = _tree(network, fed, pairs[single], figures)
    lost = _behind_hubs(tree, n_mains)
    _add_several(tree, lost, pairs[~single], figures)
    for main in _split_mains(tree).tolist():
        lost[main] = _one_by_one(network, main, pairs, ways, figures)
    whole = np.rint(lost).astype(np.int64)
    return EndLoss(whole[:, 0], whole[:, 1], whole[:, 2], tree)


def _tree(network: Network, fed: Flags, pairs: Ints, figures: NDArray[np.float64]) -> SupplyTree:
    pieces, n_nodes = network.pieces, len(network.nodes)
    carries = pieces.is_open & fed[pieces.from_node]
    main = np.flatnonzero(carries & (pieces.pipe < network.pipes.n_mains))
    # A closed valve inside a main makes two hubs of it.
    new = np.ones(len(main), dtype=bool)
    new[1:] = (np.diff(pieces.pipe[main]) != 0) | (np.diff(main) != 1)
    hub = np.cumsum(new) - 1
    hub_main = pieces.pipe[main[new]].astype(np.int64)
    root = n_nodes + len(hub_main)
    service = np.flatnonzero(carries & (pieces.pipe >= network.pipes.n_mains))
    supply = station_nodes(network, injections=True).astype(np.int64)
    ends = np.concatenate(
        [
            np.stack([hub + n_nodes, pieces.from_node[main]], axis=1),
            np.stack([hub + n_nodes, pieces.to_node[main]], axis=1),
            np.stack([pieces.from_node[service], pieces.to_node[service]], axis=1),
            np.stack([np.full(len(supply), root), supply], axis=1),
        ]
    ).astype(np.int64)
    low, high = ends.min(axis=1), ends.max(axis=1)
    key = _distinct(low[low != high] * (root + 1) + high[low != high])
    weight = np.zeros((root + 1, figures.shape[1]))
    np.add.at(weight, pairs[:, 1], figures[pairs[:, 0]])
    dominators = dominator_tree(key // (root + 1), key % (root + 1), weight, root)
    return SupplyTree(dominators, hub_main, n_nodes, fed)


def _distinct(values: Ints) -> Ints:
    """Return whole numbers from 0 up, ascending, each once; np.unique takes ten times as long for a city."""
    values = np.sort(values)
    is_new: Flags = np.diff(values, prepend=-1) != 0
    return values[is_new]


def _behind_hubs(tree: SupplyTree, n_mains: int) -> NDArray[np.float64]:
    dominators = tree.dominators
    tops = np.flatnonzero(
        (dominators.top == np.arange(len(dominators.top))) & (dominators.immediate >= tree.n_nodes)
    )
    lost = np.zeros((n_mains, dominators.weight.shape[1]))
    np.add.at(lost, tree.hub_main[dominators.immediate[tops] - tree.n_nodes], dominators.weight[tops])
    return lost


def _add_several(
    tree: SupplyTree, lost: NDArray[np.float64], pairs: Ints, figures: NDArray[np.float64]
) -> None:
    """Add the customers with several attachments: lost with the mains that stand before all of them."""
    if not len(pairs):
        return
    for rows in np.split(pairs, np.flatnonzero(np.diff(pairs[:, 0])) + 1):
        common = set(tree.mains_before(int(rows[0, 1])))
        for node in rows[1:, 1].tolist():
            common &= tree.mains_before(node).keys()
        for main in common:
            lost[main] += figures[rows[0, 0]]


def _split_mains(tree: SupplyTree) -> Ints:
    """Return the mains that a closed valve divides: taking them out takes out several hubs at once."""
    values, counts = np.unique(tree.hub_main, return_counts=True)
    divided: Ints = values[counts > 1]
    return divided


def _one_by_one(
    network: Network, main: int, pairs: Ints, ways: Ints, figures: NDArray[np.float64]
) -> NDArray[np.float64]:
    after = fed_nodes(network, network.pieces.is_open & (network.pieces.pipe != main), injections=True)
    still = np.bincount(pairs[:, 0], weights=after[pairs[:, 1]], minlength=len(ways)) > 0
    total: NDArray[np.float64] = figures[(ways > 0) & ~still].sum(axis=0)
    return total

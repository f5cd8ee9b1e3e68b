"""Where one more link helps: short gaps between mains of one system, by customers no longer lost.

A link between two nodes saves, for each main that stands between one of them and all supplies but not
between the other and the supplies, just the part that is parted together with the first. So every gap is
counted exactly, without trying it out. Pressure and capacity are not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from netplan.core.arrays import Ints
from netplan.network.model import Network
from netplan.screening.loss_at_ends import SupplyTree

__all__ = ["NewLink", "best_links", "near_gaps"]

NEAREST: Final = 12
"""Nodes looked at round each node (own) [-]."""
MOST_COUNTED: Final = 2_000
"""Gaps counted, those with the greatest bound first (own) [-]."""


@dataclass(frozen=True, slots=True)
class NewLink:
    """A link that is not there.

    Parameters
    ----------
    saved : int
        Customers no longer lost, summed over all mains out one by one at their ends.
    mains : int
        Mains that would take fewer customers with them.
    gap_m : float
        Straight distance [m].
    from_x_m, from_y_m, to_x_m, to_y_m : float
        Its ends, in the working CRS [m].
    from_main, to_main : str
        Mains at its ends.
    """

    saved: int
    mains: int
    gap_m: float
    from_x_m: float
    from_y_m: float
    to_x_m: float
    to_y_m: float
    from_main: str
    to_main: str


def best_links(network: Network, tree: SupplyTree, reach_m: float, wanted: int = 10) -> tuple[NewLink, ...]:
    """Return the gaps whose closing saves most, the best first, none twice between the same two parts.

    Parameters
    ----------
    network : Network
    tree : SupplyTree
        Result of `loss.lost_at_ends`.
    reach_m : float
        Longest gap [m].
    wanted : int

    Notes
    -----
    Looked at are the nodes of mains nearest to each node that has a main before it. Gaps between nodes of one
    main are left out, and those that help mostly the mains that a better one helps too.
    """
    pairs, gap = _near_pairs(network, tree, reach_m)
    if not len(pairs):
        return ()
    total = _summed(tree)
    bound = total[pairs[:, 0]] + total[pairs[:, 1]]
    order = np.lexsort([pairs[:, 1], pairs[:, 0], gap, -bound])[:MOST_COUNTED]
    chains: dict[int, dict[int, int]] = {}
    found: list[tuple[int, float, int, int, frozenset[int]]] = []
    for at in order.tolist():
        a, b = pairs[at].tolist()
        saved, mains = _saving(tree, a, b, chains)
        if saved > 0 and not _mains_at(network, a) & _mains_at(network, b):
            found.append((saved, float(gap[at]), a, b, mains))
    chosen: list[tuple[int, float, int, int, frozenset[int]]] = []
    for one in sorted(found, key=lambda one: (-one[0], *one[1:4])):
        if len(chosen) == wanted:
            break
        # Beside one that helps half the same mains it would help little more.
        if all(2 * len(one[4] & other[4]) < len(one[4]) for other in chosen):
            chosen.append(one)
    return tuple(_link(network, *one) for one in chosen)


def near_gaps(network: Network, tree: SupplyTree, reach_m: float) -> tuple[Ints, NDArray[np.float64]]:
    """Return all gaps that a link may close, and how wide they are.

    Parameters
    ----------
    network : Network
    tree : SupplyTree
    reach_m : float
        Longest gap [m].

    Returns
    -------
    int array, shape (gaps, 2)
        Nodes at both ends, of one system, one of which hangs on a main at least. Both may hang on the same:
        a work in its middle parts them. None at a valve, where it would lie on either side.
    float array, shape (gaps,)
        Straight distances [m].
    """
    pairs, gap = _near_pairs(network, tree, reach_m, same_before=True)
    pieces = network.pieces
    at_valve = np.zeros(len(network.nodes), dtype=np.bool_)
    for ends in (pieces.from_node, pieces.to_node):
        at_valve[ends[pieces.valve >= 0]] = True
    clear = ~at_valve[pairs].any(axis=1)
    return pairs[clear], gap[clear]


def _near_pairs(
    network: Network, tree: SupplyTree, reach_m: float, *, same_before: bool = False
) -> tuple[Ints, NDArray[np.float64]]:
    pieces = network.pieces
    on_main = pieces.pipe < network.pipes.n_mains
    nodes = np.unique(np.concatenate([pieces.from_node[on_main], pieces.to_node[on_main]])).astype(np.int64)
    nodes = nodes[tree.fed[nodes]]
    hangs = nodes[tree.dominators.immediate[nodes] >= 0]
    if not len(hangs) or len(nodes) < 2:
        return np.zeros((0, 2), np.int64), np.zeros(0)
    xy = np.stack([network.nodes.x_m, network.nodes.y_m], axis=1) / network.scale
    count = min(NEAREST + 1, len(nodes))
    search: Any = cKDTree(xy[nodes])
    gap, place = search.query(xy[hangs], k=count, distance_upper_bound=reach_m)
    near = np.isfinite(gap)
    a = np.repeat(hangs, count).reshape(near.shape)[near]
    b, gap = nodes[place[near]], gap[near]
    fit = (a != b) & (network.nodes.system[a] == network.nodes.system[b])
    if not same_before:
        # What has the same vertex before it gains nothing where whole mains are out.
        fit &= tree.dominators.immediate[a] != tree.dominators.immediate[b]
    low, high = np.minimum(a, b)[fit], np.maximum(a, b)[fit]
    pairs, first = np.unique(np.stack([low, high], axis=1), axis=0, return_index=True)
    return pairs, gap[fit][first]


def _summed(tree: SupplyTree) -> NDArray[np.float64]:
    """Return for each vertex the customers parted with it, summed over all mains before it: doubling."""
    dominators = tree.dominators
    before, weight = dominators.immediate, dominators.weight[:, 0]
    is_hub = before >= tree.n_nodes
    total = np.where(is_hub, weight[dominators.top], 0.0)
    up = before.copy()
    while (up >= 0).any():
        over = up >= 0
        total = total + np.where(over, total[np.maximum(up, 0)], 0.0)
        up = np.where(over, up[np.maximum(up, 0)], -1)
    return total


def _saving(
    tree: SupplyTree, a: int, b: int, chains: dict[int, dict[int, int]]
) -> tuple[int, frozenset[int]]:
    for node in (a, b):
        if node not in chains:
            chains[node] = tree.mains_before(node)
    of_a, of_b = chains[a], chains[b]
    saved, mains = 0.0, set()
    for mine, other in ((of_a, of_b), (of_b, of_a)):
        for main, top in mine.items():
            if main not in other:
                weight = float(tree.dominators.weight[top, 0])
                saved += weight
                if weight:
                    mains.add(main)
    return round(saved), frozenset(mains)


def _link(network: Network, saved: int, gap_m: float, a: int, b: int, mains: frozenset[int]) -> NewLink:
    x, y = network.nodes.x_m, network.nodes.y_m
    names = [network.pipes.id[min(_mains_at(network, node))] for node in (a, b)]
    return NewLink(
        saved, len(mains), round(gap_m, 2), float(x[a]), float(y[a]), float(x[b]), float(y[b]), *names
    )


def _mains_at(network: Network, node: int) -> frozenset[int]:
    pieces = network.pieces
    at = (pieces.from_node == node) | (pieces.to_node == node)
    at &= pieces.pipe < network.pipes.n_mains
    return frozenset(pieces.pipe[at].tolist())

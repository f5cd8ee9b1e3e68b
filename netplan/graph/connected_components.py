"""Connected components: of a graph given by the ends of its edges, and of a few items joined one by one."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

__all__ = ["DisjointSets", "component_labels", "matrix_component_labels"]


def component_labels(n: int, a: NDArray[Any], b: NDArray[Any]) -> tuple[NDArray[np.int32], int]:
    """Return the component of each node, and how many there are.

    Parameters
    ----------
    n : int
        Number of nodes.
    a, b : int arrays, shape (m,)
        Nodes at the two ends of each edge; an edge may come several times, or back to its own node.

    Returns
    -------
    label : int32 array, shape (n,)
        From 0, in the order of the lowest node of each.
    count : int
    """
    return matrix_component_labels(coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n)))


def matrix_component_labels(adjacency: Any) -> tuple[NDArray[np.int32], int]:
    """Return the same of a sparse square matrix whose entries are the edges, either way round."""
    count, label = connected_components(adjacency, directed=False)
    return np.asarray(label, dtype=np.int32), int(count)


class DisjointSets:
    """Few items of any kind, joined one pair after the other: cheaper there than arrays (union-find)."""

    def __init__(self) -> None:
        self._parent: dict[object, object] = {}

    def items(self) -> list[object]:
        """Return all items met so far, in the order they were met."""
        return list(self._parent)

    def root(self, item: object) -> object:
        """Return the item that stands for the set of an item; one not met before is a set of its own."""
        parent = self._parent
        parent.setdefault(item, item)
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    def join(self, a: object, b: object) -> None:
        """Make one set of those of two items."""
        self._parent[self.root(a)] = self.root(b)

"""Connected components of a graph given by the ends of its edges."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

__all__ = ["component_labels", "matrix_component_labels"]


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

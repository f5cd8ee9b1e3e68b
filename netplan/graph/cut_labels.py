"""Whether a set of edges parts a graph in two and no more, told by cycle-space labels without any search."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.graph.spanning_forest import spanning_forest

__all__ = ["CutLabels", "cut_labels"]


class CutLabels:
    """Cycle-space labels of edges, see `spanning_forest`.

    Parameters
    ----------
    labels : int array
        Label of each edge; those left out of the graph may have any.
    """

    def __init__(self, labels: NDArray[np.int64]) -> None:
        self._labels = labels

    def is_single_bond(self, edges: Iterable[int]) -> bool:
        """Whether taking out these edges leaves exactly one component more than before.

        Parameters
        ----------
        edges : iterable of int
            An edge may come twice: it is cut in two places then. One that comes back to its own node counts
            as one component more.
        """
        independent: list[int] = []
        surplus = 0
        for edge in edges:
            label = self._labels.item(edge)
            for other in independent:
                label = min(label, label ^ other)
            if label:
                independent.append(label)
            else:
                surplus += 1
        return surplus == 1


def cut_labels(n: int, a: NDArray[Any], b: NDArray[Any], among: NDArray[Any]) -> CutLabels:
    """Return the labels of the edges of a graph of `n` nodes from `a` to `b`; `among` says which it has."""
    rows = np.flatnonzero(among)
    labels = np.zeros(len(a), dtype=np.int64)
    labels[rows] = spanning_forest(n, a[rows], b[rows]).labels
    return CutLabels(labels)

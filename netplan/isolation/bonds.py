"""Whether a set of stops parts the network in two and no more, told by words without any search."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.forest import grow_forest
from netplan.isolation.index import Index

__all__ = ["Bonds", "bonds"]


class Bonds:
    """Words of runs (see `forest`): sets of runs make up cuts where their words add up to nothing.

    Parameters
    ----------
    words : int array
        Word of each run; those left out of the graph may have any.
    """

    def __init__(self, words: NDArray[np.int64]) -> None:
        self._words = words

    def parts_once(self, runs: Iterable[int]) -> bool:
        """Whether taking out these runs leaves exactly one part more than before.

        Parameters
        ----------
        runs : iterable of int
            A run may come twice: it is cut in two places then. One that comes back to its own node counts as
            one part more.
        """
        sums: list[int] = []
        surplus = 0
        for run in runs:
            word = self._words.item(run)
            for other in sums:
                word = min(word, word ^ other)
            if word:
                sums.append(word)
            else:
                surplus += 1
        return surplus == 1


def bonds(index: Index, among: NDArray[Any]) -> Bonds:
    """Return the words of the runs of a network; `among` says by run which of them carry gas."""
    rows = np.flatnonzero(among)
    words = np.zeros(len(index.run_a), dtype=np.int64)
    words[rows] = grow_forest(index.n_super, index.run_a[rows], index.run_b[rows]).words
    return Bonds(words)

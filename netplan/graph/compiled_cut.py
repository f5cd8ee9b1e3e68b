"""Minimum cuts of many questions on one graph in arrays: the search of `augmenting_paths`, compiled.

The compiler comes with the extra `compiled`; where it is not installed, the same text runs interpreted, on
the same arrays, with the same results. Loading it takes longer than a single question does, so it is
imported where the first of many is asked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Any, Final, NamedTuple

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.extras import has_extra
from netplan.graph import augmenting_paths
from netplan.graph.augmenting_paths import (
    AT_UNEXPLORED,
    COUNT,
    DONE,
    LOOKED_AT,
    NONE,
    PLACE,
    STATE_SIZE,
    VALUE,
    Arcs,
    Residual,
    Search,
    begin,
    forget,
    maximise,
)

__all__ = ["CompiledFlow", "Question", "SourceSide"]

_FEW: Final = 256
"""Arcs of a question of its own that the arrays are long enough for from the start (own) [-]."""


class Question(NamedTuple):
    """What one question adds to the graph, or changes in it.

    Parameters
    ----------
    source : int
        Node that the flow starts from.
    end, capacity : int64 arrays
        Arcs of its own, in pairs as in `Arcs`. Their numbers follow those of the graph.
    node : int64 array, shape (n,)
        Nodes that the question sees otherwise than the graph, every one that arcs of its own leave.
    sink : int64 array, shape (n,)
        Their capacity to the sink [minor units].
    start : int64 array, shape (n + 1,)
        Arcs that leave node k stand in `leaving` from ``start[k]`` to ``start[k + 1]``.
    leaving : int64 array
        Arcs of the question, and of the graph where they hold for the question too.
    """

    source: int
    end: Ints
    capacity: Ints
    node: Ints
    sink: Ints
    start: Ints
    leaving: Ints


@dataclass(frozen=True, slots=True, eq=False)
class SourceSide:
    """The smallest source side of a minimum cut.

    Parameters
    ----------
    value : int
        Value of the cut [minor units].
    nodes : list of int
        In the order they are reached, the source first.
    looked_at : int64 array
        All nodes whose arcs were read, in the order they were.
    """

    value: int
    nodes: list[int]
    looked_at: Ints


@lru_cache(maxsize=1)
def _compiled() -> Any:
    """Return `_answer` compiled, or interpreted where the compiler is not installed.

    What is compiled stays on disk where a folder for it can be written.
    """
    if not has_extra("compiled"):
        return _interpreted
    import numba
    from numba.extending import register_jitable

    for part in (
        augmenting_paths.is_full,
        augmenting_paths.serve,
        augmenting_paths.reach_neighbours,
        augmenting_paths.search_outward,
        augmenting_paths.push,
        augmenting_paths.begin,
        augmenting_paths.maximise,
        augmenting_paths.forget,
    ):
        register_jitable(part)
    compiler: Any = numba.njit
    try:
        return compiler(cache=True)(_answer)
    except RuntimeError:
        return compiler(_answer)


def _interpreted(arcs: Any, residual: Any, search: Any, question: Any, count: int) -> int:
    """Answer as `_answer` does, on views of the arrays: Python reads a number from one much faster."""
    return _answer(
        Arcs._make(map(_view, arcs)),
        Residual._make(map(_view, residual)),
        Search._make(map(_view, search)),
        Question(question.source, *map(_view, question[1:])),
        count,
    )


def _view(values: Any) -> Any:
    return memoryview(values)


def _answer(arcs: Any, residual: Any, search: Any, question: Any, count: int) -> int:
    """Put what a question adds into a graph of `count` arcs, ask it, and take it out again."""
    nodes, start, leaving = question.node, question.start, question.leaving
    first, sink = np.empty(len(nodes), np.int64), np.empty(len(nodes), np.int64)
    following = np.empty(len(leaving), np.int64)
    for arc in range(len(question.end)):
        arcs.end[count + arc], arcs.capacity[count + arc] = question.end[arc], question.capacity[arc]
    for row in range(len(nodes)):
        node = nodes[row]
        first[row], sink[row] = arcs.first[node], arcs.sink[node]
        arcs.first[node], arcs.sink[node] = NONE, question.sink[row]
        for place in range(start[row + 1] - 1, start[row] - 1, -1):
            arc = leaving[place]
            following[place] = arcs.following[arc]
            arcs.following[arc] = arcs.first[node]
            arcs.first[node] = arc
    search.queue[0] = question.source
    begin(search, 1, 0)
    ended = maximise(arcs, residual, search, None)
    forget(arcs, residual, search)
    for row in range(len(nodes)):
        arcs.first[nodes[row]], arcs.sink[nodes[row]] = first[row], sink[row]
    for place in range(len(leaving)):
        arcs.following[leaving[place]] = following[place]
    return ended


class CompiledFlow:
    """Minimum cuts of one question after the other, also where several threads ask.

    Parameters
    ----------
    first, following, end, capacity, sink : int64 arrays
        As in `augmenting_paths.Arcs`.

    Attributes
    ----------
    arcs : Arcs
        The graph; what is written there while a node is explored holds for all questions.
    count : int
        Arcs of the graph.
    """

    def __init__(self, first: Ints, following: Ints, end: Ints, capacity: Ints, sink: Ints) -> None:
        self.count = len(end)
        self.arcs: Any = Arcs(*(_any(values) for values in (first, following, end, capacity, sink)))
        self._residual: Any = Residual(_any(np.full(len(end), NONE)), _any(np.full(len(first), NONE)))
        self._lengthen(_FEW)
        spaces = [_any(np.zeros(len(first), dtype=np.int64)) for _ in Search._fields[:-1]]
        self._search: Any = Search._make([*spaces, _any(np.zeros(STATE_SIZE, dtype=np.int64))])
        self._one_at_a_time = Lock()

    def least_cut(self, question: Question, explore: Callable[[int], bool]) -> SourceSide | None:
        """Return the least cut round the source of a question.

        Parameters
        ----------
        question : Question
        explore : callable
            Completes a node of the graph, its capacity to the sink among it; returns whether it could.

        Returns
        -------
        SourceSide or None
            None where no finite cut exists, or a node could not be completed.
        """
        answer, search = _compiled(), self._search
        state = search.state
        with self._one_at_a_time:
            if self.count + len(question.end) > len(self.arcs.end):
                self._lengthen(2 * len(question.end))
            while (ended := answer(self.arcs, self._residual, search, question, self.count)) == AT_UNEXPLORED:
                if not explore(search.queue.item(state[PLACE])):
                    return None
            if ended != DONE:
                return None
            looked_at = search.looked_at[: state[LOOKED_AT]].copy()
            return SourceSide(state.item(VALUE), search.queue[: state[COUNT]].tolist(), looked_at)

    def _lengthen(self, more: int) -> None:
        """Make the arrays long enough for as many arcs of questions."""
        size = self.count + more

        def longer(values: Ints) -> Ints:
            found = np.full(size, NONE, dtype=np.int64)
            found[: self.count] = values[: self.count]
            return found

        arcs = self.arcs
        self.arcs = arcs._replace(
            following=longer(arcs.following), end=longer(arcs.end), capacity=longer(arcs.capacity)
        )
        self._residual = self._residual._replace(arc=longer(self._residual.arc))


def _any(values: Ints) -> Any:
    """Return an array where the search asks for a sequence that both lists and arrays are."""
    return values

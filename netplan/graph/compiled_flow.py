"""Minimum cuts of many questions on one graph in arrays: the kernel of `flow_kernel`, compiled.

Loading the compiler takes longer than a single question does, so this is imported only where many are asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from threading import Lock
from typing import Any, Final, NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from netplan.graph import flow_kernel
from netplan.graph.flow_kernel import (
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
)

__all__ = ["CompiledFlow", "Question", "SourceSide"]

_FEW: Final = 256
"""Arcs of a question of its own that room is kept for from the start (own) [-]."""

Longs = NDArray[np.int64]


class NodeArcs(NamedTuple):
    """A node as a question sees it, in place of what the graph says.

    Parameters
    ----------
    node : int
    sink : int
        Its capacity to the sink [minor units].
    own : list of int
        Arcs of the question that leave it, by row of `Question.end`.
    kept : list of int
        Arcs of the graph that leave it for the question too.
    """

    node: int
    sink: int
    own: list[int]
    kept: list[int]


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What one question adds to the graph, or changes in it.

    Parameters
    ----------
    source : int
        Node that the flow starts from.
    end, capacity : list of int
        Arcs of its own, in pairs as in `Arcs`.
    nodes : tuple of NodeArcs
        Every node that arcs of its own leave.
    """

    source: int
    end: list[int]
    capacity: list[int]
    nodes: tuple[NodeArcs, ...]


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
    looked_at: Longs


class _Kernel(NamedTuple):
    maximise: Any
    forget: Any


@lru_cache(maxsize=1)
def _compiled() -> _Kernel:
    """Return the kernel compiled; it stays on disk where a folder for it can be written."""
    for part in (
        flow_kernel.is_full,
        flow_kernel.serve,
        flow_kernel.reach_neighbours,
        flow_kernel.search_outward,
        flow_kernel.push,
    ):
        register_jitable(part)
    compiler: Any = numba.njit
    try:
        return _Kernel(*map(compiler(cache=True), (flow_kernel.maximise, flow_kernel.forget)))
    except RuntimeError:
        return _Kernel(*map(compiler, (flow_kernel.maximise, flow_kernel.forget)))


class CompiledFlow:
    """Minimum cuts of one question after the other, also where several threads ask.

    Parameters
    ----------
    first, following, end, capacity, sink : int64 arrays
        As in `flow_kernel.Arcs`.

    Attributes
    ----------
    arcs : Arcs
        The graph; what is written there while a node is explored holds for all questions.
    """

    def __init__(self, first: Longs, following: Longs, end: Longs, capacity: Longs, sink: Longs) -> None:
        self._count = len(end)
        self.arcs: Any = Arcs(*(_any(values) for values in (first, following, end, capacity, sink)))
        self._residual: Any = Residual(_any(np.full(len(end), NONE)), _any(np.full(len(first), NONE)))
        self._make_room(_FEW)
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
        kernel, search = _compiled(), self._search
        state = search.state
        with self._one_at_a_time, self._asked(question):
            search.queue[0] = question.source
            begin(search, 1, 0)
            try:
                while (ended := kernel.maximise(self.arcs, self._residual, search)) == AT_UNEXPLORED:
                    if not explore(search.queue.item(state[PLACE])):
                        return None
                if ended != DONE:
                    return None
                looked_at = search.looked_at[: state[LOOKED_AT]].copy()
                return SourceSide(state.item(VALUE), search.queue[: state[COUNT]].tolist(), looked_at)
            finally:
                kernel.forget(self.arcs, self._residual, search)

    @contextmanager
    def _asked(self, question: Question) -> Iterator[None]:
        """Put what a question adds into the graph, and take it out again."""
        arcs, base = self.arcs, self._count
        if base + len(question.end) > len(arcs.end):
            self._make_room(2 * len(question.end))
            arcs = self.arcs
        own = slice(base, base + len(question.end))
        arcs.end[own], arcs.capacity[own] = question.end, question.capacity
        before: list[tuple[NodeArcs, int, int, list[int]]] = []
        for changed in question.nodes:
            node, kept = changed.node, changed.kept
            following = [arcs.following.item(arc) for arc in kept]
            before.append((changed, arcs.first.item(node), arcs.sink.item(node), following))
            leaving = [*(base + arc for arc in changed.own), *kept, NONE]
            arcs.first[node], arcs.sink[node] = leaving[0], changed.sink
            for arc, after in pairwise(leaving):
                arcs.following[arc] = after
        try:
            yield
        finally:
            for changed, first, sink, following in before:
                arcs.first[changed.node], arcs.sink[changed.node] = first, sink
                for arc, after in zip(changed.kept, following, strict=True):
                    arcs.following[arc] = after

    def _make_room(self, more: int) -> None:
        """Keep room for as many arcs of questions."""
        size = self._count + more

        def longer(values: Longs) -> Longs:
            found = np.full(size, NONE, dtype=np.int64)
            found[: self._count] = values[: self._count]
            return found

        arcs = self.arcs
        self.arcs = arcs._replace(
            following=longer(arcs.following), end=longer(arcs.end), capacity=longer(arcs.capacity)
        )
        self._residual = self._residual._replace(arc=longer(self._residual.arc))


def _any(values: Longs) -> Any:
    """Return an array where the kernel asks for a sequence that both lists and arrays are."""
    return values

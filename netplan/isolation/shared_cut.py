"""The least cut of a plain question, read off the table that all questions share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.local_graph import SOURCE, LocalGraph

if TYPE_CHECKING:
    from netplan.graph.compiled_cut import Question, SourceSide
    from netplan.isolation.capacity_table import CapacityTable

__all__ = ["shared_cut"]


def shared_cut(near: LocalGraph) -> SourceSide | None:
    """Return the least zone round the work; None where none is found in this way.

    That is where the graph of the local graph must be asked: for a single question, where orders concern
    single segments, or where customers are attached at several nodes.
    """
    table = near.links.table
    if table is None or not near.is_plain:
        return None
    near.take_near()
    question = _question(near, table)
    return None if question is None else table.flow.least_cut(question, table.read)


def _question(near: LocalGraph, table: CapacityTable) -> Question | None:
    """Return the work, and the supernodes that its own segments and those priced for it lead to."""
    from netplan.graph.compiled_cut import Question

    graph, count = near.graph, table.flow.count
    number = [table.source, *near.supernode[SOURCE + 1 :]]
    sink = [graph.sink[SOURCE]]
    leaving = [count + arc for arc in graph.arcs_from(SOURCE)]
    start = [0, len(leaving)]
    for node, supernode in enumerate(number[SOURCE + 1 :], SOURCE + 1):
        if not table.read(supernode):
            return None
        capacity, kept = table.without(supernode, near.is_taken)
        sink.append(min(capacity + near.paid_at(node), INFINITE))
        leaving += (count + arc for arc in graph.arcs_from(node))
        leaving += kept
        start.append(len(leaving))
    end = [number[node] for node in graph.end]
    arrays = [
        np.array(values, dtype=np.int64) for values in (end, graph.capacity, number, sink, start, leaving)
    ]
    return Question(table.source, *arrays)

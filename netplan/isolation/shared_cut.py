"""The least cut of a plain question, read off the table that all questions share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from netplan.isolation.neighbourhood import SOURCE, Neighbourhood

if TYPE_CHECKING:
    from netplan.graph.compiled_flow import Question, SourceSide
    from netplan.isolation.capacity_table import CapacityTable

__all__ = ["shared_cut"]


def shared_cut(near: Neighbourhood) -> SourceSide | None:
    """Return the least zone round the work; None where none is found in this way.

    That is where the graph of the neighbourhood must be asked: for a single question, where orders concern
    single runs, or where customers are attached at several nodes.
    """
    table = near.links.table
    if table is None or not near.is_plain:
        return None
    near.take_near()
    question = _question(near, table)
    return None if question is None else table.flow.least_cut(question, table.read)


def _question(near: Neighbourhood, table: CapacityTable) -> Question | None:
    """Return the work, and the supernodes that its own runs and those priced for it lead to."""
    from netplan.graph.compiled_flow import NodeArcs, Question

    graph = near.graph
    nodes: list[NodeArcs] = []
    for node, supernode in enumerate(near.supernode):
        own = graph.arcs_from(node)
        if node == SOURCE:
            nodes.append(NodeArcs(table.source, graph.sink[SOURCE], own, []))
        elif table.read(supernode):
            nodes.append(table.changed(supernode, near.is_taken, own, near.paid_at(node)))
        else:
            return None
    end = [table.source if node == SOURCE else near.supernode[node] for node in graph.end]
    return Question(table.source, end, list(graph.capacity), tuple(nodes))

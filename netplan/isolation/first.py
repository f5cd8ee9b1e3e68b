"""The least zone of a plain question, read off what all questions share instead of a graph of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from netplan.isolation.mincut import INFINITE
from netplan.isolation.neighbourhood import SOURCE, Neighbourhood
from netplan.isolation.spots import START, Arc, Own, Spots

if TYPE_CHECKING:
    from netplan.isolation.flood import Zone

__all__ = ["first_zone"]


def first_zone(near: Neighbourhood) -> Zone | None:
    """Return the least zone round the work; None where none is found in this way.

    That is where the graph of the neighbourhood must be asked: for a single question, where orders concern
    single runs, or where customers are attached at several nodes.
    """
    flood = near.links.flood
    if flood is None or not near.is_plain:
        return None
    near.take_near()
    own = _own_spots(near, flood.spots)
    return None if own is None else flood.least_zone(own)


def _own_spots(near: Neighbourhood, spots: Spots) -> Own | None:
    """Return the spots of the work and of the nodes that its own runs and those priced for it lead to."""
    graph = near.graph
    nodes: list[tuple[int, int, int]] = []
    arcs: list[Arc] = []
    for node, supernode in enumerate(near.supernode):
        first = len(arcs)
        # Numbers below zero are those of the neighbourhood's graph: all runs have others.
        for arc in graph.arcs_at[node]:
            end = graph.end[arc]
            other = START if end == SOURCE else near.supernode[end]
            arcs.append([~arc, other, graph.capacity[arc], graph.capacity[arc ^ 1]])
        if node == SOURCE:
            nodes.append((START, graph.outlet[SOURCE], first))
            continue
        if not spots.read(supernode):
            return None
        outlet, onward = spots.without(supernode, near.is_taken)
        arcs += onward
        nodes.append((supernode, min(outlet + near.paid_at(node), INFINITE), first))
    nodes.append((len(nodes), 0, len(arcs)))
    return Own(np.array(nodes, dtype=np.int64), np.array(arcs, dtype=np.int64).reshape(-1, 4))

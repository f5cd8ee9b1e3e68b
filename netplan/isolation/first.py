"""The least zone of a plain question, read off what all questions share instead of a graph of its own."""

from __future__ import annotations

from netplan.isolation.flood import START, Arc, Spot, Zone, least_zone
from netplan.isolation.mincut import INFINITE
from netplan.isolation.neighbourhood import SOURCE, Neighbourhood
from netplan.isolation.spots import NotPlainError

__all__ = ["first_zone"]


def first_zone(near: Neighbourhood) -> Zone | None:
    """Return the least zone round the work; None where none is found in this way.

    That is where the graph of the neighbourhood must be asked: orders concern single runs, or customers are
    attached at several nodes.
    """
    if not near.is_plain:
        return None
    near.take_near()
    try:
        own, spots, work = _own_spots(near), near.links.spots, near.work_places
        return least_zone(own, lambda node: spots.get(node) or spots.at(node, work))
    except NotPlainError:
        return None


def _own_spots(near: Neighbourhood) -> dict[int, Spot]:
    """Return the spots of the work and of the nodes that its own runs and those priced for it lead to."""
    graph, own = near.graph, {}
    for node, supernode in enumerate(near.supernode):
        # Numbers below zero are those of the neighbourhood's graph: all runs have others.
        arcs = [
            (
                ~arc,
                START if graph.end[arc] == SOURCE else near.supernode[graph.end[arc]],
                graph.capacity[arc],
                graph.capacity[arc ^ 1],
            )
            for arc in graph.arcs_at[node]
        ]
        if node == SOURCE:
            own[START] = (graph.outlet[SOURCE], tuple(arcs))
        else:
            own[supernode] = _beside(near, node, arcs)
    return own


def _beside(near: Neighbourhood, node: int, arcs: list[Arc]) -> Spot:
    """Return the spot of a node that some runs of this question lead to: those, and all its others."""
    price, several, links = near.links.at(near.supernode[node])
    if several or any(link[1] == near.supernode[node] for link in links):
        raise NotPlainError
    outlet = price + near.paid_at(node)
    for run, other, at_a, forth, back, pay, _, bridge in links:
        if near.is_taken(run):
            continue
        if bridge is not None:
            (forth, back, pay, _), _, _ = bridge.priced(near.work_places)
        outlet += pay
        arcs.append((2 * run + (not at_a), other, forth, back))
    return min(outlet, INFINITE), tuple(arcs)

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
        return least_zone(_Question(near).spot)
    except NotPlainError:
        return None


class _Question:
    """One work section over the spots of the network."""

    def __init__(self, near: Neighbourhood) -> None:
        self._spots, self._places = near.links.spots, near.work_places
        graph = near.graph
        self._own: dict[int, Spot] = {}
        for node, supernode in enumerate(near.supernode):
            # Numbers below zero are those of the neighbourhood's graph: all runs have others.
            arcs = tuple(
                (
                    ~arc,
                    START if graph.end[arc] == SOURCE else near.supernode[graph.end[arc]],
                    graph.capacity[arc],
                    graph.capacity[arc ^ 1],
                )
                for arc in graph.arcs_at[node]
            )
            if node == SOURCE:
                self._own[START] = (graph.outlet[SOURCE], arcs)
            else:
                self._own[supernode] = self._beside(near, node, arcs)

    def _beside(self, near: Neighbourhood, node: int, arcs: tuple[Arc, ...]) -> Spot:
        """Return the spot of a node that the work's own runs lead to."""
        price, several, links = near.links.at(near.supernode[node])
        if several or any(link[1] == near.supernode[node] for link in links):
            raise NotPlainError
        outlet, found = price + near.paid_at(node), list(arcs)
        for run, other, at_a, forth, back, pay, _, bridge in links:
            if near.is_taken(run):
                continue
            if bridge is not None:
                (forth, back, pay, _), _, _ = bridge.priced(self._places)
            outlet += pay
            found.append((2 * run + (not at_a), other, forth, back))
        return (min(outlet, INFINITE), tuple(found))

    def spot(self, node: int) -> Spot:
        """Return the spot of a supernode, or of `START`."""
        own = self._own.get(node)
        if own is not None:
            return own
        return self._spots.get(node) or self._spots.at(node, self._places)

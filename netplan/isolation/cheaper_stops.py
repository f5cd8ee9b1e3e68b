"""What a cheaper stop on a segment can save at most, for every segment at once: by the flow of a least cut.

The least cut is as dear as the greatest flow. Where the capacity of one edge becomes less, that flow loses
no more than what it carries along that edge beyond the new capacity; so a stop of some price on a segment
saves at most that, wherever on it the stop is (Ford and Fulkerson, Canadian Journal of Mathematics 8, 1956,
pages 399 to 404; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import UNEXPLORED, FlowGraph, MaximumFlow, least_cut
from netplan.isolation.cut_search import CutSearch
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_edges import LocalEdge, arcs_of
from netplan.isolation.segment_geometry import SegmentGeometry

__all__ = ["CheaperStops", "cheaper_stops"]

_LIMIT: Final = 1 << 42
"""Capacity of an arc that no cut may hold, so that what flows there is counted [minor units]."""


@dataclass(frozen=True, slots=True)
class CheaperStops:
    """What cheaper stops can save one work.

    Parameters
    ----------
    least_minor : int
        What the least cut costs, one that breaks a constraint among them [minor units].
    most_minor : dict of int by int
        By segment what a stop at the price asked saves at most [minor units]; segments left out save nothing.
    relief_minor : dict of int by int
        By segment what is saved at most where a stop there strands nobody [minor units].
    near_work : frozenset of int
        Segments of the work, and those that it stands near to: where stops fit there is its own matter.
    beside_work : dict of list of SegmentGeometry by int
        What is left of the segments of the work beside it.
    """

    least_minor: int
    most_minor: dict[int, int]
    relief_minor: dict[int, int]
    near_work: frozenset[int]
    beside_work: dict[int, list[SegmentGeometry]]


def cheaper_stops(search: CutSearch, bound_minor: int, price_minor: Ints) -> CheaperStops:
    """Return what a stop at a price on each segment can save at most, of a search whose first cut was found.

    Parameters
    ----------
    search : CutSearch
    bound_minor : int
        Bound of its first cut that holds every constraint [minor units].
    price_minor : int array, shape (segments,)
        Price of a stop anywhere on each segment, as if there were room [minor units]; gas comes on top.

    Notes
    -----
    Where cheaper cuts than the first were refused, the whole difference may be saved on every segment that
    was read. On others nothing is: the same flows show that no cut through them is cheaper.
    """
    local = search.local
    local.explore_looked_at()
    flow = _flow(local)
    least = flow.value + local.constant_minor
    slack = bound_minor - least
    most: dict[int, int] = {}
    relief: dict[int, int] = {}
    for arc in range(0, len(local.graph.end), 2):
        edge = local.edge_of(arc)
        if edge is not None:
            carried = _carried(local, flow, arc, edge)
            saved = slack + _saved_on(edge, carried, int(price_minor[edge.segment]))
            if saved > 0:
                most[edge.segment] = max(saved, most.get(edge.segment, 0))
            saved = slack + _relieved_on(edge, carried)
            if saved > 0 and (edge.stranded_u or edge.stranded_v):
                relief[edge.segment] = relief.get(edge.segment, 0) + saved
    beside: dict[int, list[SegmentGeometry]] = {segment: [] for segment in local.work.segments}
    for remainder in local.work.remainders:
        beside[remainder.segment].append(remainder.geometry)
    return CheaperStops(least, most, relief, local.priced_for_work, beside)


def _flow(local: LocalGraph) -> MaximumFlow:
    """Return the greatest flow in what was read; nothing flows beyond it."""
    graph, counted = local.graph, FlowGraph()
    for sink in graph.sink:
        counted.add_node(0 if sink == UNEXPLORED else sink)
    for arc in range(0, len(graph.end), 2):
        forward, reverse = (min(graph.capacity[way], _LIMIT) for way in (arc, arc + 1))
        counted.add_edge(graph.end[arc + 1], graph.end[arc], forward, reverse)
    flow = least_cut(counted, (SOURCE,), (), lambda _node: None)
    if flow is None:
        raise AssertionError("a cut was found, and there is none")
    return flow


def _carried(local: LocalGraph, flow: MaximumFlow, arc: int, edge: LocalEdge) -> int:
    """Return what flows along an edge from u to v [minor units]; below 0: the other way."""
    capacity, left = min(local.graph.capacity[arc], _LIMIT), flow.residual.arc[arc]
    carried = 0 if left < 0 else capacity - left
    return carried if local.graph.end[arc] == edge.v else -carried


def _saved_on(edge: LocalEdge, carried: int, price_minor: int) -> int:
    """Return what a stop at a price on an edge saves at most, the zone at either end [minor units]."""
    _, _, pay_u, pay_v = arcs_of(edge.out_u, edge.out_v, edge.gas_minor)
    at_u = carried + pay_u - price_minor - edge.stranded_u
    at_v = pay_v - carried - price_minor - edge.stranded_v
    return max(at_u, at_v, 0)


def _relieved_on(edge: LocalEdge, carried: int) -> int:
    """Return what is saved at most where a stop on an edge strands nobody, at either end [minor units]."""
    _, _, pay_u, pay_v = arcs_of(edge.out_u, edge.out_v, edge.gas_minor)
    at_u = carried + pay_u - edge.out_u + edge.stranded_u if edge.stranded_u else 0
    at_v = pay_v - carried - edge.out_v + edge.stranded_v if edge.stranded_v else 0
    return max(0, at_u, at_v)

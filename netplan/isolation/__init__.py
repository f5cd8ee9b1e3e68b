"""Where to stop a main: positions of stops, the cheapest cuts, and why not elsewhere. Knows no flow.

``cuts(problem, index=None)`` is a `CutSearch`: an iterator of `Cut`, cheapest bound first, worked out
as asked for, with `lower_bound_minor` (nothing still to come is cheaper), `gave_up`, and ``not_nearer(cut)``
(for each stop, why no place nearer to the work was taken, as `Refusal` rows)::

    index = segment_graph(network)                     # of its own module; once for a network
    problem = IsolationProblem(network, section, rules, hours, gas_minor_per_m3,
                               orders=..., feed_bound=..., alternatives=...)
    cut = next(cuts(problem, index))                   # NoPlanError(reasons) when nothing isolates the work
    cut.stops[i]      CutStop: method, kind, barriers, pipe, chainage_m, piece, valve, work_side, live_node,
                      zone_node, tappings, bypass_elsewhere, price_minor, fault_pressure_pa_gauge, chain,
                      reason, provisional, record_joints, beyond
    cut.zones[i]      CutZone: work, nodes, pieces (piece, pipe, from_m, to_m; services included)
    cut.customers, cut.severed, cut.priority_customers, cut.shut_in_stations
    cut.stops_minor + cut.interruption_minor + cut.gas_minor + cut.stranded_minor == cut.bound_minor

All prices are whole minor units (`MINOR_PER_UNIT` in one of the currency), rounded element by element, so a
caller that takes over the first three parts can only ever add to the bound. ``interruption_minor(network,
rules, hours)`` is the price of each customer off for the window. Rows are rows of the network's own tables.

Names are fetched at their first use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from netplan.core.names_on_first_use import names_on_first_use

if TYPE_CHECKING:
    from netplan.isolation.cost_context import interruption_minor
    from netplan.isolation.cut_model import (
        MINOR_PER_UNIT,
        Cut,
        CutStop,
        CutTapping,
        CutZone,
        FeedBound,
        IsolationProblem,
        Orders,
        PendantComponent,
        Refusal,
        SameFeed,
        Stretch,
        ZonePiece,
    )
    from netplan.isolation.cut_outline import Outline
    from netplan.isolation.cut_search import CutSearch, cuts, look_up_in, reads_boundary
    from netplan.isolation.diagnosis import DEARER
    from netplan.isolation.segment_graph import SegmentGraph
    from netplan.isolation.stop_methods import length_taken_m
    from netplan.isolation.stop_prices import pit_price_minor

__all__ = [
    "DEARER",
    "MINOR_PER_UNIT",
    "Cut",
    "CutSearch",
    "CutStop",
    "CutTapping",
    "CutZone",
    "FeedBound",
    "IsolationProblem",
    "Orders",
    "Outline",
    "PendantComponent",
    "Refusal",
    "SameFeed",
    "SegmentGraph",
    "Stretch",
    "ZonePiece",
    "cuts",
    "interruption_minor",
    "length_taken_m",
    "look_up_in",
    "pit_price_minor",
    "reads_boundary",
]

_FROM: Final = {
    "interruption_minor": "netplan.isolation.cost_context",
    "MINOR_PER_UNIT": "netplan.isolation.cut_model",
    "Cut": "netplan.isolation.cut_model",
    "CutStop": "netplan.isolation.cut_model",
    "CutTapping": "netplan.isolation.cut_model",
    "CutZone": "netplan.isolation.cut_model",
    "FeedBound": "netplan.isolation.cut_model",
    "IsolationProblem": "netplan.isolation.cut_model",
    "Orders": "netplan.isolation.cut_model",
    "PendantComponent": "netplan.isolation.cut_model",
    "Refusal": "netplan.isolation.cut_model",
    "SameFeed": "netplan.isolation.cut_model",
    "Stretch": "netplan.isolation.cut_model",
    "ZonePiece": "netplan.isolation.cut_model",
    "Outline": "netplan.isolation.cut_outline",
    "CutSearch": "netplan.isolation.cut_search",
    "cuts": "netplan.isolation.cut_search",
    "look_up_in": "netplan.isolation.cut_search",
    "reads_boundary": "netplan.isolation.cut_search",
    "DEARER": "netplan.isolation.diagnosis",
    "SegmentGraph": "netplan.isolation.segment_graph",
    "length_taken_m": "netplan.isolation.stop_methods",
    "pit_price_minor": "netplan.isolation.stop_prices",
}


__getattr__ = names_on_first_use(__name__, _FROM)

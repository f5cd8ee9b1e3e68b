"""What is cut off from what once the stops of a zone are in, and what that does to customers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints32
from netplan.demand import DiversityGroups, node_demand
from netplan.feeds import Inlets
from netplan.isolation import Cut
from netplan.network.model import Network
from netplan.network.subnetwork import merged_parts
from netplan.network.topology import components, components_without, station_nodes
from netplan.planning.context import PlanningContext, part_of_customers

__all__ = [
    "CutConnectivity",
    "demands_after",
    "flow_after",
    "kept_inlets",
    "node_demand_after",
    "reach_after",
    "reach_of",
]


GONE = -2
"""Group of the customers that are off."""


@dataclass(frozen=True, slots=True, eq=False)
class CutConnectivity:
    """Where every node and customer is after the stops.

    Parameters
    ----------
    part : int32 array, shape (nodes,)
        Connected part of each node over what is still open; zone nodes are parts of their own.
    in_zone, fed : bool arrays, shape (nodes,)
        Inside the isolated zone; joined to a regulator station or an injection.
    closed : bool array, shape (pieces,)
        Pieces that carry no gas: stopped, inside the zone, or closed valves.
    isolated, stranded : bool arrays, shape (customers,)
        Any attachment in the zone; else any attachment that loses its stations and injections. A customer
        with several attachments is on every list that could be right; one that nothing fed before any stop is
        on none.
    customer_part : int32 array, shape (customers,)
        Stranded part of a stranded customer, else the fed part; NO_PART for none.
    beyond_part : int32 array, shape (parts beyond the boundary,)
        Part that each of them belongs to; empty for a whole network.
    """

    part: Ints32
    in_zone: Flags
    fed: Flags
    closed: Flags
    isolated: Flags
    stranded: Flags
    customer_part: Ints32
    beyond_part: Ints32

    def groups(self, gone: Flags) -> DiversityGroups:
        """Return with whom each customer shares uplift and diversity: those of its part that are on.

        Smaller groups peak higher, so that those who stay count without the ones that are off.
        """
        part = np.where(gone, GONE, self.customer_part).astype(np.int64)
        return DiversityGroups(part, self.beyond_part.astype(np.int64))


def reach_after(
    network: Network,
    closed_pieces: Ints32,
    zone_nodes: Ints32,
    opened_pieces: Ints32 | None = None,
    *,
    fed_before: Flags | None = None,
) -> CutConnectivity:
    """Classify nodes and customers after closing pieces.

    Parameters
    ----------
    network : Network
    closed_pieces : int array
        Pieces stopped, and pieces inside the zone.
    zone_nodes : int array
        Nodes inside the zone.
    opened_pieces : int array, optional
        Closed valves' pieces that are opened for the work.
    fed_before : bool array, shape (nodes,), optional
        Nodes that were fed before any stop; all by default.
    """
    pieces, customers, count = network.pieces, network.customers, len(network.nodes)
    closed = ~pieces.is_open
    if opened_pieces is not None:
        closed[opened_pieces] = False
    closed[closed_pieces] = True
    part = (
        components_without(network, closed_pieces) if opened_pieces is None else components(network, ~closed)
    )
    beyond_part = np.zeros(0, np.int32)
    if network.beyond is not None:
        part, beyond_part = merged_parts(part, network.beyond)
    in_zone = np.zeros(count, bool)
    in_zone[zone_nodes] = True
    fed_part = np.zeros(int(part.max(initial=-1)) + 1, bool)
    fed_part[part[station_nodes(network, injections=True)]] = True
    fed = fed_part[part] & ~in_zone

    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    isolated = np.zeros(len(customers), bool)
    isolated[owner[in_zone[at]]] = True
    stranded = np.zeros(len(customers), bool)
    loses = ~fed[at] if fed_before is None else fed_before[at] & ~fed[at]
    stranded[owner[loses]] = True
    stranded &= ~isolated
    return CutConnectivity(
        part=part,
        in_zone=in_zone,
        fed=fed,
        closed=closed,
        isolated=isolated,
        stranded=stranded,
        customer_part=part_of_customers(network, part, fed, loses & ~in_zone[at]),
        beyond_part=beyond_part,
    )


def reach_of(context: PlanningContext, cut: Cut) -> CutConnectivity:
    """Return who is where once all stops of a cut are in."""
    pieces = [stop.piece for stop in cut.stops] + [part.piece for zone in cut.zones for part in zone.pieces]
    nodes = np.concatenate([zone.nodes for zone in cut.zones]) if cut.zones else np.zeros(0, np.int32)
    closed = np.unique(np.array(pieces, dtype=np.int32))
    inside = np.sort(nodes)
    # Stops that stand elsewhere on the same pieces leave everyone where they were.
    return context.once(
        "reach",
        (closed.tobytes(), inside.tobytes()),
        lambda: reach_after(context.request.network, closed, inside, fed_before=context.fed_before),
    )


def flow_after(
    context: PlanningContext, reach: CutConnectivity, gone: Flags, hour: int | None = None
) -> Floats:
    """Return each customer's flow, 0 for those gone [m³/s at 15 °C, 101.325 kPa].

    Parameters
    ----------
    context, reach
    gone : bool array, shape (customers,)
        Customers that are off, those in the zone among them.
    hour : int, optional
        Row of the hour in the window; default that of the greatest total.
    """
    groups = reach.groups(gone)
    context.scope.check_same_demand(groups)
    flow: Floats = context.demand.flow_m3_per_s_std(hour, groups)
    flow[gone] = 0.0
    return flow


def demands_after(
    context: PlanningContext, reach: CutConnectivity, gone: Flags, count: int
) -> tuple[Floats, ...]:
    """Return the demand of `count` nodes in each hour to check [m³/s at 15 °C, 101.325 kPa]."""
    flows = (flow_after(context, reach, gone, hour) for hour in context.hours)
    return tuple(node_demand_after(context, reach, flow, count) for flow in flows)


def node_demand_after(context: PlanningContext, reach: CutConnectivity, flow: Floats, count: int) -> Floats:
    """Return the demand of `count` nodes [m³/s at 15 °C, 101.325 kPa].

    Nothing is drawn in the zone, nor where there was no gas before.
    """
    live = np.ones(count, dtype=bool)
    live[: len(reach.in_zone)] = ~reach.in_zone & context.fed_before
    return node_demand(context.request.network.customers, flow, count, live)


def kept_inlets(context: PlanningContext, reach: CutConnectivity, gone: Flags) -> Inlets:
    """Return the meter inlets that must hold: of customers not gone, that held before any stop.

    A second service that had no gas before is none of them. One where somebody had more than the highest
    allowed pressure before any stop may have it still.
    """
    owner, at = context.attachments
    counts = ~gone[owner] & ~reach.in_zone[at] & context.fed_before[at] & ~context.weak_before[owner]
    holds = np.zeros(len(reach.in_zone), dtype=bool)
    holds[at[counts]] = True
    nodes = np.flatnonzero(holds)
    allowed = np.full(len(holds), context.allowed_pa_gauge)
    allowed[at[context.high_before[owner]]] = np.inf
    return Inlets(nodes, np.full(len(nodes), context.required_pa_gauge), allowed[nodes])

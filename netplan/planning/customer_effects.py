"""What a cut does to customers, as arrays for the flow calculation."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Flags, Floats
from netplan.demand import node_demand
from netplan.feeds import Inlets
from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity, reach_after
from netplan.planning.context import PlanningContext

__all__ = ["demands_after", "flow_after", "kept_inlets", "must_stay", "node_demand_after", "reach_of"]


def reach_of(context: PlanningContext, cut: Cut) -> CutConnectivity:
    """Return who is where once all stops of a cut are in."""
    pieces = [stop.piece for stop in cut.stops] + [part.piece for zone in cut.zones for part in zone.pieces]
    nodes = np.concatenate([zone.nodes for zone in cut.zones]) if cut.zones else np.zeros(0, np.int32)
    closed = np.unique(np.array(pieces, dtype=np.int32))
    return reach_after(context.request.network, closed, nodes, fed_before=context.fed_before)


def must_stay(context: PlanningContext) -> Flags:
    """Return the customers that may not go off: priority or ordered, without a supply of their own."""
    return context.must_stay


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
    context.require_same_beyond(groups)
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

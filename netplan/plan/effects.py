"""What a cut does to customers, as arrays for the flow calculation."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.bypass import Inlets
from netplan.demand import node_demand
from netplan.isolation import Cut
from netplan.plan.desk import Desk
from netplan.plan.reach import Reach, reach_after

__all__ = ["flow_after", "kept_inlets", "must_stay", "node_demand_after", "reach_of"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def reach_of(desk: Desk, cut: Cut) -> Reach:
    """Return who is where once all stops of a cut are in."""
    pieces = [stop.piece for stop in cut.stops] + [part.piece for zone in cut.zones for part in zone.pieces]
    nodes = np.concatenate([zone.nodes for zone in cut.zones]) if cut.zones else np.zeros(0, np.int32)
    return reach_after(desk.request.network, np.unique(np.array(pieces, dtype=np.int32)), nodes)


def must_stay(desk: Desk) -> Flags:
    """Return the customers that may not go off: priority or ordered, without a supply of their own."""
    customers = desk.request.network.customers
    must = np.array([code != "" for code in customers.priority], dtype=bool)
    must[list(desk.request.orders.keep_customers)] = True
    must[list(desk.request.own_supply)] = False
    return must


def flow_after(desk: Desk, reach: Reach) -> Floats:
    """Return each customer's flow at the worst hour, 0 in the zone [m³/s at 15 °C, 101.325 kPa]."""
    flow: Floats = desk.demand.flow_m3_per_s_std(part=reach.customer_part.astype(np.int64))
    flow[reach.isolated] = 0.0
    return flow


def node_demand_after(desk: Desk, reach: Reach, flow: Floats, count: int) -> Floats:
    """Return the demand of `count` nodes [m³/s at 15 °C, 101.325 kPa]; nothing is drawn in the zone."""
    live = np.ones(count, dtype=bool)
    live[: len(reach.in_zone)] = ~reach.in_zone
    return node_demand(desk.request.network.customers, flow, count, live)


def kept_inlets(desk: Desk, reach: Reach, gone: Flags) -> Inlets:
    """Return the meter inlets that must hold: of customers not gone, that held before any stop."""
    owner, at = desk.attachments
    counts = ~gone[owner] & ~reach.in_zone[at] & ~desk.weak_before[owner]
    nodes = np.unique(at[counts])
    return Inlets(nodes, np.full(len(nodes), desk.required_pa_gauge))

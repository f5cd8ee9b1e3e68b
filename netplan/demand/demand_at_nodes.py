"""Demand of customers at the nodes they are attached at, and the pressure of nodes at their customers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats
from netplan.network.model import Customers

__all__ = ["customer_pressure", "node_demand"]


def node_demand(
    customers: Customers, flow_m3_per_s_std: Floats, node_count: int, is_live: Flags | None = None
) -> Floats:
    """Return the demand of each node [m³/s at 15 °C, 101.325 kPa].

    Parameters
    ----------
    customers : Customers
        With the nodes they are attached at.
    flow_m3_per_s_std : float array, shape (customers,)
        Flow of each.
    node_count : int
        Nodes of the network.
    is_live : bool array, shape (node_count,), optional
        Nodes that have gas; default all. A customer with several attachments draws in equal shares from
        those that have; one with none draws nothing.

    Returns
    -------
    float array, shape (node_count,)
        Not to be written to: a solver knows again what it worked out from it.
    """
    customer, share = _shares(customers, is_live)
    drawn = share * flow_m3_per_s_std[customer]
    demand = np.bincount(customers.attach_node, weights=drawn, minlength=node_count).astype(float)
    demand.flags.writeable = False
    return demand


def customer_pressure(customers: Customers, pressure_pa_gauge: Floats) -> Floats:
    """Return the pressure at each customer [Pa gauge]: the least of the attachments that have gas.

    Parameters
    ----------
    pressure_pa_gauge : float array, shape (nodes,)
        NaN where there is no gas.

    Returns
    -------
    float array, shape (customers,)
        NaN for a customer without gas.
    """
    least = np.full(len(customers), np.nan)
    attached = np.flatnonzero(np.diff(customers.attach_start))
    if attached.size:
        at = pressure_pa_gauge[customers.attach_node]
        # From each first attachment to the next customer's; NaN only where every attachment has none.
        least[attached] = np.fmin.reduceat(at, customers.attach_start[attached])
    return least


def _shares(customers: Customers, is_live: Flags | None) -> tuple[NDArray[np.int64], Floats]:
    customer = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    live = np.ones(len(customer)) if is_live is None else is_live[customers.attach_node].astype(float)
    ways = np.bincount(customer, weights=live, minlength=len(customers))
    return customer, live / np.maximum(ways, 1.0)[customer]

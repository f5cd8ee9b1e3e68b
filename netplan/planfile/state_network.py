"""A solved state as a network to be solved again, and the demand of its customers worked out again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import BadInputError
from netplan.demand import DemandResult, Window, customer_demand
from netplan.hydraulics import FlowLinks, FlowNetwork
from netplan.hydraulics.recorded_network import gas_of
from netplan.network.model import Customers
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category
from netplan.planfile.model import Plan
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import PieceState, StateCustomers
from netplan.reference.gas import METRIC_STANDARD
from netplan.rules import Rules

__all__ = ["StateNetwork", "flow_network", "recorded_demand"]


@dataclass(frozen=True, slots=True, eq=False)
class StateNetwork:
    """The flow network of a state; its feeds are not in it.

    Parameters
    ----------
    flow : FlowNetwork
        Pipes of the work's pressure system with the stops in; opened valves stay open.
    node : int64 array, shape (nodes,)
        Number in the state of each node of `flow`, ascending.
    demand_m3_per_s_std : float array, shape (nodes,)
        Demand after the stops [m³/s at 15 °C, 101.325 kPa].
    before_pa_gauge : float array, shape (nodes,)
        Pressure before any stop [Pa gauge]; NaN where unknown.
    station : int64 array
        Row in the state of each station of `flow`.
    """

    flow: FlowNetwork
    node: Ints
    demand_m3_per_s_std: Floats
    before_pa_gauge: Floats
    station: Ints

    def rows(self, number: NDArray[np.integer]) -> Ints:
        """Return the rows in `flow` of node numbers that are in it."""
        return np.searchsorted(self.node, number)


def flow_network(state: SolvedState) -> StateNetwork:
    """Return the network that a state is the solution of, its feeds taken out.

    Parameters
    ----------
    state : SolvedState
        A whole one.

    Raises
    ------
    BadInputError
        When the state holds only a part of its network, or lacks a node that a pipe ends at.
    """
    state.require_whole("size its bypass from the folder")
    pipes, feeds, stations, nodes = state.pipes, state.feeds, state.stations, state.nodes
    own, linked = pipes.state != PieceState.OTHER_SYSTEM, feeds.from_node >= 0
    ends = [pipes.from_node[own], pipes.to_node[own], feeds.from_node[linked], feeds.to_node[linked]]
    node = np.unique(np.concatenate(ends))
    demand = nodes.at(nodes.demand_m3h, node)
    if np.isnan(demand).any():
        raise BadInputError("plan.gpkg: layer nodes lacks a node that a pipe ends at; make the plan again")
    station = np.flatnonzero(np.isin(stations.node, node))
    sensing = stations.sensing_node[station]
    flow = FlowNetwork(
        node_count=len(node),
        links=FlowLinks(
            from_node=np.searchsorted(node, pipes.from_node[own]),
            to_node=np.searchsorted(node, pipes.to_node[own]),
            length_m=pipes.length_m[own],
            bore_m=pipes.bore_mm[own] / MM_PER_M,
            roughness_m=pipes.roughness_mm[own] / MM_PER_M,
            loss_coefficient=pipes.loss_coefficient[own],
            is_open=pipes.is_open[own],
        ),
        station_node=np.searchsorted(node, stations.node[station]),
        station_pressure_pa_gauge=stations.outlet_mbar[station] * PA_PER_MBAR,
        station_capacity_m3_per_s_std=stations.capacity_m3h[station] / SECONDS_PER_HOUR,
        station_sensing_node=np.where(np.isin(sensing, node), np.searchsorted(node, sensing), -1),
        node_height_m=nodes.at(nodes.height_m, node),
    )
    before = nodes.at(nodes.pressure_before_mbar, node) * PA_PER_MBAR
    return StateNetwork(flow, node, demand / SECONDS_PER_HOUR, before, station)


def recorded_demand(plan: Plan, rules: Rules, customers: StateCustomers) -> DemandResult:
    """Return the demand of a state's customers over the plan's window, as if all of them drew.

    Parameters
    ----------
    plan : Plan
    rules : Rules
        Those it was planned by.
    customers : StateCustomers

    Raises
    ------
    BadInputError
        When a customer's category is not known.
    """
    conditions = plan.conditions
    start = None if conditions.start is None else datetime.fromisoformat(conditions.start)
    window = Window(start, conditions.hours, conditions.air_temp_c)
    heat = gas_of(rules).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    return customer_demand(_records(customers), window, rules, heat)


def _records(rows: StateCustomers) -> Customers:
    count = len(rows)
    words, empty = list(Category.words()), TextColumn([""] * count)
    try:
        category = np.array([words.index(word) for word in rows.category], dtype=np.uint8)
    except ValueError:
        raise BadInputError("plan.gpkg: a customer's category is not known; make the plan again") from None
    return Customers(
        id=rows.customer_id,
        address=empty,
        street=empty,
        number=empty,
        postcode=empty,
        town=empty,
        category=category,
        priority=empty,
        priority_note=empty,
        telephone=empty,
        meters=rows.meters.astype(np.int32),
        annual_kwh=rows.annual_kwh,
        peak_kw=rows.peak_kw,
        service_regulator=np.zeros(count, dtype=np.uint8),
        language=empty,
        x_m=np.zeros(count),
        y_m=np.zeros(count),
        attach_start=np.zeros(count + 1, dtype=np.int32),
        attach_node=np.zeros(0, dtype=np.int32),
        attached_by=np.zeros(count, dtype=np.uint8),
    )

"""A solved state as a network to be solved again: the work's pressure system without bypasses and hoses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import BadInputError
from netplan.hydraulics import FlowLinks, FlowNetwork
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import PieceState

__all__ = ["StateNetwork", "flow_network"]


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

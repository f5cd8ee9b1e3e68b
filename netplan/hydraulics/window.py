"""A piece of a large network, cut out round a change; what crosses its rim flows as it did before."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.adjacency import holds
from netplan.hydraulics.model import FlowLinks, FlowNetwork, FlowState, PartStatus
from netplan.hydraulics.solver import FlowSolver
from netplan.hydraulics.surroundings import Surroundings

__all__ = ["Change", "Window", "cut_window"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


MOST_RIM_CHANGE_PA: Final = 1e-4
"""Pressure by which the rim may move, a tenth of what the drop of a link may err by in any solution; what is
inside errs by no more than about that (own) [Pa]."""


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """A network that was made from the one as it stands.

    Parameters
    ----------
    network : FlowNetwork
        Its first nodes, its first links and its stations are those of the network as it stands.
    links : int array
        Links that are not as they stand, those that were added among them.
    """

    network: FlowNetwork
    links: Ints

    def nodes(self, links: Ints) -> Ints:
        """Return the ends of some links."""
        ends = self.network.links
        return np.concatenate([ends.from_node[links], ends.to_node[links]])


@dataclass(slots=True, eq=False)
class Window:
    """Nodes round a change, the links between them, and the links that cross the rim.

    Parameters
    ----------
    nodes, links : int arrays
        Of the changed network, sorted; places in them are numbers in the window.
    stations : int array
        Stations inside.
    rim_link, rim_node : int arrays
        Links that cross, and the node of each that is inside.
    rim_place, rim_sign : int and float arrays
        Place of that node among `nodes`; 1 where the link leads out of it, -1 where into it.
    solver : FlowSolver
        Prepared for what is inside.
    first : FlowState, optional
        The first state that was solved in it, from which later ones start.
    """

    nodes: Ints
    links: Ints
    stations: Ints
    rim_link: Ints
    rim_node: Ints
    rim_place: Ints
    rim_sign: Floats
    solver: FlowSolver
    first: FlowState | None = field(default=None)

    def covers(self, touched: Ints, change: Change, at_least: int) -> bool:
        """Whether it is large enough, and all that is touched or changed is inside."""
        return self.nodes.size >= at_least and holds(self.nodes, touched) and holds(self.links, change.links)

    def solve(
        self,
        demand_m3_per_s_std: Floats,
        before: FlowState,
        closed: Ints,
        opened: Ints,
        warm: FlowState | None,
    ) -> FlowState | None:
        """Solve what is inside; None when the change reaches the rim, so that more has to be looked at.

        Parameters
        ----------
        demand_m3_per_s_std : float array, shape (nodes of the changed network,)
            [m³/s at 15 °C, 101.325 kPa].
        before : FlowState
            The network as it stands, whose flows cross the rim.
        closed, opened : int arrays
            Links of the changed network, all inside.
        warm : FlowState, optional
            State of the window to start from.
        """
        crossing = before.flow_m3_per_s_std[self.rim_link]
        if not np.isfinite(crossing).all():
            return None
        demand = demand_m3_per_s_std[self.nodes]
        np.add.at(demand, self.rim_place, self.rim_sign * crossing)
        state = self.solver.resolve(
            demand_m3_per_s_std=demand,
            closed_links=np.searchsorted(self.links, closed).tolist(),
            opened_links=np.searchsorted(self.links, opened).tolist(),
            warm=warm or self.first,
        )
        if self.first is None:
            self.first = state
        return state if self._is_still(state, before) else None

    def _is_still(self, state: FlowState, before: FlowState) -> bool:
        """Whether every part at the rim is solved and the rim keeps its pressure.

        Then what is inside and what is outside as before are together a solution of the whole.
        """
        good = np.array([status is PartStatus.SOLVED for status in state.part_status], dtype=bool)
        if not good[state.node_part[self.rim_place]].all():
            return False
        moved = state.pressure_pa_gauge[self.rim_place] - before.pressure_pa_gauge[self.rim_node]
        return bool((np.abs(moved) <= MOST_RIM_CHANGE_PA).all())


def cut_window(around: Surroundings, change: Change, touched: Ints, at_least: int) -> Window | None:
    """Return the window of at least so many nodes round some that are touched.

    None when it would part a station from its sensing point, or take in half of the network or more.

    Parameters
    ----------
    around : Surroundings
    change : Change
    touched : int array
        Nodes where something changes.
    at_least : int
    """
    network, count = change.network, around.network.node_count
    inside = np.zeros(network.node_count, dtype=bool)
    found = around.nodes_round(touched[touched < count], at_least)
    if 2 * found.size > count:
        return None
    inside[found] = True
    inside[count:] = True
    sensing = network.sensing_nodes()
    if (inside[network.station_node] != inside[sensing]).any():
        return None
    links, rim_link = _links(around, change, found, inside)
    nodes = np.flatnonzero(inside)
    stations = np.flatnonzero(inside[network.station_node])
    outlet = inside[network.links.from_node[rim_link]]
    rim_node = np.where(outlet, network.links.from_node[rim_link], network.links.to_node[rim_link])
    return Window(
        nodes,
        links,
        stations,
        rim_link,
        rim_node,
        np.searchsorted(nodes, rim_node),
        np.where(outlet, 1.0, -1.0),
        FlowSolver(_inner(network, nodes, links, stations), around.conditions),
    )


def _links(around: Surroundings, change: Change, nodes: Ints, inside: Bools) -> tuple[Ints, Ints]:
    """Return the links inside and those that cross; what is closed and stays so is left out."""
    ends = change.network.links
    taken = np.zeros(ends.count, dtype=bool)
    taken[around.adjacency.links_at(nodes)] = True
    taken[change.links] = False
    near = np.flatnonzero(taken)
    whole = inside[ends.from_node[near]] & inside[ends.to_node[near]]
    taken[near[~whole]] = False
    taken[change.links] = True
    return np.flatnonzero(taken), near[~whole]


def _inner(network: FlowNetwork, nodes: Ints, links: Ints, stations: Ints) -> FlowNetwork:
    of = network.links
    place = np.empty(network.node_count, dtype=np.int64)
    place[nodes] = np.arange(nodes.size)
    return FlowNetwork(
        node_count=nodes.size,
        links=FlowLinks(
            place[of.from_node[links]],
            place[of.to_node[links]],
            of.length_m[links],
            of.bore_m[links],
            of.roughness_m[links],
            of.loss_coefficient[links],
            of.is_open[links],
        ),
        station_node=place[network.station_node[stations]],
        station_pressure_pa_gauge=network.station_pressure_pa_gauge[stations],
        station_capacity_m3_per_s_std=network.station_capacity_m3_per_s_std[stations],
        station_sensing_node=place[network.sensing_nodes()[stations]],
        node_height_m=network.node_height_m[nodes],
    )

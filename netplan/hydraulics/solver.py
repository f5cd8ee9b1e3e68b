"""The flow calculation: prepare a network once, solve it, and solve it again after changes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final, TypeGuard

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError
from netplan.hydraulics.connected_parts import ConnectedParts, find_parts
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState
from netplan.hydraulics.flow_result import SolveInput, WarmStart
from netplan.hydraulics.linear_system import CoreMatrix, LinearSolver, default_linear_solver
from netplan.hydraulics.network_solution import solve_given
from netplan.hydraulics.prepared_network import (
    Layout,
    LayoutInput,
    is_resized,
    make_layout,
    resized_layout,
)

__all__ = ["FlowSolver", "datum_height_m", "link_numbers"]


MOST_KEPT: Final = 3
"""Networks with other links open that a solver keeps prepared (own) [-]."""
MOST_PARTS_KEPT: Final = 8
"""Sets of closed links whose connected parts a prepared network keeps (own) [-]."""


@dataclass(slots=True, eq=False)
class PreparedNetwork:
    """A network laid out for solving, with the factors of its core matrix."""

    given: LayoutInput
    network: FlowNetwork
    layout: Layout
    matrix: CoreMatrix
    link_position: Ints
    open_parts: ConnectedParts
    parts_kept: OrderedDict[bytes, ConnectedParts] = field(default_factory=OrderedDict)

    def parts_without(self, closed: Ints) -> ConnectedParts:
        """Return the connected parts with some live links closed, by position: the last ones are kept."""
        key = closed.tobytes()
        if key not in self.parts_kept:
            self.parts_kept[key] = find_parts(self.layout, closed, self.open_parts)
            if len(self.parts_kept) > MOST_PARTS_KEPT:
                self.parts_kept.popitem(last=False)
        self.parts_kept.move_to_end(key)
        return self.parts_kept[key]


class FlowSolver:
    """A network prepared for solving many times.

    Parameters
    ----------
    network : FlowNetwork
        The network.
    conditions : FlowConditions
        Gas, temperature, air pressure.
    linear_solver : LinearSolver, optional
        What factorises the core matrix; default LDLᵀ where its library is installed, else LU.
    prepared : PreparedNetwork, optional
        What another solver with the same conditions prepared for this very network.

    Notes
    -----
    Preparing finds branches, chains and the order of elimination. `solve` starts from a linear network;
    `resolve` starts from the last solved state (or the one given) and gives the same answer as a solution
    from the beginning, to rounding.
    """

    def __init__(
        self,
        network: FlowNetwork,
        conditions: FlowConditions,
        *,
        linear_solver: LinearSolver | None = None,
        prepared: PreparedNetwork | None = None,
    ) -> None:
        self._conditions = conditions
        self._gas = conditions.properties()
        self._linear_solver = linear_solver or default_linear_solver()
        self._demand = np.zeros(network.node_count)
        self._base: FlowState | None = None
        self._kept: OrderedDict[bytes, PreparedNetwork] = OrderedDict()
        self._last_other: PreparedNetwork | None = None
        self._prepared = prepared or self._prepare(network)

    @property
    def network(self) -> FlowNetwork:
        """The network it was prepared for."""
        return self._prepared.network

    @property
    def supply_node(self) -> Ints:
        """Nodes that gas comes from: the stations."""
        return self.network.station_node

    @property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure."""
        return self._conditions

    @property
    def datum_height_m(self) -> float:
        """Height at which the air has the pressure of the conditions [m]."""
        return datum_height_m(self.network, self._conditions)

    def prepared_for(self, network: FlowNetwork) -> FlowSolver:
        """Return a solver for another network under the same conditions.

        Where it differs from the last one that was asked for in bores, roughness and local losses alone, what
        was prepared for that one is used again.
        """
        self._last_other = self._prepare(network, self._last_other)
        return FlowSolver(
            network, self._conditions, linear_solver=self._linear_solver, prepared=self._last_other
        )

    def solve(self, demand_m3_per_s_std: npt.ArrayLike, *, warm: FlowState | None = None) -> FlowState:
        """Solve for a demand and keep the result as the base of later changes.

        Parameters
        ----------
        demand_m3_per_s_std : array_like of float, shape (n,)
            Gas drawn at each node [m³/s at 15 °C, 101.325 kPa]; below zero where gas is put in.
        warm : FlowState, optional
            A state to start from: of the same network, or of one whose nodes are the first of its nodes.

        Returns
        -------
        FlowState
            With NaN for every number of a part that has no solution.
        """
        self._demand = self._checked(demand_m3_per_s_std, self.network)
        self._base = self._run(self._prepared, self._demand, np.zeros(0, np.int64), warm)
        return self._base

    def resolve(
        self,
        *,
        demand_m3_per_s_std: npt.ArrayLike | None = None,
        closed_links: Iterable[int] = (),
        opened_links: Iterable[int] = (),
        added_links: FlowLinks | None = None,
        station_pressure_pa_gauge: npt.ArrayLike | None = None,
        station_capacity_m3_per_s_std: npt.ArrayLike | None = None,
        warm: FlowState | None = None,
    ) -> FlowState:
        """Solve the network with changes, warm and exact; the prepared network itself does not change.

        Parameters
        ----------
        demand_m3_per_s_std : array_like of float, optional
            New demand [m³/s at 15 °C, 101.325 kPa]; default that of the last `solve`.
        closed_links, opened_links : iterable of int
            Links that are closed, or open, from now on.
        added_links : FlowLinks, optional
            New links between existing nodes, numbered after the network's own.
        station_pressure_pa_gauge : array_like of float, shape (stations,), optional
            Other outlet pressures of the stations [Pa gauge].
        station_capacity_m3_per_s_std : array_like of float, shape (stations,), optional
            The most each can give instead [m³/s at 15 °C, 101.325 kPa]; 0 for one that is lost.
        warm : FlowState, optional
            State to start from; default the last `solve`.

        Returns
        -------
        FlowState
            Of all links, the added ones last.
        """
        demand = self._demand
        if demand_m3_per_s_std is not None:
            demand = self._checked(demand_m3_per_s_std, self.network)
        total = self.network.links.count + (0 if added_links is None else added_links.count)
        closed, opened = link_numbers(closed_links, total), link_numbers(opened_links, total)
        start = warm if warm is not None else self._base
        position = self._prepared.link_position
        shut = closed[self.network.links.is_open[closed]] if added_links is None else closed
        if added_links is None and not opened.size and (position[shut] >= 0).all():
            prepared = self._prepared
            if not (station_pressure_pa_gauge is None and station_capacity_m3_per_s_std is None):
                given = self._given(station_pressure_pa_gauge, station_capacity_m3_per_s_std)
                prepared = replace(prepared, network=given)
            return self._run(prepared, demand, position[shut], start)
        links = self.network.links if added_links is None else self.network.links.joined_with(added_links)
        is_open = links.is_open.copy()
        is_open[opened] = True
        is_open[closed] = False
        changed = FlowLinks(
            links.from_node,
            links.to_node,
            links.length_m,
            links.bore_m,
            links.roughness_m,
            links.loss_coefficient,
            is_open,
        )
        given = self._given(station_pressure_pa_gauge, station_capacity_m3_per_s_std)
        network = given.with_links(changed)
        return self._run(self._changed(network, added_links), demand, np.zeros(0, np.int64), start)

    def _changed(self, network: FlowNetwork, added: FlowLinks | None) -> PreparedNetwork:
        """Return the network with other links open, prepared: the last ones are kept for other demands."""
        if added is not None:
            return self._prepare(network)
        key = network.links.is_open.tobytes()
        if key not in self._kept:
            self._kept[key] = self._prepare(network)
            if len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return replace(self._kept[key], network=network)

    def _given(
        self, pressure_pa_gauge: npt.ArrayLike | None, capacity_m3_per_s_std: npt.ArrayLike | None
    ) -> FlowNetwork:
        network = self.network
        if pressure_pa_gauge is not None:
            pressure = np.array(pressure_pa_gauge, dtype=float)
            network = replace(network, station_pressure_pa_gauge=pressure)
        if capacity_m3_per_s_std is not None:
            capacity = np.array(capacity_m3_per_s_std, dtype=float)
            network = replace(network, station_capacity_m3_per_s_std=capacity)
        return network

    @staticmethod
    def _checked(demand: npt.ArrayLike, network: FlowNetwork) -> Floats:
        # One that nobody can write to is kept as it is: what was worked out from it is known again.
        array = demand if _is_frozen(demand) else np.array(demand, dtype=float).reshape(-1)
        if array.size != network.node_count:
            raise BadInputError(
                f"flow: demand has {array.size} rows for {network.node_count} nodes; give one each"
            )
        bad = np.flatnonzero(~np.isfinite(array))
        if bad.size:
            raise BadInputError(f"flow: demand of node {bad[0]} is not a finite number; correct it")
        return array

    def _prepare(self, network: FlowNetwork, like: PreparedNetwork | None = None) -> PreparedNetwork:
        gas, conditions, links = self._gas, self._conditions, network.links
        given = LayoutInput(
            node_count=network.node_count,
            from_node=links.from_node,
            to_node=links.to_node,
            length_m=links.length_m,
            bore_m=links.bore_m,
            roughness_m=links.roughness_m,
            loss_coefficient=links.loss_coefficient,
            is_open=links.is_open,
            height_m=network.node_height_m,
            datum_m=datum_height_m(network, conditions),
            air_pa_abs=conditions.atmospheric_pressure_pa_abs,
            gas_pressure_per_density=gas.pressure_per_density,
            air_pressure_per_density=conditions.air_pressure_per_density(),
            viscosity_pa_s=gas.viscosity_pa_s,
            keep_node=np.concatenate([network.station_node, network.sensing_nodes(), network.open_node]),
        )
        if like is not None and is_resized(given, like.given):
            layout = resized_layout(like.layout, given)
            return replace(like, given=given, network=network, layout=layout)
        layout = make_layout(given)
        position = np.full(links.count, -1, dtype=np.int64)
        position[layout.live] = np.arange(layout.live.size)
        chains, pattern = layout.chains, layout.pattern
        matrix = CoreMatrix(pattern, chains.start, chains.end, self._linear_solver(pattern.upper))
        parts = find_parts(layout, np.zeros(0, np.int64))
        return PreparedNetwork(given, network, layout, matrix, position, parts)

    def _run(
        self, prepared: PreparedNetwork, demand: Floats, closed: Ints, start: FlowState | None
    ) -> FlowState:
        given = SolveInput(
            network=prepared.network,
            layout=prepared.layout,
            matrix=prepared.matrix,
            demand_m3_per_s_std=demand,
            density_std=self._gas.density_kg_per_m3_std,
            closed=closed,
            parts=prepared.parts_without(closed),
            kept=_kept(start, prepared.network.node_count),
        )
        return solve_given(given)


def _is_frozen(demand: npt.ArrayLike) -> TypeGuard[Floats]:
    """Return whether a demand is a row of floats that is its own and that nobody can write to."""
    return (
        isinstance(demand, np.ndarray)
        and demand.ndim == 1
        and demand.dtype == np.float64
        and demand.base is None
        and not demand.flags.writeable
    )


def link_numbers(numbers: Iterable[int], total: int) -> Ints:
    """Return link numbers sorted, each once.

    Raises
    ------
    BadInputError
        When one is not below `total`.
    """
    array = np.array(sorted(set(numbers)), dtype=np.int64)
    if array.size and not (array[0] >= 0 and array[-1] < total):
        raise BadInputError(f"flow: link {array[0]} or {array[-1]} does not exist; there are {total}")
    return array


def _kept(state: FlowState | None, node_count: int) -> WarmStart | None:
    if state is None:
        return None
    if isinstance(state.core, WarmStart):
        missing = node_count - state.core.node_level.size
        return state.core.with_more(node_count, np.zeros(0)) if missing > 0 else state.core
    raise BadInputError("flow: the state to start from was not made by the solver; leave it out")


def datum_height_m(network: FlowNetwork, conditions: FlowConditions) -> float:
    """Return the height at which the air has the pressure of the conditions [m]: that of the first station.

    Unless the conditions say otherwise; 0 where no station has a height.
    """
    if conditions.datum_height_m is not None:
        return conditions.datum_height_m
    at_stations = network.node_height_m[network.station_node]
    known = at_stations[np.isfinite(at_stations)]
    return float(known[0]) if known.size else 0.0

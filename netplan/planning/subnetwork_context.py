"""Planning in a large network by what lies near the work: the same plan, from a network of a few streets.

The whole network is solved before any stop. Everything else is done in the subnetwork of the work, in which
gas crosses the boundary as it does then. Where anything that is done is felt at the boundary, a larger
subnetwork is taken, in the end the whole network.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.errors import BadNetworkError, NoPlanError
from netplan.demand import DemandResult, DiversityGroups, customer_pressure
from netplan.feeds import ConstraintMargin, held_by_inlets, station_loads
from netplan.feeds.hose_routes import HoseRoutes
from netplan.hydraulics import (
    Boundary,
    BoundarySolver,
    FlowNetwork,
    FlowState,
    NetworkSolver,
    datum_height_m,
    state_of_part,
)
from netplan.hydraulics.recorded_network import base_network
from netplan.isolation import CutSearch, reads_boundary
from netplan.network.model import Network
from netplan.network.subnetwork import BoundaryAffectedError, Subnetwork
from netplan.network.work_section import WorkSection
from netplan.planning.context import PlanningContext
from netplan.planning.network_scope import LoadedStation, Lowest, NetworkScope, OutsideSummary
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_rows import orders_within, rows_within

__all__ = [
    "FIRST_NODES",
    "SubnetworkContext",
    "SubnetworkScope",
    "contexts_around",
    "contexts_for",
    "contexts_kept",
    "in_least_subnetwork",
]


T = TypeVar("T")
FIRST_NODES: Final = 60_000
"""Nodes of the first subnetwork (own): solved in hundredths of a second, half a dozen stations across [-]."""
GROWTH: Final = 3
"""How many times as many the next one has (own) [-]."""
MOST_DRAWN_MORE: Final = 1e-5
"""Share by which customers beyond may draw more once others are off (own): 0.04 Pa of 20 mbar [-]."""
WORTH_IT: Final = 2
"""How many times as many nodes a network has for which subnetworks are taken (own) [-]."""


def contexts_for(context: PlanningContext, section: WorkSection) -> Iterator[PlanningContext]:
    """Yield the contexts that a plan may be made on, from near to far; the last is that of the whole network.

    Parameters
    ----------
    context : PlanningContext
        Of the whole network.
    section : WorkSection
        The work.
    """
    yield from contexts_around(context, _places(context.request, section))


def contexts_around(context: PlanningContext, xy_m: Floats) -> Iterator[PlanningContext]:
    """Yield the same round some places, shape (n, 2), in the working CRS [m]."""
    network = context.request.network
    at_least = FIRST_NODES
    while WORTH_IT * at_least <= len(network.nodes):
        subnetwork = context.subnetworks.at(network, xy_m, at_least)
        if subnetwork is None:
            break
        # Without a station within, or an ordered stop: farther out there is one.
        with contextlib.suppress(BadNetworkError, BoundaryAffectedError):
            yield SubnetworkContext.within(context, subnetwork)
        at_least *= GROWTH
    yield context


def contexts_kept(context: PlanningContext, section: WorkSection) -> Iterator[PlanningContext]:
    """Yield contexts of subnetworks that are kept from orders before and hold the places of these.

    A question by connectivity that reads nothing at the boundary has the same answer in any of them.

    Parameters
    ----------
    context : PlanningContext
        Of the whole network.
    section : WorkSection
        The work.
    """
    xy_m = _places(context.request, section)
    (west, south), (east, north) = xy_m.min(axis=0), xy_m.max(axis=0)
    for subnetwork in context.subnetworks.latest():
        box = subnetwork.box_m
        if box[0] <= west and box[1] <= south and east <= box[2] and north <= box[3]:
            with contextlib.suppress(BadNetworkError, BoundaryAffectedError):
                yield SubnetworkContext.within(context, subnetwork)


def in_least_subnetwork(
    context: PlanningContext,
    section: WorkSection,
    answer: Callable[[PlanningContext], T],
    on_larger: Callable[[], None] = lambda: None,
) -> T:
    """Return an answer from the smallest subnetwork of the work in which nothing is felt at the boundary.

    Parameters
    ----------
    context : PlanningContext
        Of the whole network.
    section : WorkSection
        The work.
    answer : callable
        Answers the question on a context.
    on_larger : callable, optional
        Called before a larger subnetwork is taken.

    Raises
    ------
    NoPlanError
        When `answer` finds no plan, and would find none in a larger subnetwork either.
    """
    for near in contexts_for(context, section):
        try:
            try:
                found = answer(near)
            except NoPlanError:
                near.scope.check_unaffected()
                raise
            near.scope.check_unaffected()
        except BoundaryAffectedError:
            on_larger()
        else:
            return found
    raise AssertionError("the whole network has no boundary")


def _places(request: PlanRequest, section: WorkSection) -> Floats:
    """Return the course of every main that is worked on or ordered to be stopped [m]."""
    pipes, orders = request.network.pipes, request.orders
    valves = request.network.valves.pipe[list(orders.force_valves)].tolist()
    rows = {*section.pipe.tolist(), *(stretch.pipe for stretch in orders.force), *valves}
    start = pipes.coord_start
    return np.concatenate([pipes.coords_m[start[row] : start[row + 1]] for row in sorted(rows)])


@dataclass(frozen=True, eq=False)
class SubnetworkContext(PlanningContext):
    """The context of a subnetwork: before any stop it is as the whole network is there.

    Parameters
    ----------
    whole : PlanningContext
        Of the network that the subnetwork was taken out of.
    subnetwork : Subnetwork
    """

    whole: PlanningContext
    subnetwork: Subnetwork

    @classmethod
    def within(cls, whole: PlanningContext, subnetwork: Subnetwork) -> SubnetworkContext:
        """Set up the context for the subnetwork of the work.

        Raises
        ------
        BadNetworkError
            When no station lies within.
        """
        request, rows = whole.request, subnetwork.rows
        base = base_network(subnetwork.network, request.rules)
        return cls(
            request=replace(
                request,
                network=subnetwork.network,
                orders=orders_within(request.orders, subnetwork),
                own_supply=rows_within(request.own_supply, rows.customer),
            ),
            gas=whole.gas,
            # One height for every part of the network.
            conditions=replace(whole.conditions, datum_height_m=datum_height_m(whole.base, whole.conditions)),
            base=replace(base, node_height_m=whole.base.node_height_m[rows.node]),
            whole=whole,
            subnetwork=subnetwork,
            interrupt=whole.interrupt,
        )

    @cached_property
    def scope(self) -> SubnetworkScope:
        """What lies outside the subnetwork."""
        return SubnetworkScope(self)

    @cached_property
    def demand(self) -> DemandResult:
        """Demand of the customers within over the window, fed together with those beyond."""
        return _demand_within(self.whole.demand, self.subnetwork)

    def demand_at(self, air_temp_c: float) -> DemandResult:
        """Return the demand of the same customers and hours at another air temperature, worked out once."""
        if air_temp_c not in self._demand_at:
            self._demand_at[air_temp_c] = _demand_within(self.whole.demand_at(air_temp_c), self.subnetwork)
        return self._demand_at[air_temp_c]

    @cached_property
    def before(self) -> FlowState:
        """The all-on state at the worst hour, before any stop."""
        return self.before_by_hour[0]

    @cached_property
    def before_by_hour(self) -> tuple[FlowState, ...]:
        """The all-on state in each hour to check, before any stop: that of the whole network, within."""
        states = self.whole.before_by_hour
        demands = self.whole.demands_before(self.whole.base.node_count)
        return tuple(self.keep_state(demand, state) for demand, state in zip(demands, states, strict=True))

    def keep_state(self, demand: Floats, state: FlowState) -> FlowState:
        """Keep a state of the whole network for what is solved within; return it as far as it is within.

        Parameters
        ----------
        demand : float array, shape (nodes of the whole network,)
            What is drawn at each node [m³/s at 15 °C, 101.325 kPa].
        state : FlowState
        """
        rows, crossing = self.subnetwork.rows, state.flow_m3_per_s_std[self.subnetwork.rim_piece]
        within = state_of_part(state, rows.node, rows.piece, self.station_places)
        self._boundary.keep(demand[rows.node], self.subnetwork.rim_sign * crossing, within)
        return within

    @property
    def hose_routes(self) -> HoseRoutes:
        """Where hoses and bypasses can lie: on the ground of the whole network."""
        return self.whole.hose_routes

    @cached_property
    def station_places(self) -> Ints:
        """Place of each station within among those of the whole network that lie on a main."""
        placed = np.flatnonzero(self.whole.request.network.stations.node >= 0)
        return np.searchsorted(placed, self.subnetwork.rows.station)

    @cached_property
    def _boundary(self) -> Boundary:
        beyond = self.subnetwork.network.beyond
        node = np.zeros(0, dtype=np.int64) if beyond is None else beyond.node.astype(np.int64)
        return Boundary(self.base, node)

    def _solver_of(self, network: FlowNetwork) -> NetworkSolver:
        """Return what solves a network made from the base one while its boundary keeps still."""
        return self._base_solver if network is self.base else self._base_solver.prepared_for(network)

    @cached_property
    def _base_solver(self) -> BoundarySolver:
        _ = self.before_by_hour
        return BoundarySolver(self._boundary, self.base, self.conditions)


class SubnetworkScope(NetworkScope):
    """A part of a network: the rest stays as it is, or a larger part is taken.

    Parameters
    ----------
    context : SubnetworkContext
    """

    def __init__(self, context: SubnetworkContext) -> None:
        super().__init__(context.whole.request.network)
        self._context, self._whole, self._subnetwork = context, context.whole, context.subnetwork
        self._margins: dict[tuple[float, int], ConstraintMargin] = {}

    @property
    def customer_rows(self) -> Ints:
        """Row among all customers of each customer of the subnetwork."""
        return self._subnetwork.rows.customer

    def margins_outside(self, air_temp_c: float, hours: Sequence[int]) -> tuple[ConstraintMargin, ...]:
        """Return how the inlets outside that held before any stop stand in hours of other weather [°C].

        The whole network is solved for it, so that the subnetwork can be solved in that weather too.
        """
        for hour in hours:
            if (air_temp_c, hour) not in self._margins:
                demand, state = self._whole.state_in(self._whole.demand_at(air_temp_c), hour)
                self._context.keep_state(demand, state)
                pressure = customer_pressure(self.all_customers, state.pressure_pa_gauge)[self._held_outside]
                required = np.full(len(pressure), self._context.required_pa_gauge)
                self._margins[air_temp_c, hour] = held_by_inlets(pressure, required)
        return tuple(self._margins[air_temp_c, hour] for hour in hours)

    @cached_property
    def _held_outside(self) -> Ints:
        """Customers of the whole network that lie outside and held before any stop."""
        held = ~self._whole.weak_before
        held[self.customer_rows] = False
        return np.flatnonzero(held)

    def watch(self, search: CutSearch) -> None:
        """Take note of a search for stops, for `check_unaffected`."""
        self._searches.append(search)

    def check_unaffected(self) -> None:
        """Check that no search for stops read anything at the boundary.

        Raises
        ------
        BoundaryAffectedError
            When one did: outside it might have found something else.
        """
        if any(reads_boundary(search) for search in self._searches):
            raise BoundaryAffectedError

    def check_same_demand(self, groups: DiversityGroups) -> None:
        """Check that customers outside draw as before, though fewer are fed together with them.

        Raises
        ------
        BoundaryAffectedError
            When their uplift or diversity moves: then the whole network is another one.
        """
        now, before = self._context.demand.shares_elsewhere(groups), self._shares_before
        if (np.abs(now - before) > MOST_DRAWN_MORE * before).any():
            raise BoundaryAffectedError

    @cached_property
    def _shares_before(self) -> Floats:
        return self._context.demand.shares_elsewhere(self._context.own_part)

    def check_within(self, x_m: Floats, y_m: Floats, margin_m: float) -> None:
        """Check that all that lies so near to some places is within; see `Subnetwork.require_within`."""
        self._subnetwork.require_within(x_m, y_m, margin_m)
        super().check_within(x_m, y_m, margin_m)

    def check_valves(self, nodes: Flags) -> None:
        """Check that what lies behind the closed valves at some nodes within was read."""
        there = np.zeros(len(self._network.nodes), dtype=bool)
        there[self._subnetwork.rows.node[nodes]] = True
        super().check_valves(there)

    @cached_property
    def outside(self) -> OutsideSummary:
        """What lies outside and stays as it is."""
        whole = self._whole
        network, states = whole.request.network, whole.before_by_hour
        customers, stations = network.customers, network.stations
        pressures = whole.pressures_before_pa_gauge
        out = np.ones(len(customers), dtype=bool)
        out[self.customer_rows] = False
        placed = np.flatnonzero(stations.node >= 0)
        away = np.setdiff1d(np.arange(len(placed)), self._context.station_places)
        loads = np.max([station_loads(whole.base, state) for state in states], axis=0)
        flows = [state.station_flow_m3_per_s_std for state in states]
        names = {place: stations.id[int(placed[place])] for place in away.tolist()}
        return OutsideSummary(
            lowest=tuple(_lowest(network, out, pressure) for pressure in pressures),
            held=tuple(_lowest(network, out & ~whole.weak_before, pressure) for pressure in pressures),
            weak=tuple(customers.id[row] for row in np.flatnonzero(out & whole.weak_before).tolist()),
            high=tuple(customers.id[row] for row in np.flatnonzero(out & whole.high_before).tolist()),
            station_flow_m3_per_s_std=tuple(
                {name: float(flow[place]) for place, name in names.items() if not np.isnan(flow[place])}
                for flow in flows
            ),
            loaded=tuple(
                LoadedStation(
                    name, float(loads[place]), float(stations.capacity_m3_per_s_std[int(placed[place])])
                )
                for place, name in names.items()
                if not np.isnan(loads[place])
            ),
            on_no_pipe=int((np.diff(customers.attach_start)[out] == 0).sum()),
        )


def _lowest(network: Network, counts: NDArray[np.bool_], pressure_pa_gauge: Floats) -> Lowest | None:
    counted = np.where(counts & ~np.isnan(pressure_pa_gauge), pressure_pa_gauge, np.inf)
    row = int(np.argmin(counted)) if len(counted) else 0
    if not len(counted) or np.isinf(counted[row]):
        return None
    return Lowest(float(counted[row]), network.customers.id[row])


def _demand_within(demand: DemandResult, subnetwork: Subnetwork) -> DemandResult:
    beyond = subnetwork.network.beyond
    groups = 0 if beyond is None else len(beyond.fault_pa_gauge)
    return demand.of_some(subnetwork.rows.customer, subnetwork.customer_beyond, groups)

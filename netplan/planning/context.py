"""The context a plan is priced on: network, demand, flow solver and the state before any stop."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints, Ints32
from netplan.core.constants import PA_PER_MBAR
from netplan.demand import (
    DemandResult,
    DiversityGroups,
    Window,
    customer_demand,
    customer_pressure,
    node_demand,
)
from netplan.feeds.free_ground import FreeGround
from netplan.feeds.hose_routes import HoseRoutes
from netplan.hydraulics import (
    CountedSolver,
    FlowConditions,
    FlowNetwork,
    FlowSolver,
    FlowState,
    NetworkSolver,
    SolutionCount,
)
from netplan.hydraulics.recorded_network import base_network, flow_conditions, gas_of, limit_pa_gauge
from netplan.isolation import CutSearch, IsolationProblem, SegmentGraph, cuts, interruption_minor
from netplan.isolation.segment_graph import segment_graph
from netplan.network.kept_subnetworks import KeptSubnetworks
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.network.subnetwork import merged_parts
from netplan.network.topology import components, fed_nodes
from netplan.planning.network_scope import NetworkScope
from netplan.planning.pressure_areas import PressureAreas, pressure_areas
from netplan.planning.request import PlanRequest
from netplan.reference.gas import METRIC_STANDARD, Gas
from netplan.rules import Rules

__all__ = ["PlanningContext"]

AnyAnswer = TypeVar("AnyAnswer")
Interrupt = Callable[[], None] | None

NO_PART = -1
MOST_KEPT_NODES: Final = 4_000_000
"""Nodes of all answers together that are kept for each question (own) [-]."""
_BEFORE_ANY_STOP = (
    *("attachments", "before_flow_m3_per_s_std", "demand", "fed_before", "hours", "index", "own_part"),
    *("before", "before_by_hour", "pressures_before_pa_gauge", "required_pa_gauge", "solver", "weak_before"),
    *("_demand_at", "_demands_before", "_lines", "_part_before", "subnetworks", "hose_routes"),
)
"""What is worked out once and the same whatever the orders."""


@dataclass(frozen=True, eq=False)
class PlanningContext:
    """Everything that is the same for every zone that is priced.

    Parameters
    ----------
    request : PlanRequest
    gas : Gas
    conditions : FlowConditions
    base : FlowNetwork
        The network as recorded, before any stop.
    interrupt : callable, optional
        Called before each flow solution and search for stops; what it raises ends the plan.

    Attributes
    ----------
    days_too_short, windows_too_short : set of float
        Meters off for which the day was found too short, and times for which the window was.
    against_by_purge : set of str
        What the draw of a purge may have done to zones that were priced; empty where each fails without it.
    """

    request: PlanRequest
    gas: Gas
    conditions: FlowConditions
    base: FlowNetwork
    interrupt: Interrupt = field(default=None, kw_only=True, repr=False)
    _demand_at: dict[float, DemandResult] = field(default_factory=dict, init=False, repr=False)
    _rules_with: dict[frozenset[str], Rules] = field(default_factory=dict, init=False, repr=False)
    _lines: dict[tuple[int, float, float], Any] = field(default_factory=dict, init=False, repr=False)
    subnetworks: KeptSubnetworks = field(default_factory=KeptSubnetworks, init=False, repr=False)
    _asked: dict[str, OrderedDict[Any, Any]] = field(default_factory=dict, init=False, repr=False)
    days_too_short: set[float] = field(default_factory=set, init=False, repr=False)
    windows_too_short: set[float] = field(default_factory=set, init=False, repr=False)
    against_by_purge: set[str] = field(default_factory=set, init=False, repr=False)

    # What is given.

    @classmethod
    def for_request(cls, request: PlanRequest) -> PlanningContext:
        """Set up the context for a request.

        Raises
        ------
        BadNetworkError
            When no station feeds the network.
        BadInputError
            When the gas is impossible.
        """
        rules = request.rules
        return cls(
            request=request,
            gas=gas_of(rules),
            conditions=flow_conditions(rules),
            base=base_network(request.network, rules),
        )

    def with_request(self, request: PlanRequest, interrupt: Interrupt = None) -> PlanningContext:
        """Return the context of the same network and window under other orders; the state before is kept.

        The rules' figures for stops, prices and the crew may differ too: nothing of that state rests on them.
        """
        other = replace(self, request=request, interrupt=interrupt or self.interrupt)
        vars(other).update({name: known for name, known in vars(self).items() if name in _BEFORE_ANY_STOP})
        return other

    @cached_property
    def scope(self) -> NetworkScope:
        """How much of the network is planned on, and what lies outside: here all of it, and nothing."""
        return NetworkScope(self.request.network)

    # Who draws what, and what must hold.

    @cached_property
    def demand(self) -> DemandResult:
        """Demand of every customer over the window.

        Raises
        ------
        BadInputError
            When the window is impossible.
        """
        request = self.request
        window = Window(request.start, request.hours, request.air_temp_c, request.forecast)
        calorific_value = self.gas.gross_calorific_value_j_per_m3(METRIC_STANDARD)
        return customer_demand(request.network.customers, window, request.rules, calorific_value)

    def demand_at(self, air_temp_c: float) -> DemandResult:
        """Return the demand of the same customers and hours at another air temperature, worked out once."""
        if air_temp_c not in self._demand_at:
            self._demand_at[air_temp_c] = self.demand.at_air_temp(air_temp_c)
        return self._demand_at[air_temp_c]

    @cached_property
    def hours(self) -> tuple[int, ...]:
        """Rows of the hours to check, that of the greatest total first.

        What holds in these holds in every hour of the window: no hour is left out unless in another one every
        customer draws at least as much. (A station that senses elsewhere raises its outlet when more is drawn
        there, so that for a network with one this is a rule of thumb.)
        """
        worst = self.demand.worst_hour
        return (worst, *(hour for hour in self.demand.hours_to_check() if hour != worst))

    @cached_property
    def own_part(self) -> DiversityGroups:
        """Connected part of each customer before any stop; -1 for one on no pipe."""
        part, beyond = self._part_before
        label = part_of_customers(self.request.network, part, self.fed_before)
        return DiversityGroups(label.astype(np.int64), beyond.astype(np.int64))

    @cached_property
    def _part_before(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Connected part of each node before any stop, and of each part beyond the boundary."""
        network = self.request.network
        part = components(network)
        if network.beyond is None:
            return part, np.zeros(0, dtype=np.int32)
        return merged_parts(part, network.beyond)

    @cached_property
    def attachments(self) -> tuple[Ints, Ints]:
        """Customer row and node of every attachment."""
        customers = self.request.network.customers
        owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
        return owner, customers.attach_node.astype(np.int64)

    @cached_property
    def must_stay(self) -> Flags:
        """Customers that may not go off: priority or ordered, without a supply of their own."""
        request = self.request
        must = np.array(pc.not_equal(request.network.customers.priority.arrow, ""), dtype=bool)
        must[list(request.orders.keep_customers)] = True
        must[list(request.own_supply)] = False
        return must

    @cached_property
    def off_minor(self) -> NDArray[np.int64]:
        """Price of each customer off for the window [minor units]."""
        return interruption_minor(self.request.network, self.request.rules, self.request.window_hours)

    @cached_property
    def required_pa_gauge(self) -> float:
        """What a kept meter inlet must hold [Pa gauge]."""
        return limit_pa_gauge(self.request.rules)

    @cached_property
    def allowed_pa_gauge(self) -> float:
        """What a kept meter inlet may have at most [Pa gauge]."""
        return self.request.rules.pressure.maximum_mbar * PA_PER_MBAR

    # The network before any stop.

    @cached_property
    def fed_before(self) -> Flags:
        """Nodes that a station or an injection reaches before any stop."""
        return fed_nodes(self.request.network, injections=True)

    @cached_property
    def areas(self) -> PressureAreas:
        """The pressure areas before any stop."""
        request, (part, beyond) = self.request, self._part_before
        return pressure_areas(request.network, request.rules, part.astype(np.int64), beyond.astype(np.int64))

    @cached_property
    def before_flow_m3_per_s_std(self) -> Floats:
        """Flow of each customer at the worst hour before any stop [m³/s at 15 °C, 101.325 kPa]."""
        return self.demand.flow_m3_per_s_std(part=self.own_part)

    def demands_before(self, node_count: int) -> tuple[Floats, ...]:
        """Return the demand of each node in each hour to check before any stop [m³/s at 15 °C, 101.325 kPa].

        The network may have more nodes than the base, of which the first are those of the base.
        """
        new = np.zeros(node_count - len(self.fed_before))
        demands = tuple(np.concatenate([demand, new]) for demand in self._demands_before)
        for demand in demands:
            demand.flags.writeable = False
        return demands

    @cached_property
    def _demands_before(self) -> tuple[Floats, ...]:
        customers, live = self.request.network.customers, self.fed_before
        return tuple(
            node_demand(customers, self.demand.flow_m3_per_s_std(hour, self.own_part), len(live), live)
            for hour in self.hours
        )

    @cached_property
    def solver(self) -> FlowSolver:
        """Solver prepared for the base network."""
        return FlowSolver(self.base, self.conditions)

    @cached_property
    def before(self) -> FlowState:
        """The all-on state at the worst hour, before any stop."""
        return self.solver.solve(self.demands_before(self.base.node_count)[0])

    @cached_property
    def before_by_hour(self) -> tuple[FlowState, ...]:
        """The all-on state in each hour to check, before any stop."""
        first = self.before
        others = self.demands_before(self.base.node_count)[1:]
        return (first, *(self.solver.resolve(demand_m3_per_s_std=demand) for demand in others))

    def state_in(self, demand: DemandResult, hour: int) -> tuple[Floats, FlowState]:
        """Return what is drawn at each node in an hour [m³/s at 15 °C, 101.325 kPa], and the all-on state."""
        customers, live = self.request.network.customers, self.fed_before
        drawn = node_demand(customers, demand.flow_m3_per_s_std(hour, self.own_part), len(live), live)
        return drawn, self.solver.resolve(demand_m3_per_s_std=drawn, warm=self.before)

    @cached_property
    def pressures_before_pa_gauge(self) -> tuple[Floats, ...]:
        """Pressure at each meter inlet in each hour to check before any stop [Pa gauge]; NaN: none."""
        customers = self.request.network.customers
        return tuple(customer_pressure(customers, state.pressure_pa_gauge) for state in self.before_by_hour)

    @cached_property
    def weak_before(self) -> Flags:
        """Customers that fail in some hour before any stop: a finding, neither priced nor a veto."""
        weak = np.zeros(len(self.request.network.customers), dtype=bool)
        for pressure in self.pressures_before_pa_gauge:
            weak |= ~(pressure >= self.required_pa_gauge)
        return weak

    @cached_property
    def high_before(self) -> Flags:
        """Customers above the highest allowed pressure before any stop: neither priced nor a veto."""
        high = np.zeros(len(self.request.network.customers), dtype=bool)
        for pressure in self.pressures_before_pa_gauge:
            high |= pressure > self.allowed_pa_gauge
        return high

    # What is asked of it while cuts are priced.

    def solver_of(self, network: FlowNetwork) -> CountedSolver:
        """Return what solves a network made from the base one; what it solves is counted."""
        return CountedSolver(self._solver_of(network), self.solutions)

    def _solver_of(self, network: FlowNetwork) -> NetworkSolver:
        return self.solver if network is self.base else self.solver.prepared_for(network)

    @cached_property
    def solutions(self) -> SolutionCount:
        """How many networks were solved for pricing; those before any stop are not counted."""
        return SolutionCount(self.interrupt)

    @cached_property
    def index(self) -> SegmentGraph:
        """What the choice of stops looks up, built once."""
        return segment_graph(self.request.network)

    def cuts(self, problem: IsolationProblem) -> CutSearch:
        """Return the ways to isolate the work."""
        if self.interrupt is not None:
            self.interrupt()
        search = cuts(problem, self.index)
        self.scope.watch(search)
        return search

    def was_asked(self, question: str) -> bool:
        """Return whether an answer was ever kept; see `once`."""
        return question in self._asked

    def once(self, question: str, key: Hashable, answer: Callable[[], AnyAnswer]) -> AnyAnswer:
        """Return the answer to what many zones ask alike: worked out once, the latest ones kept.

        Parameters
        ----------
        question : str
            What is asked.
        key : hashable
            All that the answer depends on beside this context; the answer must not be changed.
        answer : callable
            Works it out.
        """
        known = self._asked.setdefault(question, OrderedDict())
        if key not in known:
            known[key] = answer()
            if len(known) > max(MOST_KEPT_NODES // max(len(self.fed_before), 1), 1):
                known.popitem(last=False)
        known.move_to_end(key)
        found: AnyAnswer = known[key]
        return found

    @cached_property
    def hose_routes(self) -> HoseRoutes:
        """Where hoses and bypasses can lie, looked up for every two tees once."""
        network = self.request.network
        return HoseRoutes(FreeGround.of(network), network.scale)

    def rules_with(self, methods: frozenset[str]) -> Rules:
        """Return the rules with these methods alone; the same object for the same names.

        What the choice of stops works out for rules is kept by their identity.
        """
        if methods not in self._rules_with:
            kept = tuple(m for m in self.request.rules.method if m.name in methods)
            self._rules_with[methods] = self.request.rules.model_copy(update={"method": kept})
        return self._rules_with[methods]

    def lines_between(self, pipe: Ints | Ints32, from_m: Floats, to_m: Floats) -> NDArray[np.object_]:
        """Return lengths of pipes as lines in the working CRS, each drawn once."""
        asked = list(zip(pipe.tolist(), from_m.tolist(), to_m.tolist(), strict=True))
        new = sorted(set(asked) - self._lines.keys())
        drawn = lines_between(
            self.request.network,
            np.array([p for p, _, _ in new], dtype=np.int64),
            np.array([low for _, low, _ in new], dtype=float),
            np.array([high for _, _, high in new], dtype=float),
        )
        self._lines.update(zip(new, drawn, strict=True))
        found = np.empty(len(asked), dtype=object)
        found[:] = [self._lines[length] for length in asked]
        return found


def part_of_customers(network: Network, part: Ints32, fed: Flags, loses: Flags | None = None) -> Ints32:
    """Return the part that each customer counts in; NO_PART for one on no pipe.

    Of several attachments the last one that loses its gas counts, else the last that is fed.

    Parameters
    ----------
    network : Network
    part : int32 array, shape (nodes,)
    fed : bool array, shape (nodes,)
    loses : bool array, shape (attachments,), optional; None by default
    """
    customers, at = network.customers, network.customers.attach_node
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    found = np.full(len(customers), NO_PART, np.int32)
    for rows in (~fed[at], fed[at], np.zeros(len(at), bool) if loses is None else loses):
        found[owner[rows]] = part[at[rows]]
    return found

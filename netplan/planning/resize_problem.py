"""A planned option as a problem to size its feeds anew, from the folder alone.

Nothing of the network file is needed. Links, heights, stations and feeds come from the option's solved state,
rules and window from plan.json. Demand of other weather is worked out from the customers' recorded energy
and power, with the parts they are fed in together; customers off stay off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.demand import DemandResult
from netplan.feeds import Draw, Feed, FeedCase, FeedKind, FeedLoads, FeedSize, Inlets
from netplan.hydraulics import FlowConditions, FlowNetwork, FlowSolver
from netplan.hydraulics.recorded_network import flow_conditions, limit_pa_gauge
from netplan.planfile import SolvedState, StateNetwork, flow_network
from netplan.planfile.model import Bypass, Option, Plan
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.state_network import recorded_demand
from netplan.rules import Rules, checked_rules

__all__ = ["ResizeProblem", "resize_problem"]


LEAST_BESIDE_M3_PER_S: Final = 1e-9
"""Demand of a node beside its customers that is more than rounding (own) [m³/s at 15 °C, 101.325 kPa]."""


@dataclass(frozen=True, slots=True, eq=False)
class ResizeProblem:
    """An option's state after the stops, its feeds taken out.

    Parameters
    ----------
    option : Option
    rules : Rules
        The rules it was planned by.
    air_temp_c : float
        Air temperature it was planned for [°C].
    state : SolvedState
        The option's solved state.
    network : StateNetwork
        What the state is the solution of, without its feeds.
    planned : tuple of FeedSize
        Bypasses and hoses as planned.
    inlets : int array
        Nodes of meter inlets that must hold: of customers kept, that held before any stop.
    inlet_customer : tuple of str
        One customer at each of them.
    demand : DemandResult
        Demand of the customers over the plan's window.
    """

    option: Option
    rules: Rules
    air_temp_c: float
    state: SolvedState
    network: StateNetwork
    planned: tuple[FeedSize, ...]
    inlets: Ints
    inlet_customer: tuple[str, ...]
    demand: DemandResult
    _owner: Ints
    _at: Ints
    _beside: Floats

    @property
    def conditions(self) -> FlowConditions:
        """Gas and ground temperature."""
        return flow_conditions(self.rules)

    @property
    def flow(self) -> FlowNetwork:
        """Pipes of the work's pressure system as they are with the stops in; opened valves stay open."""
        return self.network.flow

    @property
    def station_id(self) -> tuple[str, ...]:
        """Stations of `flow`, in order."""
        return tuple(self.state.stations.station_id.take(self.network.station))

    def node_demand(self, air_temp_c: float | None = None) -> Floats:
        """Return the demand of each node with all margins [m³/s at 15 °C, 101.325 kPa].

        Parameters
        ----------
        air_temp_c : float, optional
            Air temperature in every hour of the window [°C]; default as planned, forecast included.
        """
        customers = self.state.customers
        flow = customers.demand_m3h / SECONDS_PER_HOUR
        if air_temp_c is not None:
            flow = self._of_those_on(
                self.demand.at_air_temp(air_temp_c).flow_m3_per_s_std(part=customers.part)
            )
        return self._beside + self._drawn(flow)

    def _of_those_on(self, flow: Floats) -> Floats:
        return np.where(self.state.customers.demand_m3h > 0.0, flow, 0.0)

    def _drawn(self, flow: Floats) -> Floats:
        ways = np.bincount(self._owner, minlength=len(flow))
        drawn = flow[self._owner] / ways[self._owner]
        return np.bincount(self._at, weights=drawn, minlength=len(self.network.node)).astype(float)

    def loads(self, air_temp_c: float | None = None) -> FeedLoads:
        """Return all that must be carried, gas for purging in on top [m³/s at 15 °C, 101.325 kPa].

        Parameters
        ----------
        air_temp_c : float, optional
            As for `node_demand`.
        """
        demand = self.demand if air_temp_c is None else self.demand.at_air_temp(air_temp_c)
        worst = demand.worst_hour
        hours = [self.node_demand(air_temp_c)]
        for hour in demand.hours_to_check():
            if hour != worst:
                flow = demand.flow_m3_per_s_std(hour, self.state.customers.part)
                hours.append(self._beside + self._drawn(self._of_those_on(flow)))
        draws = tuple(
            tuple(
                Draw(int(node), load.draw_m3h / SECONDS_PER_HOUR)
                for node in self.network.rows(np.array(load.nodes, dtype=np.int64))
            )
            for load in self.option.purge.loads
        )
        return FeedLoads(tuple(hours), draws)

    def case(self, rules: Rules, air_temp_c: float | None = None) -> FeedCase:
        """Return the state as a case for feeds, its inlets held to these rules' minimum and margin."""
        demand = self.node_demand(air_temp_c)
        solver = FlowSolver(self.flow, self.conditions)
        solver.solve(demand)
        inlets = Inlets(self.inlets, np.full(len(self.inlets), limit_pa_gauge(rules)))
        return FeedCase(solver, demand, inlets, self.loads(air_temp_c))


def resize_problem(plan: Plan, state: SolvedState) -> ResizeProblem:
    """Return the sizing of an option's feeds as a problem, from a plan and the option's solved state.

    Parameters
    ----------
    plan : Plan
    state : SolvedState

    Raises
    ------
    BadInputError
        When the plan has no such option, or the state does not hold the whole network.
    """
    option = option_of_rank(plan, state.option)
    rules = checked_rules(plan.rules, "plan.json: rules")
    network, customers = flow_network(state), state.customers
    bypasses = {bypass.id: bypass for bypass in option.bypasses}
    demand = recorded_demand(plan, rules, customers)
    inside = np.isin(customers.drawn_node, network.node)
    owner, at = customers.drawn_by()[inside], network.rows(customers.drawn_node[inside])
    inlets, names = _inlets(owner, at, state, limit_pa_gauge(rules), option.pressures.weak_before)
    problem = ResizeProblem(
        option=option,
        rules=rules,
        air_temp_c=plan.conditions.air_temp_c,
        state=state,
        network=network,
        planned=_planned(state, network, bypasses),
        inlets=inlets,
        inlet_customer=names,
        demand=demand,
        _owner=owner,
        _at=at,
        _beside=np.zeros(len(network.node)),
    )
    # What a node draws beside its customers, if anything, stays as planned.
    beside = network.demand_m3_per_s_std - problem.node_demand()
    return replace(problem, _beside=np.where(np.abs(beside) > LEAST_BESIDE_M3_PER_S, beside, 0.0))


def _planned(state: SolvedState, network: StateNetwork, bypasses: dict[str, Bypass]) -> tuple[FeedSize, ...]:
    feeds = state.feeds
    rows = np.flatnonzero(feeds.from_node >= 0)
    ends = zip(network.rows(feeds.from_node[rows]), network.rows(feeds.to_node[rows]), strict=True)
    found = []
    for row, (start, end) in zip(rows.tolist(), ends, strict=True):
        kind = FeedKind(feeds.kind[row])
        written = bypasses[feeds.bypass_id[row]]
        feed = Feed(
            kind,
            written.id,
            int(start),
            int(end),
            float(feeds.length_m[row]),
            outlets_mm=written.outlets_mm,
            tees=(written.most_parallel,) * 2 if written.most_parallel else (),
            crossings=written.crossings,
        )
        found.append(FeedSize(feed, float(feeds.bore_mm[row]) / MM_PER_M, int(feeds.parallel[row])))
    return tuple(found)


def _inlets(
    owner: Ints, at: Ints, state: SolvedState, required_pa_gauge: float, weak_before: tuple[str, ...]
) -> tuple[Ints, tuple[str, ...]]:
    customers = state.customers
    counts = ~customers.is_off & (customers.pressure_before_mbar >= required_pa_gauge / PA_PER_MBAR)
    # Some failed in another hour than that of the pressures on record.
    counts &= ~np.isin(customers.customer_id.numpy(), list(weak_before))
    nodes, first = np.unique(at[counts[owner]], return_index=True)
    return nodes, tuple(customers.customer_id.take(owner[counts[owner]][first]))

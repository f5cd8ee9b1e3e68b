"""A case to be fed: the network with the stops in, all it has to carry, and the inlets that must hold."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds.constraint_margin import ConstraintMargin, held_by_inlets, held_by_velocity, worst_of
from netplan.feeds.feed_kinds import FeedSize, SizedFeed
from netplan.feeds.feed_links import feed_links, feed_loss_coefficient
from netplan.feeds.feed_prices import feed_price_minor
from netplan.hydraulics.flow_network import FlowState
from netplan.hydraulics.solver_protocol import NetworkSolver
from netplan.rules.rule_set import Rules

__all__ = ["Draw", "FeedCase", "FeedLoads", "Inlets", "Verdict", "as_loads"]


@dataclass(frozen=True, slots=True)
class Draw:
    """Gas taken at a node [m³/s at 15 °C, 101.325 kPa] beside the customers' demand."""

    node: int
    flow_m3_per_s_std: float

    def on(self, demand_m3_per_s_std: Floats) -> Floats:
        """Return a node demand with the draw on top [m³/s at 15 °C, 101.325 kPa]."""
        drawn = demand_m3_per_s_std.copy()
        drawn[self.node] += self.flow_m3_per_s_std
        return drawn


@dataclass(frozen=True, slots=True, eq=False)
class FeedLoads:
    """Node demands that all have to be carried.

    Parameters
    ----------
    hours : tuple of float arrays, shape (nodes,)
        Demand in each hour that counts, all margins in [m³/s at 15 °C, 101.325 kPa]; the first is the one
        that figures are given for.
    draws : tuple of tuple of Draw
        For each purge the places where its gas may be taken: at one of them every hour must hold. What holds
        with a draw holds without, so that the bare hours need no solving then.
    beyond : tuple of ConstraintMargin
        How inlets stand in each hour that nothing done here changes; empty where there are none.
    """

    hours: tuple[Floats, ...]
    draws: tuple[tuple[Draw, ...], ...] = ()
    beyond: tuple[ConstraintMargin, ...] = ()

    def groups(self) -> Iterator[tuple[Draw | None, ...]]:
        """Yield the alternatives of each purge; one of nothing where there is none."""
        yield from self.draws or ((None,),)

    def under(self, draw: Draw | None) -> Iterator[Floats]:
        """Yield the demand of every hour with a draw on top."""
        return (demand if draw is None else draw.on(demand) for demand in self.hours)

    def in_hour(self, row: int) -> FeedLoads:
        """Return the loads of one hour alone; of the first where there is no such row."""
        place = row if row < len(self.hours) else 0
        return replace(self, hours=(self.hours[place],), beyond=self.beyond[place : place + 1])

    def changed(self, change: Callable[[Floats], Floats]) -> FeedLoads:
        """Return the same with every hour's demand changed."""
        return replace(self, hours=tuple(change(demand) for demand in self.hours))


def as_loads(demand: Floats | FeedLoads) -> FeedLoads:
    """Return one node demand as loads; loads as they are."""
    return demand if isinstance(demand, FeedLoads) else FeedLoads((demand,))


MOST_PREPARED = 4
"""Solvers with feeds in that a case keeps [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class Inlets:
    """Meter inlets that must hold.

    Parameters
    ----------
    node : int array, shape (k,)
        Node of the flow network.
    required_pa_gauge : float array, shape (k,)
        What each must have [Pa gauge], a pressure allowance for its own service included.
    allowed_pa_gauge : float array, shape (k,), optional
        What each may have at most [Pa gauge]; no limit by default.
    """

    node: Ints
    required_pa_gauge: Floats
    allowed_pa_gauge: Floats | None = None

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What a solved network says about a set of feeds.

    Parameters
    ----------
    margin : ConstraintMargin
        Whether they hold, and by how much.
    least_inlet : int
        Row of the inlet with the least pressure; -1 when there is none.
    least_pa_gauge : float
        Its pressure [Pa gauge]; NaN without gas.
    state : FlowState
    """

    margin: ConstraintMargin
    least_inlet: int
    least_pa_gauge: float
    state: FlowState

    @property
    def holds(self) -> bool:
        """Whether they hold."""
        return self.margin.holds

    @property
    def reason(self) -> str:
        """Why not, in one line; empty when they hold."""
        return self.margin.reason


@dataclass(frozen=True, slots=True, eq=False)
class FeedCase:
    """The network with the stops in, waiting for feeds.

    Parameters
    ----------
    solver : NetworkSolver
        Prepared for the network with the stops closed, tap nodes included.
    demand_m3_per_s_std : float array, shape (nodes,)
        Demand with all margins, relighting and purge-in draw where they count
        [m³/s at 15 °C, 101.325 kPa].
    inlets : Inlets
        Inlets that must hold.
    loads : FeedLoads, optional
        All that must be carried, where that is more than the demand: other hours, purging in. The demand
        itself is then the one that figures are given for.
    """

    solver: NetworkSolver
    demand_m3_per_s_std: Floats
    inlets: Inlets
    loads: FeedLoads | None = None
    _prepared: OrderedDict[tuple[FeedSize, ...], NetworkSolver] = field(
        default_factory=OrderedDict, repr=False
    )
    _solved: OrderedDict[tuple[tuple[str, int], ...], FlowState] = field(
        default_factory=OrderedDict, repr=False
    )

    @property
    def every_load(self) -> FeedLoads:
        """All that must be carried: the loads, or the demand alone."""
        return self.loads or FeedLoads((self.demand_m3_per_s_std,))

    def solve(
        self, sizes: Sequence[FeedSize], rules: Rules, demand_m3_per_s_std: Floats | None = None
    ) -> FlowState:
        """Return the network solved with feeds of these sizes; hoses are the last links, in order."""
        demand = self.demand_m3_per_s_std if demand_m3_per_s_std is None else demand_m3_per_s_std
        if not sizes:
            return self.solver.resolve(demand_m3_per_s_std=demand)
        solver = self._solver_with(tuple(sizes), rules)
        key = tuple((size.feed.label, size.parallel) for size in sizes)
        # The same feeds of another size, or under another demand, are the nearest that is known.
        start = self._solved.get(key) or solver.solve(self.demand_m3_per_s_std)
        self._solved[key] = solver.resolve(demand_m3_per_s_std=demand, warm=start)
        if len(self._solved) > MOST_PREPARED:
            self._solved.popitem(last=False)
        return self._solved[key]

    def _solver_with(self, sizes: tuple[FeedSize, ...], rules: Rules) -> NetworkSolver:
        """Return a solver prepared with feeds in: the same ones are asked for at many demands."""
        if sizes not in self._prepared:
            network = self.solver.network
            is_open = network.links.is_open.copy()
            is_open[[size.feed.valve_link for size in sizes if size.feed.valve_link >= 0]] = True
            links = replace(network.links, is_open=is_open).joined_with(feed_links(sizes, rules))
            self._prepared[sizes] = self.solver.prepared_for(network.with_links(links))
            if len(self._prepared) > MOST_PREPARED:
                self._prepared.popitem(last=False)
        return self._prepared[sizes]

    def judge(
        self,
        sizes: Sequence[FeedSize],
        rules: Rules,
        *,
        demand_m3_per_s_std: Floats | None = None,
        skip_inlets: Flags | None = None,
    ) -> Verdict:
        """Solve with feeds and judge pressure at every inlet and velocity in every hose.

        Parameters
        ----------
        sizes : sequence of FeedSize
        rules : Rules
        demand_m3_per_s_std : float array, optional
            In place of the case's demand.
        skip_inlets : bool array, shape (inlets,), optional
            Inlets that are off and need not hold.
        """
        state = self.solve(sizes, rules, demand_m3_per_s_std)
        row, least, pressure = self._least(state, skip_inlets)
        velocities = zip(sizes, self.velocities_m_per_s(sizes, state), strict=True)
        driven = [held_by_velocity(size, velocity, rules) for size, velocity in velocities]
        return Verdict(worst_of(pressure, *driven), row, least, state)

    def _least(self, state: FlowState, skip_inlets: Flags | None) -> tuple[int, float, ConstraintMargin]:
        inlets = self.inlets
        pressure = state.pressure_pa_gauge[inlets.node]
        counts = np.ones(len(inlets), dtype=bool) if skip_inlets is None else ~skip_inlets
        rows = np.flatnonzero(counts)
        margin = held_by_inlets(pressure[rows], inlets.required_pa_gauge[rows])
        if not len(rows):
            return -1, math.nan, margin
        # An inlet without gas is worse than any pressure.
        known = np.where(np.isnan(pressure[rows]), -np.inf, pressure[rows])
        worst = rows[np.argmin(known if margin.holds else known - inlets.required_pa_gauge[rows])]
        return int(worst), float(pressure[worst]), margin

    def velocities_m_per_s(self, sizes: Sequence[FeedSize], state: FlowState) -> list[float]:
        """Return the actual velocity in each feed's hoses at their upstream pressure [m/s]; 0 for a valve."""
        conditions = self.solver.conditions
        per_density = conditions.properties().pressure_per_density
        row = self.solver.network.links.count
        found = []
        for size in sizes:
            if size.feed.valve_link >= 0:
                found.append(0.0)
                continue
            mass = float(state.flow_kg_per_s[row])
            upstream = size.feed.from_node if mass >= 0 else size.feed.to_node
            pressure = float(state.pressure_pa_gauge[upstream]) + conditions.atmospheric_pressure_pa_abs
            area = math.pi / 4.0 * size.bore_m**2
            found.append(abs(mass) * per_density / pressure / area)
            row += size.parallel
        return found

    def figures(self, sizes: Sequence[FeedSize], verdict: Verdict, rules: Rules) -> tuple[SizedFeed, ...]:
        """Return each feed with its figures in the solved network."""
        state = verdict.state
        row = self.solver.network.links.count
        velocities = self.velocities_m_per_s(sizes, state)
        found = []
        for size, velocity in zip(sizes, velocities, strict=True):
            feed = size.feed
            if feed.valve_link >= 0:
                sign = 1.0 if self.solver.network.links.from_node[feed.valve_link] == feed.from_node else -1.0
                flow = sign * float(state.flow_m3_per_s_std[feed.valve_link])
                loss = 0.0
            else:
                flow = float(state.flow_m3_per_s_std[row : row + size.parallel].sum())
                loss = feed_loss_coefficient(size.bore_m, rules, feed.outlets_mm)
                row += size.parallel
            found.append(
                SizedFeed(
                    size=size,
                    loss_coefficient=loss,
                    flow_m3_per_s_std=flow,
                    velocity_m_per_s=velocity,
                    pressure_from_pa_gauge=float(state.pressure_pa_gauge[feed.from_node]),
                    pressure_to_pa_gauge=float(state.pressure_pa_gauge[feed.to_node]),
                    least_pa_gauge=verdict.least_pa_gauge,
                    least_inlet=verdict.least_inlet,
                    price_minor=feed_price_minor(feed, size.parallel, rules),
                    state=state,
                )
            )
        return tuple(found)

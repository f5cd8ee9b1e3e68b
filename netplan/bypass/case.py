"""A case to be fed: the network with the stops in, the demand, and the inlets that must hold."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from netplan.bypass.links import feed_links, feed_loss_coefficient
from netplan.bypass.model import FeedSize, SizedFeed
from netplan.bypass.price import feed_price_minor
from netplan.constants import PA_PER_MBAR
from netplan.hydraulics.model import FlowState
from netplan.hydraulics.solver import FlowSolver
from netplan.rules.model import Rules

__all__ = ["FeedCase", "Inlets", "Verdict", "required_pressure_pa_gauge", "short_of", "too_fast"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

MOST_PREPARED = 4
"""Solvers with feeds in that a case keeps [-]."""
ROUNDING_PA = 1e-6
"""What solving to rounding may cost a pressure [Pa]."""


def required_pressure_pa_gauge(rules: Rules) -> float:
    """Return what a kept meter inlet must have: the rules' minimum and margin [Pa gauge]."""
    return (rules.pressure.minimum_mbar + rules.pressure.margin_mbar) * PA_PER_MBAR


@dataclass(frozen=True, slots=True, eq=False)
class Inlets:
    """Meter inlets that must hold.

    Parameters
    ----------
    node : int array, shape (k,)
        Node of the flow network.
    required_pa_gauge : float array, shape (k,)
        What each must have [Pa gauge], a pressure allowance for its own service included.
    """

    node: Ints
    required_pa_gauge: Floats

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What a solved network says about a set of feeds.

    Parameters
    ----------
    holds : bool
    reason : str
        Why not, in one line; empty when it holds.
    least_inlet : int
        Row of the inlet with the least pressure; -1 when there is none.
    least_pa_gauge : float
        Its pressure [Pa gauge]; NaN without gas.
    state : FlowState
    """

    holds: bool
    reason: str
    least_inlet: int
    least_pa_gauge: float
    state: FlowState


def short_of(pressure_pa_gauge: Floats, required_pa_gauge: Floats) -> str:
    """Return why inlets do not hold, by the one that misses most; empty when they do or there are none."""
    if not len(pressure_pa_gauge):
        return ""
    if np.isnan(pressure_pa_gauge).any():
        return "an inlet that must hold has no solved pressure"
    excess = pressure_pa_gauge - required_pa_gauge
    worst = int(np.argmin(excess))
    if excess[worst] >= -ROUNDING_PA:
        return ""
    return (
        f"{pressure_pa_gauge[worst] / PA_PER_MBAR:.3f} mbar at the worst inlet, "
        f"{required_pa_gauge[worst] / PA_PER_MBAR:.3f} mbar needed"
    )


def too_fast(size: FeedSize, velocity_m_per_s: float, rules: Rules) -> str:
    """Return why a hose is driven too hard; empty when it is not. A velocity that is unknown is too fast."""
    if velocity_m_per_s <= rules.bypass.velocity_max_m_s:
        return ""
    return f"{velocity_m_per_s:.1f} m/s in {size.feed.label}, {rules.bypass.velocity_max_m_s:g} m/s allowed"


@dataclass(frozen=True, slots=True, eq=False)
class FeedCase:
    """The network with the stops in, waiting for feeds.

    Parameters
    ----------
    solver : FlowSolver
        Prepared for the network with the stops closed, tap nodes included.
    demand_m3_per_s_std : float array, shape (nodes,)
        Demand with all margins, relighting and purge-in draw where they count
        [m³/s at 15 °C, 101.325 kPa].
    inlets : Inlets
        Inlets that must hold.
    """

    solver: FlowSolver
    demand_m3_per_s_std: Floats
    inlets: Inlets
    _prepared: OrderedDict[tuple[FeedSize, ...], FlowSolver] = field(default_factory=OrderedDict, repr=False)

    def solve(
        self, sizes: Sequence[FeedSize], rules: Rules, demand_m3_per_s_std: Floats | None = None
    ) -> FlowState:
        """Return the network solved with feeds of these sizes; hoses are the last links, in order."""
        demand = self.demand_m3_per_s_std if demand_m3_per_s_std is None else demand_m3_per_s_std
        if not sizes:
            return self.solver.resolve(demand_m3_per_s_std=demand)
        return self._solver_with(tuple(sizes), rules).resolve(demand_m3_per_s_std=demand)

    def _solver_with(self, sizes: tuple[FeedSize, ...], rules: Rules) -> FlowSolver:
        """Return a solver prepared with feeds in: the same ones are asked for at many demands."""
        if sizes not in self._prepared:
            network = self.solver.network
            is_open = network.links.is_open.copy()
            is_open[[size.feed.valve_link for size in sizes if size.feed.valve_link >= 0]] = True
            links = replace(network.links, is_open=is_open).joined_with(feed_links(sizes, rules))
            self._prepared[sizes] = FlowSolver(network.with_links(links), self.solver.conditions)
            self._prepared[sizes].solve(self.demand_m3_per_s_std)
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
        row, least, short = self._least(state, skip_inlets)
        reason = short or self._too_fast(sizes, state, rules)
        return Verdict(not reason, reason, row, least, state)

    def _least(self, state: FlowState, skip_inlets: Flags | None) -> tuple[int, float, str]:
        inlets = self.inlets
        pressure = state.pressure_pa_gauge[inlets.node]
        counts = np.ones(len(inlets), dtype=bool) if skip_inlets is None else ~skip_inlets
        if not counts.any():
            return -1, math.nan, ""
        rows = np.flatnonzero(counts)
        short = short_of(pressure[rows], inlets.required_pa_gauge[rows])
        # An inlet without gas is worse than any pressure.
        known = np.where(np.isnan(pressure[rows]), -np.inf, pressure[rows])
        worst = rows[np.argmin(known - inlets.required_pa_gauge[rows] if short else known)]
        return int(worst), float(pressure[worst]), short

    def _too_fast(self, sizes: Sequence[FeedSize], state: FlowState, rules: Rules) -> str:
        for size, velocity in zip(sizes, self.velocities_m_per_s(sizes, state), strict=True):
            reason = too_fast(size, velocity, rules)
            if reason:
                return reason
        return ""

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
                loss = feed_loss_coefficient(size.bore_m, rules)
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

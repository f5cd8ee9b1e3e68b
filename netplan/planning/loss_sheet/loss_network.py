"""The final network of an option with openings to the air: solved for each thing that may fail."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.hydraulics import FlowLinks, FlowNetwork, FlowState, NetworkSolver, PartStatus
from netplan.hydraulics.starved_demand import resolve_without_starved
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planning.connectivity import node_demand_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.work_states import ROUNDING_PA
from netplan.reference.purge_figures import purge_figure

__all__ = ["LossNetwork", "LossState", "Opening"]

END_M: Final = 0.01
"""Length of pipe between the barrier nearest the work and the open end, in the bore of the main (own) [m]."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A way out for gas.

    Parameters
    ----------
    node : int
        Node of the final network that it is at.
    bore_m : float
        Of the main at an open end, of the outlet else [m].
    is_end : bool
        Whether the whole bore is open; an outlet is a sharp-edged orifice.
    """

    node: int
    bore_m: float
    is_end: bool


@dataclass(frozen=True, slots=True, eq=False)
class LossState:
    """What the network does when something fails, at the hour of the greatest total.

    Parameters
    ----------
    low : int array
        Rows of the customers kept so far who have less than a kept inlet must hold, or no gas; ascending.
    high : int array
        Rows of those who have more than a kept inlet may have, and had not before.
    least_pa_gauge : float
        Least kept inlet of those that have gas [Pa gauge]; NaN without one.
    flow_m3_per_s_std : float
        Gas that escapes [m³/s at 15 °C, 101.325 kPa]; NaN where that part has no solution.
    seconds : float
        That the gas in the pipes that fall too low lasts [s]; NaN where none does.
    is_solved : bool
        False where some part of the network has no solution.
    pressure_pa_gauge : float array, shape (nodes,)
        NaN without gas, or without a solution.
    """

    low: Ints
    high: Ints
    least_pa_gauge: float
    flow_m3_per_s_std: float
    seconds: float
    is_solved: bool
    pressure_pa_gauge: Floats


class LossNetwork:
    """The final network with every opening drawn in, each shut until it is asked for.

    Parameters
    ----------
    context : PlanningContext
    priced : EvaluatedOption
    final : FinalNetwork
        Of the option.
    openings : mapping of str to Opening
    """

    def __init__(
        self,
        context: PlanningContext,
        priced: EvaluatedOption,
        final: FinalNetwork,
        openings: Mapping[str, Opening],
    ) -> None:
        self._context, self._priced, self._final = context, priced, final
        self._link_of = {name: final.flow.links.count + k for k, name in enumerate(openings)}
        self._openings = openings
        self._last = final.state

    @cached_property
    def _flow(self) -> FlowNetwork:
        flow, ways = self._final.flow, list(self._openings.values())
        air = flow.node_count + np.arange(len(ways))
        orifice = purge_figure("outlet_discharge") ** -2.0
        at = np.array([way.node for way in ways], dtype=np.int64)
        ends = FlowLinks(
            at,
            air,
            np.array([END_M if way.is_end else 0.0 for way in ways]),
            np.array([way.bore_m for way in ways]),
            np.zeros(len(ways)),
            np.array([0.0 if way.is_end else orifice for way in ways]),
        )
        return replace(
            flow,
            node_count=flow.node_count + len(ways),
            links=flow.links.joined_with(ends),
            node_height_m=np.concatenate([flow.node_height_m, flow.node_height_m[at]]),
            open_node=air,
        )

    @cached_property
    def _solver(self) -> NetworkSolver:
        return self._context.solver_of(self._flow)

    @cached_property
    def _demand(self) -> Floats:
        priced = self._priced
        return node_demand_after(self._context, priced.reach, priced.flow_m3_per_s_std, self._flow.node_count)

    @cached_property
    def inlets(self) -> tuple[Ints, Ints]:
        """Customers kept so far, and the nodes of their inlets that have gas before any stop."""
        owner, at = self._context.attachments
        kept = ~self._priced.gone[owner] & ~self._priced.reach.in_zone[at] & self._context.fed_before[at]
        return owner[kept], at[kept]

    def after(
        self,
        opened: Collection[str] = (),
        *,
        shut_links: Collection[int] = (),
        lost_station: int = -1,
        fault_station: int = -1,
        fault_pa_gauge: float = math.nan,
    ) -> LossState | None:
        """Return the state with some openings open; None where it is felt beyond the part planned in.

        Parameters
        ----------
        opened : collection of str
            Names of openings.
        shut_links : collection of int
            Links of the final network that carry nothing any more.
        lost_station : int
            Place among the stations of the flow network of one that gives nothing; -1 for none.
        fault_station : int
            Place of one that holds `fault_pa_gauge` [Pa gauge], nothing being drawn: the highest that can
            stand anywhere; -1 for none.
        """
        flow = self._flow
        shut = sorted({*shut_links, *(link for name, link in self._link_of.items() if name not in opened)})
        capacity, pressure, demand = None, None, self._demand
        if lost_station >= 0:
            capacity = flow.station_capacity_m3_per_s_std.copy()
            capacity[lost_station] = 0.0
        if fault_station >= 0:
            pressure = flow.station_pressure_pa_gauge.copy()
            pressure[fault_station] = fault_pa_gauge
            demand = np.zeros_like(demand)
        try:
            state, starved = resolve_without_starved(
                self._solver,
                demand,
                closed_links=shut,
                station_pressure_pa_gauge=pressure,
                station_capacity_m3_per_s_std=capacity,
                warm=self._last,
            )
        except BoundaryAffectedError:
            return None
        self._last = state
        return self._judged(state, starved, [self._link_of[name] for name in opened])

    def first_to_fall(self, openings: Collection[str]) -> list[int]:
        """Return the kept customer nearest its limit in the part of each opening, all stops in; rows."""
        owner, at = self.inlets
        part, pressure = self._final.state.node_part, self._final.state.pressure_pa_gauge[at]
        has_gas = np.isfinite(pressure) & ~self._context.weak_before[owner]
        found: set[int] = set()
        for label in {int(part[self._openings[name].node]) for name in openings}:
            here = np.flatnonzero((part[at] == label) & has_gas)
            if len(here):
                found.add(int(owner[here[np.argmin(pressure[here])]]))
        return sorted(found)

    def _judged(self, state: FlowState, starved: Flags, opened: list[int]) -> LossState:
        context = self._context
        owner, at = self.inlets
        pressure = state.pressure_pa_gauge
        below = ~(pressure[at] >= context.required_pa_gauge - ROUNDING_PA) | starved[at]
        below &= ~context.weak_before[owner] | np.isnan(pressure[at]) | starved[at]
        above = (pressure[at] > context.allowed_pa_gauge + ROUNDING_PA) & ~context.high_before[owner]
        with_gas = pressure[at][~starved[at] & ~np.isnan(pressure[at])]
        good = [status in (PartStatus.SOLVED, PartStatus.NO_SOURCE) for status in state.part_status]
        flow = self._escaping(state, opened)
        return LossState(
            low=np.unique(owner[below]),
            high=np.unique(owner[above]),
            least_pa_gauge=float(with_gas.min()) if len(with_gas) else math.nan,
            flow_m3_per_s_std=flow,
            seconds=self._seconds(at[below], flow),
            is_solved=all(good),
            pressure_pa_gauge=pressure,
        )

    def _escaping(self, state: FlowState, opened: list[int]) -> float:
        flows = state.flow_m3_per_s_std[opened]
        node = self._flow.links.from_node[opened]
        dry = [state.part_status[part] is PartStatus.NO_SOURCE for part in state.node_part[node].tolist()]
        return float(np.where(dry, 0.0, flows).sum())

    def _seconds(self, low: Ints, escaping_m3_per_s_std: float) -> float:
        """Return how long the gas lasts that the pipes hold where customers fall too low: V Δp / (p_a q) [s].

        V are the bores between nodes that were above what a kept inlet must hold, and are below; Δp is how
        far the lowest of those inlets was above it; q is what escapes, or what is drawn there, whichever is
        more. The pressure of the air stands for that in the pipe, and nothing more comes in: at most so long.
        """
        if not len(low):
            return math.nan
        links, required = self._final.flow.links, self._context.required_pa_gauge
        before = self._final.state.pressure_pa_gauge
        after = self._last.pressure_pa_gauge[: len(before)]
        fell = (before >= required) & ~(after >= required)
        own = links.is_open & (self._final.stopped_link >= 0)
        own &= fell[links.from_node] & fell[links.to_node]
        volume = float((math.pi / 4.0 * links.bore_m[own] ** 2 * links.length_m[own]).sum())
        drop = np.nanmin(np.append(before[low] - required, np.inf))
        drawn = float(self._demand[: len(before)][fell].sum())
        most = max(drawn, 0.0 if math.isnan(escaping_m3_per_s_std) else escaping_m3_per_s_std)
        if not (math.isfinite(drop) and most > 0.0):
            return math.nan
        return max(volume * float(drop), 0.0) / (self._context.conditions.atmospheric_pressure_pa_abs * most)

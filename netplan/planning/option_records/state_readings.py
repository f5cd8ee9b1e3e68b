"""What gauges read in each state of the work, in the plan's weather and in milder, and when to stop there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import HOURS_PER_DAY, PA_PER_MBAR
from netplan.core.units import rounded_down
from netplan.demand import DemandResult, HourOfWindow, node_demand
from netplan.hydraulics import FlowState, NetworkSolver
from netplan.planfile import model
from netplan.planfile.naming import NORMAL_STATE
from netplan.planning.connectivity import kept_inlets, node_demand_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.fed_network import network_of_states
from netplan.planning.final_network import FinalNetwork
from netplan.planning.option_records.draw_at_tapping import pressure_beside_draw
from netplan.planning.option_records.gauge_places import GaugePlace, PipePlaces, felt_inlets, places_of
from netplan.planning.tapped_draw import solved_with_draw
from netplan.planning.work_states import SolvedWorkState, StateChanges
from netplan.rules.order_rules import GaugeRules

__all__ = ["SAME_PA", "GaugeLimits", "StateReadings", "gauge_error_mbar"]

STEP_C: Final = 5.0
"""Between the air temperatures of the readings (own) [°C]."""
WARMEST_C: Final = 15.0
"""The warmest of them: above it little is drawn for heating (own) [°C]."""
MOST_NODES: Final = 20_000_000
"""Nodes that are solved at most for the readings of one state by weather, all rows together (own) [-]."""
MOST_KEPT_NODES: Final = 500_000
"""Nodes, all rows together, up to which each row of one state is the start of the next state's (own) [-]."""
LEAST_SHARE: Final = 5.0
"""Errors of a gauge that its fall to the abort reading has to be: twice the error is half the margin [-]."""
ERROR_DIGITS: Final = 2
"""Decimals that the error of a finer gauge is asked for with [mbar]."""


class GaugeLimits(NamedTuple):
    """How far a reading may fall and rise from what is solved [Pa]; NaN where nothing bounds that side.

    `fall_pa` takes the first kept meter to its minimum, `warning_pa` to its minimum with the margin,
    `rise_pa` the first kept meter to its highest or a set barrier to its rating.
    """

    fall_pa: float
    warning_pa: float
    rise_pa: float

    @property
    def least_pa(self) -> float:
        """The nearer of the two sides [Pa]."""
        return self.fall_pa if math.isnan(self.rise_pa) else min(self.fall_pa, self.rise_pa)


SAME_PA: Final = 1.0
"""A station set to the highest pressure gives it, as solved within this (own) [Pa]."""


class _WeatherRow(NamedTuple):
    """What a gauge reads in some weather, and how far it may fall [Pa]."""

    air_temp_c: float
    hour: int
    reading_pa: float
    fall_pa: float


def gauge_error_mbar(limits: GaugeLimits, rules: GaugeRules) -> float:
    """Return the greatest error that a gauge may have there [mbar]: that of the rules where it does.

    The band is half the margin at most, and twice the error at least, and the margin is what the error leaves
    of the fall: a fifth of the fall. 0 where no gauge can show it.
    """
    finer = rounded_down(max(limits.least_pa, 0.0) / LEAST_SHARE / PA_PER_MBAR, ERROR_DIGITS)
    return min(rules.error_mbar, finer)


@dataclass(frozen=True, eq=False)
class StateReadings:
    """The states of an option, with what gauges read in them.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    final : FinalNetwork
    places : mapping of str to GaugePlace
        Where each gauge is, by id.
    by_weather : bool
        Whether readings are solved in milder weather and every hour too.
    """

    context: PlanningContext
    option: EvaluatedOption
    final: FinalNetwork
    places: Mapping[str, GaugePlace]
    by_weather: bool = False
    _of_weather: dict[StateChanges | None, dict[str, list[_WeatherRow]]] = field(
        default_factory=dict, init=False, repr=False
    )
    _started: dict[tuple[float, int], FlowState] = field(default_factory=dict, init=False, repr=False)
    _demands: dict[tuple[float, int, bool, int], Floats] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def _states(self) -> dict[str, SolvedWorkState]:
        return {judged.name: judged for judged in self.option.work.every}

    def knows(self, name: str) -> bool:
        """Return whether a state of that name is solved."""
        return name == NORMAL_STATE or name in self._states

    def changes(self, name: str) -> StateChanges | None:
        """Return what a state changes; None for normal running."""
        return None if name == NORMAL_STATE else self._states[name].changes

    def state(self, name: str) -> FlowState:
        """Return a state at the hour of the greatest total, in the plan's weather."""
        return self.context.before if name == NORMAL_STATE else self._states[name].state

    def pressure_pa_gauge(self, place: GaugePlace, state: FlowState, changes: StateChanges | None) -> float:
        """Return what a gauge reads in a state [Pa gauge]; NaN without gas."""
        recorded, of_states = self._places
        if changes is None:
            return recorded.pressure_pa_gauge(place, state)
        solved_pa = of_states.pressure_pa_gauge(place, state, changes.closed)
        return pressure_beside_draw(place, solved_pa, state, changes, of_states, self.context.conditions)

    @cached_property
    def _places(self) -> tuple[PipePlaces, PipePlaces]:
        return places_of(self.context, self.option, self.final)

    # Readings.

    def reading(self, gauge: str, name: str) -> model.Reading | None:
        """Return what a gauge reads in a state, and when to stop there; None where it has no gas.

        Parameters
        ----------
        gauge : str
            Id of the gauge.
        name : str
            Name of the state.
        """
        changes, state = self.changes(name), self.state(name)
        at_pa = self.pressure_pa_gauge(self.places[gauge], state, changes)
        if math.isnan(at_pa):
            return None
        rules, planned = self.context.request.rules.gauge, self._planned
        limits = self.limits(self.places[gauge], at_pa, state, changes)
        error_mbar = gauge_error_mbar(limits, rules)
        error_pa = error_mbar * PA_PER_MBAR
        abort_pa, high_pa = at_pa - limits.fall_pa + error_pa, at_pa + limits.rise_pa - error_pa
        half_mbar = (limits.least_pa - error_pa) / 2.0 / PA_PER_MBAR
        band_mbar = rounded_down(min(half_mbar, rules.band_mbar), 3)
        # Never inside the band: a reading there is as planned.
        warns_pa = max(limits.warning_pa - error_pa, band_mbar * PA_PER_MBAR)
        return model.Reading(
            gauge_id=gauge,
            expect_mbar=at_pa / PA_PER_MBAR,
            band_mbar=band_mbar,
            warning_mbar=max(abort_pa, at_pa - warns_pa) / PA_PER_MBAR,
            abort_mbar=abort_pa / PA_PER_MBAR,
            abort_high_mbar=None if math.isnan(high_pa) else rounded_down(high_pa / PA_PER_MBAR, 3),
            error_mbar=error_mbar,
            air_temp_c=planned.air_temp_c,
            hour=planned.hour,
            by_weather=tuple(
                model.WeatherReading(
                    air_temp_c=row.air_temp_c,
                    hour=row.hour,
                    expect_mbar=row.reading_pa / PA_PER_MBAR,
                    abort_mbar=(row.reading_pa - row.fall_pa + error_pa) / PA_PER_MBAR,
                )
                for row in self._weather_rows(changes).get(gauge, ())
            ),
        )

    @cached_property
    def _planned(self) -> HourOfWindow:
        return self.context.demand.hours[self.context.demand.worst_hour]

    def _weather_rows(self, changes: StateChanges | None) -> dict[str, list[_WeatherRow]]:
        """Return what every gauge reads in a state by weather, solved once; nothing where not asked for."""
        if not self.by_weather:
            return {}
        if changes not in self._of_weather:
            self._of_weather[changes] = self._solve_weather(changes)
        return self._of_weather[changes]

    def _solve_weather(self, changes: StateChanges | None) -> dict[str, list[_WeatherRow]]:
        rows: dict[str, list[_WeatherRow]] = {gauge: [] for gauge in self.places}
        state: FlowState | None = None
        for air_temp_c, hour in self.weather:
            demand = self.context.demand_at(air_temp_c)
            # In a part of a network what crosses its boundary in that weather has to be known first.
            self.context.scope.margins_outside(air_temp_c, (hour,))
            state = self.solved(changes, demand, hour, warm=self._started.get((air_temp_c, hour), state))
            if self._keeps_rows:
                # The same customers draw the same: little changes from one state to the next.
                self._started[air_temp_c, hour] = state
            for gauge, place in self.places.items():
                at_pa = self.pressure_pa_gauge(place, state, changes)
                if not math.isnan(at_pa):
                    fall_pa = self.limits(place, at_pa, state, changes).fall_pa
                    rows[gauge].append(_WeatherRow(air_temp_c, demand.hours[hour].hour, at_pa, fall_pa))
        return rows

    # When to stop.

    def limits(
        self, place: GaugePlace, reading_pa: float, state: FlowState, changes: StateChanges | None
    ) -> GaugeLimits:
        """Return how far a reading may fall and rise in a state.

        What is drawn stays as it is while the supply falls or rises: p² falls by the same amount everywhere
        in a part, so that the gauge moves by P_meter / P_gauge times what the meter does, absolute pressures.
        Meters are those kept at which the stops are felt, in the gauge's own part; without one there the
        gauge itself has to hold like a meter.
        """
        rules = self.context.request.rules.pressure
        minimum, highest = rules.minimum_mbar * PA_PER_MBAR, rules.maximum_mbar * PA_PER_MBAR
        air = self.context.conditions.atmospheric_pressure_pa_abs
        inlets, felt_allowed = self._felt
        pressure = state.pressure_pa_gauge
        beside = np.isfinite(pressure[inlets])
        beside &= state.node_part[inlets] == state.node_part[place.node]
        nodes, allowed = inlets[beside], felt_allowed[beside]
        if not len(nodes):
            # Where it was below the minimum before any stop nobody kept hangs on it: gas must stay.
            least = minimum if reading_pa > minimum else 0.0
            # A station set to the highest pressure gives it to its part, even where a purge lowers it here.
            top = np.nanmax(pressure[state.node_part == state.node_part[place.node]], initial=reading_pa)
            rises = [highest - reading_pa] if highest - top > SAME_PA else []
            rises += self._barrier_rises(place, reading_pa + air, state, changes)
            return GaugeLimits(
                reading_pa - least,
                reading_pa - least - rules.margin_mbar * PA_PER_MBAR,
                min(rises, default=math.nan),
            )
        share = (pressure[nodes] + air) / (reading_pa + air)
        falls = (pressure[nodes] - minimum) * share
        first = int(np.argmin(falls))
        warning = falls[first] - rules.margin_mbar * PA_PER_MBAR * share[first]
        rises = [*((allowed - pressure[nodes]) * share)[np.isfinite(allowed)]]
        rises += self._barrier_rises(place, reading_pa + air, state, changes)
        return GaugeLimits(float(falls[first]), float(warning), min(rises, default=math.nan))

    def _barrier_rises(
        self, place: GaugePlace, gauge_pa_abs: float, state: FlowState, changes: StateChanges | None
    ) -> list[float]:
        """Return how far the gauge rises until each barrier that is set stands at its rating [Pa]."""
        if changes is None:
            return []
        rules, found = self.context.request.rules, []
        air = self.context.conditions.atmospheric_pressure_pa_abs
        rating = {
            method.name: (method.rating_mbar - method.rating_margin_mbar) * PA_PER_MBAR
            for method in rules.method
        }
        for stop, link in zip(self.option.cut.stops, self._closes, strict=True):
            at = float(state.pressure_pa_gauge[stop.live_node])
            same_part = state.node_part[stop.live_node] == state.node_part[place.node]
            if link in changes.closed and same_part and math.isfinite(at):
                found.append((rating[stop.method] - at) * (at + air) / gauge_pa_abs)
        return found

    @cached_property
    def _closes(self) -> Sequence[int]:
        if self.option.stopped is None:
            return [stop.piece for stop in self.option.cut.stops]
        return self.option.stopped.closes

    @cached_property
    def _felt(self) -> tuple[Ints, Floats]:
        """Nodes of the inlets at which the stops are felt, and what they may have at most [Pa gauge]."""
        context, option = self.context, self.option
        kept, felt = kept_inlets(context, option.reach, option.gone), felt_inlets(context, option)
        rows = np.isin(kept.node, felt)
        allowed = np.full(len(kept), np.inf) if kept.allowed_pa_gauge is None else kept.allowed_pa_gauge
        return kept.node[rows], allowed[rows]

    # Solved again in other weather.

    def solved(
        self,
        changes: StateChanges | None,
        demand: DemandResult,
        hour: int,
        warm: FlowState | None = None,
    ) -> FlowState:
        """Return a state in an hour of some weather."""
        count = self.context.base.node_count if changes is None else self._solver.network.node_count
        drawn = self._drawn(demand, hour, changes, count)
        if changes is None:
            return self.context.solver_of(self.context.base).resolve(demand_m3_per_s_std=drawn, warm=warm)
        if changes.draw is not None:
            return solved_with_draw(
                self._solver,
                drawn,
                changes.draw,
                changes.drawn_at,
                self.context.conditions,
                closed=changes.closed,
                opened=changes.opened,
                warm=warm,
            )
        return self._solver.resolve(
            demand_m3_per_s_std=drawn,
            closed_links=changes.closed,
            opened_links=changes.opened,
            warm=warm,
        )

    def _drawn(self, demand: DemandResult, hour: int, changes: StateChanges | None, count: int) -> Floats:
        meters_on = changes is None or changes.meters_on
        key = (demand.hours[hour].air_temp_c, hour, meters_on, count)
        drawn = self._demands.get(key)
        if drawn is None:
            drawn = self._node_demand(demand, hour, meters_on=meters_on, count=count)
            if self._keeps_rows:
                self._demands[key] = drawn
        return drawn

    @cached_property
    def _keeps_rows(self) -> bool:
        return len(self.weather) * self.context.base.node_count <= MOST_KEPT_NODES

    def _node_demand(self, demand: DemandResult, hour: int, *, meters_on: bool, count: int) -> Floats:
        context, option = self.context, self.option
        if meters_on:
            live = np.zeros(count, dtype=bool)
            live[: len(context.fed_before)] = context.fed_before
            flow = demand.flow_m3_per_s_std(hour, context.own_part)
            return node_demand(context.request.network.customers, flow, count, live)
        flow = np.where(option.gone, 0.0, demand.flow_m3_per_s_std(hour, option.groups))
        return node_demand_after(context, option.reach, flow, count)

    @cached_property
    def _solver(self) -> NetworkSolver:
        option = self.option
        if option.fed is None or option.stopped is None:
            return self.context.solver_of(self.context.base)
        sizes = [feed.size for feed in option.feeds if feed is not None]
        network = network_of_states(option.stopped, option.fed, sizes, self.context.request.rules)
        return self.context.solver_of(network)

    @cached_property
    def weather(self) -> tuple[tuple[float, int], ...]:
        """Air temperatures [°C] with hours of the window, by row, of the readings by weather.

        From the plan's to the warmest in steps; every hour of a day, or in a large network those to check.
        """
        demand, context = self.context.demand, self.context
        planned = demand.hours[demand.worst_hour].air_temp_c
        count = max(math.floor((WARMEST_C - planned) / STEP_C), 0)
        temps = [planned, *(planned + STEP_C * k for k in range(1, count + 1))]
        hours: Sequence[int] = range(min(len(demand.hours), HOURS_PER_DAY))
        nodes = len(context.scope.all_customers) + context.base.node_count
        if nodes * len(temps) * len(hours) > MOST_NODES:
            hours = sorted(context.hours)
        return tuple((temp, hour) for temp in temps for hour in hours)

"""Pressures before, after and on the way, as they stand in a plan."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.hydraulics import FlowState
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.customers import customer_pressure_in
from netplan.planning.option_records.relighting import Relighting
from netplan.planning.outside_summary import Lowest, lowest_of
from netplan.planning.sequence import SolvedWorkState

__all__ = ["hour_words", "pressures_of", "states_of"]


def pressures_of(context: PlanningContext, option: EvaluatedOption) -> model.Pressures:
    """Return the least meter inlet pressures before and after in any hour, kept customers only."""
    customers = context.request.network.customers
    weak, high = np.flatnonzero(context.weak_before), np.flatnonzero(context.high_before)
    after = [customer_pressure_in(context, option, state) for state in option.work.states[-1].states]
    return model.Pressures(
        before=_least(context, context.pressures_before_pa_gauge),
        after=_least(context, after),
        weak_before=tuple(sorted([*(customers.id[row] for row in weak), *context.rest.weak])),
        high_before=tuple(sorted([*(customers.id[row] for row in high), *context.rest.high])),
    )


def _least(context: PlanningContext, pressure_pa_gauge: Sequence[Floats]) -> model.LeastPressure:
    """Return the least of all customers and hours; the first hour where several are as low."""
    found, by_hour = lowest_of(context.rest.lowest), np.array(pressure_pa_gauge)
    if not np.isnan(by_hour).all():
        hour, row = divmod(int(np.nanargmin(by_hour)), by_hour.shape[1])
        here = Lowest(float(by_hour[hour, row]), context.request.network.customers.id[row])
        if found is None or (here.pressure_pa_gauge, hour) < (found[0].pressure_pa_gauge, found[1]):
            found = here, hour
    if found is None:
        return model.LeastPressure(least_mbar=None, at="")
    lowest, hour = found
    return model.LeastPressure(
        least_mbar=lowest.pressure_pa_gauge / PA_PER_MBAR,
        at=lowest.customer_id,
        hour=hour_words(context, hour),
    )


def hour_words(context: PlanningContext, place: int) -> str:
    """Return the hour at a place among the hours to check, in words."""
    return context.demand.hours[context.hours[place]].words()


def states_of(
    context: PlanningContext, option: EvaluatedOption, relighting: Relighting | None
) -> tuple[model.State, ...]:
    """Return every state of the work, before any stop first, purging in and relighting last."""
    least = _least(context, context.pressures_before_pa_gauge)
    states = [
        model.State(
            after_step="nothing: all on",
            least_mbar=least.least_mbar,
            at=least.at,
            station_flows_m3h=_station_flows(context, context.before),
            hour=least.hour,
        )
    ]
    judged_states = [*option.work.states, *option.work.purging]
    node_customer = _customer_at(context, option, judged_states)
    for judged in judged_states:
        lowest, hour = _lowest_in(context, judged, node_customer)
        states.append(
            model.State(
                after_step=judged.name,
                least_mbar=None if lowest is None else lowest.pressure_pa_gauge / PA_PER_MBAR,
                at="" if lowest is None else lowest.customer_id,
                station_flows_m3h=_station_flows(context, judged.state),
                hour="" if lowest is None else hour_words(context, hour),
            )
        )
    if relighting is not None:
        states.append(_relit(context, relighting))
    return tuple(states)


def _lowest_in(
    context: PlanningContext, judged: SolvedWorkState, node_customer: dict[int, str]
) -> tuple[Lowest | None, int]:
    """Return the lowest kept inlet of a state and the place of its hour; none where one has no gas."""
    elsewhere = lowest_of(context.rest.held)
    if judged.worst < 0:
        return elsewhere or (None, 0)
    if np.isnan(judged.least_pa_gauge):
        return None, 0
    if elsewhere is not None and elsewhere[0].pressure_pa_gauge < judged.least_pa_gauge:
        return elsewhere
    return Lowest(judged.least_pa_gauge, node_customer.get(judged.node, "")), judged.hour


def _relit(context: PlanningContext, relighting: Relighting) -> model.State:
    known = math.isfinite(relighting.least_pa_gauge)
    return model.State(
        after_step=relighting.words(),
        least_mbar=relighting.least_pa_gauge / PA_PER_MBAR if known else None,
        at=relighting.customer_id,
        station_flows_m3h=_station_flows(context, relighting.state, relighting.hour),
        hour=hour_words(context, relighting.hour),
    )


def _customer_at(
    context: PlanningContext, option: EvaluatedOption, states: Sequence[SolvedWorkState]
) -> dict[int, str]:
    owner, at = context.attachments
    wanted = {judged.node for judged in states}
    found: dict[int, str] = {}
    off = set(option.off.tolist())
    for row in np.flatnonzero(np.isin(at, list(wanted))).tolist():
        if int(owner[row]) not in off:
            found.setdefault(int(at[row]), context.request.network.customers.id[int(owner[row])])
    return found


def _station_flows(context: PlanningContext, state: FlowState, place: int = 0) -> dict[str, float]:
    """Return what every station gives in a state of the hour at a place among those to check [m³/h]."""
    stations = context.request.network.stations
    rows = np.flatnonzero(stations.node >= 0)
    flows = {
        stations.id[row]: float(flow)
        for row, flow in zip(rows.tolist(), state.station_flow_m3_per_s_std, strict=True)
        if not np.isnan(flow)
    }
    beyond = context.rest.station_flow_m3_per_s_std
    every = flows | (beyond[place] if beyond else {})
    return {name: every[name] * SECONDS_PER_HOUR for name in sorted(every)}

"""Pressures before, after and on the way, as they stand in a plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from netplan.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.demand import customer_pressure
from netplan.hydraulics import FlowState
from netplan.plan import model
from netplan.plan.desk import Desk
from netplan.plan.priced import Priced
from netplan.plan.states import Judged
from netplan.plan.writing.people import customer_pressure_in
from netplan.plan.writing.relighting import Relighting

__all__ = ["hour_words", "pressures_of", "states_of"]

Floats = NDArray[np.float64]


def pressures_of(desk: Desk, option: Priced) -> model.Pressures:
    """Return the least meter inlet pressures before and after in any hour, kept customers only."""
    customers, weak = desk.request.network.customers, np.flatnonzero(desk.weak_before)
    after = [customer_pressure_in(desk, option, state) for state in option.work.states[-1].states]
    return model.Pressures(
        before=_least(desk, _before(desk)),
        after=_least(desk, after),
        weak_before=tuple(customers.id[row] for row in weak),
    )


def _before(desk: Desk) -> list[Floats]:
    customers = desk.request.network.customers
    return [customer_pressure(customers, state.pressure_pa_gauge) for state in desk.before_by_hour]


def _least(desk: Desk, pressure_pa_gauge: Sequence[Floats]) -> model.LeastPressure:
    """Return the least of all customers and hours; the first hour where several are as low."""
    by_hour = np.array(pressure_pa_gauge)
    if np.isnan(by_hour).all():
        return model.LeastPressure(least_mbar=None, at="")
    hour, row = divmod(int(np.nanargmin(by_hour)), by_hour.shape[1])
    return model.LeastPressure(
        least_mbar=float(by_hour[hour, row]) / PA_PER_MBAR,
        at=desk.request.network.customers.id[row],
        hour=hour_words(desk, hour),
    )


def hour_words(desk: Desk, place: int) -> str:
    """Return the hour at a place among the hours to check, in words."""
    return desk.demand.hours[desk.hours[place]].words()


def states_of(desk: Desk, option: Priced, relighting: Relighting | None) -> tuple[model.State, ...]:
    """Return every state of the work, before any stop first, purging in and relighting last."""
    least = _least(desk, _before(desk))
    states = [
        model.State(
            after_step="nothing: all on",
            least_mbar=least.least_mbar,
            at=least.at,
            station_flows_m3h=_station_flows(desk, desk.before),
            hour=least.hour,
        )
    ]
    judged_states = [*option.work.states, *option.work.purging]
    node_customer = _customer_at(desk, option, judged_states)
    for judged in judged_states:
        known = judged.worst >= 0 and not np.isnan(judged.least_pa_gauge)
        states.append(
            model.State(
                after_step=judged.name,
                least_mbar=judged.least_pa_gauge / PA_PER_MBAR if known else None,
                at=node_customer.get(judged.node, "") if known else "",
                station_flows_m3h=_station_flows(desk, judged.state),
                hour=hour_words(desk, judged.hour) if known else "",
            )
        )
    if relighting is not None:
        states.append(_relit(desk, relighting))
    return tuple(states)


def _relit(desk: Desk, relighting: Relighting) -> model.State:
    row = relighting.customer
    return model.State(
        after_step=relighting.words(),
        least_mbar=None if row < 0 else relighting.least_pa_gauge / PA_PER_MBAR,
        at="" if row < 0 else desk.request.network.customers.id[row],
        station_flows_m3h=_station_flows(desk, relighting.state),
        hour=hour_words(desk, relighting.hour),
    )


def _customer_at(desk: Desk, option: Priced, states: Sequence[Judged]) -> dict[int, str]:
    owner, at = desk.attachments
    wanted = {judged.node for judged in states}
    found: dict[int, str] = {}
    off = set(option.off.tolist())
    for row in np.flatnonzero(np.isin(at, list(wanted))).tolist():
        if int(owner[row]) not in off:
            found.setdefault(int(at[row]), desk.request.network.customers.id[int(owner[row])])
    return found


def _station_flows(desk: Desk, state: FlowState) -> dict[str, float]:
    stations = desk.request.network.stations
    rows = np.flatnonzero(stations.node >= 0)
    flows = state.station_flow_m3_per_s_std * SECONDS_PER_HOUR
    return {
        stations.id[row]: float(flow) for row, flow in zip(rows, flows, strict=True) if not np.isnan(flow)
    }

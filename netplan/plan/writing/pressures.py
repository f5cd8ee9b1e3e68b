"""Pressures before, after and on the way, as they stand in a plan."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.hydraulics import FlowState
from netplan.plan import model
from netplan.plan.desk import Desk
from netplan.plan.priced import Priced
from netplan.plan.writing.people import customer_pressure_after

__all__ = ["pressures_of", "states_of"]

Floats = NDArray[np.float64]


def _least(desk: Desk, pressure_pa_gauge: Floats) -> model.LeastPressure:
    if np.isnan(pressure_pa_gauge).all():
        return model.LeastPressure(least_mbar=None, at="")
    row = int(np.nanargmin(pressure_pa_gauge))
    return model.LeastPressure(
        least_mbar=float(pressure_pa_gauge[row]) / PA_PER_MBAR, at=desk.request.network.customers.id[row]
    )


def pressures_of(desk: Desk, option: Priced) -> model.Pressures:
    """Return the least meter inlet pressures before and after, kept customers only."""
    weak = np.flatnonzero(desk.weak_before)
    return model.Pressures(
        before=_least(desk, desk.pressure_before_pa_gauge),
        after=_least(desk, customer_pressure_after(desk, option)),
        weak_before=tuple(desk.request.network.customers.id[row] for row in weak),
    )


def states_of(desk: Desk, option: Priced) -> tuple[model.State, ...]:
    """Return every state of the work, before any stop first."""
    before = desk.pressure_before_pa_gauge
    least = _least(desk, before)
    states = [
        model.State(
            after_step="nothing: all on",
            least_mbar=least.least_mbar,
            at=least.at,
            station_flows_m3h=_station_flows(desk, desk.before),
        )
    ]
    node_customer = _customer_at(desk, option)
    for judged in option.work.states:
        known = judged.worst >= 0 and not np.isnan(judged.least_pa_gauge)
        states.append(
            model.State(
                after_step=judged.name,
                least_mbar=judged.least_pa_gauge / PA_PER_MBAR if known else None,
                at=node_customer.get(judged.node, "") if known else "",
                station_flows_m3h=_station_flows(desk, judged.state),
            )
        )
    return tuple(states)


def _customer_at(desk: Desk, option: Priced) -> dict[int, str]:
    owner, at = desk.attachments
    wanted = {judged.node for judged in option.work.states}
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

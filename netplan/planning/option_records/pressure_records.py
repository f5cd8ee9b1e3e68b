"""Pressures before, after, on the way and with a local peak, as they stand in a plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.demand import node_demand
from netplan.feeds import branch_roots, local_peak_allowance_pa
from netplan.hydraulics import FlowNetwork, FlowState
from netplan.network.finding_log import listed
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planfile import model
from netplan.planfile.naming import NORMAL_STATE
from netplan.planning.connectivity import kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.network_scope import Lowest, lowest_of
from netplan.planning.option_records.customer_records import Relighting, customer_pressure_in
from netplan.planning.work_states import SolvedWorkState

__all__ = [
    "LocalPeak",
    "hour_words",
    "least_with_local_peak",
    "local_peak_of",
    "local_peak_warnings",
    "pressures_of",
    "states_of",
]

LOWERED_PA = 10.0
"""Fall of an inlet's pressure by the work from which its local peak is looked at (own) [Pa]."""
NAMED = 5
LocalPeak = tuple[NDArray[np.int64], Floats, Floats]
"""Customer, then for each hour to check the inlet with its local peak before and after [Pa gauge]."""


def pressures_of(context: PlanningContext, option: EvaluatedOption) -> model.Pressures:
    """Return the least meter inlet pressures before and after in any hour, kept customers only."""
    customers = context.request.network.customers
    weak, high = np.flatnonzero(context.weak_before), np.flatnonzero(context.high_before)
    after = [customer_pressure_in(context, option, state) for state in option.work.states[-1].states]
    return model.Pressures(
        before=_least(context, context.pressures_before_pa_gauge),
        after=_least(context, after),
        weak_before=tuple(sorted([*(customers.id[row] for row in weak), *context.scope.outside.weak])),
        high_before=tuple(sorted([*(customers.id[row] for row in high), *context.scope.outside.high])),
    )


def _least(context: PlanningContext, pressure_pa_gauge: Sequence[Floats]) -> model.LeastPressure:
    """Return the least of all customers and hours; the first hour where several are as low."""
    found, by_hour = lowest_of(context.scope.outside.lowest), np.array(pressure_pa_gauge)
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
    """Return every state of the work in its order: normal running first, relighting last."""
    least = _least(context, context.pressures_before_pa_gauge)
    states = [
        model.State(
            after_step=NORMAL_STATE,
            least_mbar=least.least_mbar,
            at=least.at,
            station_flows_m3h=_station_flows(context, context.before),
            hour=least.hour,
        )
    ]
    judged_states = option.work.every
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
                draw_m3h=_drawn_m3h(judged),
            )
        )
    if relighting is not None:
        states.append(_relit(context, relighting))
    return tuple(states)


def _drawn_m3h(judged: SolvedWorkState) -> float | None:
    draw = judged.changes.draw
    return None if draw is None else draw.flow_m3_per_s_std * SECONDS_PER_HOUR


def _lowest_in(
    context: PlanningContext, judged: SolvedWorkState, node_customer: dict[int, str]
) -> tuple[Lowest | None, int]:
    """Return the lowest kept inlet of a state and the place of its hour; none where one has no gas."""
    elsewhere = lowest_of(context.scope.outside.held)
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
    beyond = context.scope.outside.station_flow_m3_per_s_std
    every = flows | (beyond[place] if beyond else {})
    return {name: every[name] * SECONDS_PER_HOUR for name in sorted(every)}


def local_peak_of(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> LocalPeak:
    """Return the kept inlets that the work lowers, with their local peak, before any stop and after all.

    An inlet counts where the work takes at least `LOWERED_PA` off it in some hour, or where a feed keeps it.

    Raises
    ------
    BoundaryAffectedError
        When such an inlet's branch may go on beyond the network.
    """
    if option.fed is None:
        links = context.base.links
        after_network = context.base.with_links(replace(links, is_open=links.is_open & ~option.reach.closed))
    else:
        after_network = final.flow
    states = option.work.states[-1].states
    inlets = kept_inlets(context, option.reach, option.gone)
    before = np.array([state.pressure_pa_gauge[inlets.node] for state in context.before_by_hour])
    after = np.array([state.pressure_pa_gauge[inlets.node] for state in states])
    by_feed = ~option.reach.fed[inlets.node]
    node = inlets.node[by_feed | (before - after >= LOWERED_PA).any(axis=0)]
    for network in (context.base, after_network):
        _require_branches_within(context, network, node)
    live = ~option.reach.in_zone & context.fed_before
    everybody = np.ones(len(context.request.network.customers), dtype=bool)
    was = _with_peak(context, context.base, context.before_by_hour, everybody, context.fed_before)[:, node]
    now = _with_peak(context, after_network, states, ~option.gone, live)[:, node]
    owner, at = context.attachments
    on = np.flatnonzero(~option.gone[owner] & np.isin(at, node))
    place = np.searchsorted(node, at[on])
    return owner[on], was[:, place], now[:, place]


def _require_branches_within(context: PlanningContext, network: FlowNetwork, node: Ints) -> None:
    boundary = _boundary(context)
    if not len(boundary):
        return
    root = branch_roots(network, boundary)[node]
    if (branch_roots(network)[root] != root).any():
        raise BoundaryAffectedError


def _boundary(context: PlanningContext) -> Ints:
    beyond = context.request.network.beyond
    return np.zeros(0, dtype=np.int64) if beyond is None else beyond.node.astype(np.int64)


def _with_peak(
    context: PlanningContext, network: FlowNetwork, states: tuple[FlowState, ...], on: Flags, live: Flags
) -> Floats:
    """Return for each hour to check the pressure of every node less its allowance [Pa gauge]."""
    customers, demand, count = context.request.network.customers, context.demand, network.node_count
    more = np.zeros(count - len(live), dtype=bool)
    live = np.concatenate([live, more])
    has_meters = np.zeros((len(customers), demand.by_kind_m3_per_s_std(0).shape[1]))
    has_meters[np.arange(len(customers)), demand.records.kind] = demand.records.meters

    def at_nodes(of_customers: Floats) -> Floats:
        columns = (of_customers * on[:, None]).T
        return np.column_stack([node_demand(customers, column, count, live) for column in columns])

    meters, found = at_nodes(has_meters), []
    for hour, state in zip(context.hours, states, strict=True):
        allowance = local_peak_allowance_pa(
            network,
            state,
            context.conditions,
            at_nodes(demand.by_kind_m3_per_s_std(hour)),
            meters,
            demand.shares_of,
            held=_boundary(context),
        )
        found.append(state.pressure_pa_gauge - allowance)
    return np.array(found)


def least_with_local_peak(context: PlanningContext, peak: LocalPeak) -> model.LeastPressure | None:
    """Return the lowest of these inlets after all stops; None without any."""
    customer, _, after = peak
    if not len(customer) or np.isnan(after).all():
        return None
    hour, row = divmod(int(np.nanargmin(after)), len(customer))
    return model.LeastPressure(
        least_mbar=float(after[hour, row]) / PA_PER_MBAR,
        at=context.request.network.customers.id[int(customer[row])],
        hour=hour_words(context, hour),
    )


def local_peak_warnings(context: PlanningContext, peak: LocalPeak) -> tuple[str, ...]:
    """Name the customers that the work would take below the minimum, the rules' margin not counted."""
    customer, before, after = peak
    minimum_mbar = context.request.rules.pressure.minimum_mbar
    least = minimum_mbar * PA_PER_MBAR
    low = (before >= least).all(axis=0) & (after < least).any(axis=0)
    if not low.any():
        return ()
    lowest = np.min(after[:, low], axis=0)
    ids = [context.request.network.customers.id[row] for row in customer[low].tolist()]
    order = sorted(range(len(ids)), key=lambda k: (round(float(lowest[k]), 1), ids[k]))
    names = list(dict.fromkeys(ids[k] for k in order))
    words = (
        f"while the few customers at the end of a branch peak together, {listed(names, NAMED)} may "
        f"fall to {_rounded_down(lowest.min() / PA_PER_MBAR):.1f} mbar, below the minimum of "
        f"{minimum_mbar:g} mbar: watch the pressure there"
    )
    return (words,)


def _rounded_down(pressure_mbar: float) -> float:
    return math.floor(pressure_mbar * 10.0) / 10.0

"""Kept meter inlets while the few customers at the end of their branch peak together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.demand import node_demand
from netplan.feeds import branch_roots, local_peak_allowance_pa
from netplan.hydraulics import FlowNetwork, FlowState
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.customer_effects import kept_inlets
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.final_network import FinalNetwork
from netplan.planning.option_records.pressures import hour_words

__all__ = ["LocalPeak", "least_with_local_peak", "local_peak_of", "local_peak_warnings"]


LOWERED_PA = 10.0
"""Fall of an inlet's pressure by the work from which its local peak is looked at (own) [Pa]."""
NAMED = 5

LocalPeak = tuple[NDArray[np.int64], Floats, Floats]
"""Customer, then for each hour to check the inlet with its local peak before and after [Pa gauge]."""


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
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    words = (
        f"while the few customers at the end of a branch peak together, {', '.join(names[:NAMED])}{more} may "
        f"fall to {_rounded_down(lowest.min() / PA_PER_MBAR):.1f} mbar, below the minimum of "
        f"{minimum_mbar:g} mbar: watch the pressure there"
    )
    return (words,)


def _rounded_down(pressure_mbar: float) -> float:
    return math.floor(pressure_mbar * 10.0) / 10.0

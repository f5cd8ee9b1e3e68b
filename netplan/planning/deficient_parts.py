"""Parts without a station or with too little pressure once the stops are in, solved without any feed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds import Feed, UnfedPart
from netplan.hydraulics import FlowState
from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity, demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.purge_loads import PurgeDraw, live_nodes, purge_draws
from netplan.planning.work_states import judge

__all__ = ["DeficientPart", "WithoutFeeds", "part_of", "solve_without_feeds", "stranded_parts", "weak_part"]


@dataclass(frozen=True, slots=True, eq=False)
class DeficientPart:
    """A part to be fed.

    Parameters
    ----------
    label : str
        Names it in reports.
    nodes : bool array, shape (network nodes,)
        Its nodes.
    customers : int array
        Rows of its customers.
    weak : bool
        Still fed, only too weakly.
    """

    label: str
    nodes: Flags
    customers: Ints
    weak: bool


@dataclass(frozen=True, slots=True, eq=False)
class WithoutFeeds:
    """The network with all stops in and no feed.

    Parameters
    ----------
    demands : tuple of float arrays, shape (network nodes,)
        Demand in each hour to check [m³/s at 15 °C, 101.325 kPa].
    draws : tuple of PurgeDraw
        What purging each zone in takes.
    states : tuple of FlowState
        At the hour of the greatest total without a purge; then with each zone's purge in each hour to check,
        or without one where there is none: more drawn is never better.
    """

    demands: tuple[Floats, ...]
    draws: tuple[PurgeDraw, ...]
    states: tuple[FlowState, ...]


def solve_without_feeds(context: PlanningContext, cut: Cut, reach: CutConnectivity) -> WithoutFeeds:
    """Solve the network with all stops in and no feed, in every hour to check, purges included.

    Where gas for a purge may be let in at several stops, the one counts at which the kept inlets hold, else
    the first.
    """
    warm = context.before
    closed = np.flatnonzero(reach.closed & context.base.links.is_open).tolist()
    demands = demands_after(context, reach, reach.isolated, context.base.node_count)
    states: list[FlowState] = []
    solver = context.solver_of(context.base)

    def solved(demand: Floats) -> FlowState:
        start = states[0] if states else warm
        return solver.resolve(demand_m3_per_s_std=demand, closed_links=closed, warm=start)

    states.append(solved(demands[0]))
    draws = purge_draws(context, cut, reach, states[0].pressure_pa_gauge)
    if not draws:
        states.extend([solved(demand) for demand in demands[1:]])
    inlets = kept_inlets(context, reach, reach.isolated | reach.stranded)
    for draw in draws:
        chosen: list[FlowState] = []
        for place in draw.at(live_nodes(cut)):
            # All hours of the first place count if none holds; a further one is left at the first that fails.
            found, holds = [], True
            for demand in demands:
                found.append(solved(place.on(demand)))
                holds = holds and judge("", found[-1:], inlets).holds
                if chosen and not holds:
                    break
            if holds or not chosen:
                chosen = found
            if holds:
                break
        states.extend(chosen)
    return WithoutFeeds(demands, draws, tuple(states))


def stranded_parts(reach: CutConnectivity) -> tuple[DeficientPart, ...]:
    """Return the parts with customers that are left with no station."""
    found: list[DeficientPart] = []
    stranded = np.flatnonzero(reach.stranded)
    for label in np.unique(reach.customer_part[stranded]):
        rows = stranded[reach.customer_part[stranded] == label]
        found.append(
            DeficientPart(
                f"stranded {len(found) + 1}", (reach.part == label) & ~reach.in_zone, rows, weak=False
            )
        )
    return tuple(found)


def weak_part(
    context: PlanningContext, reach: CutConnectivity, without_feeds: Sequence[FlowState]
) -> tuple[DeficientPart, ...]:
    """Return the customers that the stops leave too little pressure, as one part or none."""
    owner, at = context.attachments
    pressure = np.min([state.pressure_pa_gauge for state in without_feeds], axis=0)
    low = ~(pressure[at] >= context.required_pa_gauge) & reach.fed[at]
    low &= ~reach.isolated[owner] & ~reach.stranded[owner] & ~context.weak_before[owner]
    if not low.any():
        return ()
    weak_nodes = reach.fed & ~(pressure[: len(reach.fed)] >= context.required_pa_gauge)
    return (DeficientPart("weak", weak_nodes, np.unique(owner[low]), weak=True),)


def part_of(context: PlanningContext, part: DeficientPart, feeds: tuple[Feed, ...]) -> UnfedPart:
    """Return a part as the choice of feeds sees it."""
    stay = context.must_stay[part.customers].any()
    nowhere = np.zeros(0, dtype=np.int64)
    return UnfedPart(
        label=part.label,
        feeds=feeds,
        inlets=nowhere,
        demand_nodes=nowhere,
        off_price_minor=None if stay else int(context.off_minor[part.customers].sum()),
        weak=part.weak,
    )

"""The network with all stops in and no feed: what is drawn, and how low it gets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats
from netplan.hydraulics import FlowState
from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.customer_effects import demands_after, kept_inlets
from netplan.planning.purge_loads import PurgeDraw, live_nodes, purge_draws
from netplan.planning.sequence import judge

__all__ = ["Unfed", "solve_unfed"]


@dataclass(frozen=True, slots=True, eq=False)
class Unfed:
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


def solve_unfed(context: PlanningContext, cut: Cut, reach: CutConnectivity) -> Unfed:
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
    return Unfed(demands, draws, tuple(states))

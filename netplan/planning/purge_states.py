"""The state of the network while gas goes back in round the very stop that the purge is planned at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from netplan.feeds import Draw
from netplan.gas import PurgePlan
from netplan.hydraulics import FlowState, NetworkSolver
from netplan.planfile.naming import purge_state, stop_id
from netplan.planning.connectivity import demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.purge_loads import live_nodes
from netplan.planning.work_states import judge
from netplan.planning.zone_purges import purge_outlet

__all__ = ["with_purge_states"]


def with_purge_states(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    plans: Sequence[tuple[PurgePlan, int]],
) -> EvaluatedOption:
    """Return an option that has a solved state for each stop that gas is let in round.

    Whether an option holds is asked with its least draw at any stop; the purge is then planned at one stop,
    with what hose and stack give there. That stop may be another one.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    final : FinalNetwork
        Its final network.
    plans : sequence of (PurgePlan, int)
        As `zone_purges` returns them.
    """
    found = list(option.work.purging)
    known = {judged.name for judged in found}
    inlets = kept_inlets(context, option.reach, option.gone)
    for plan, _ in plans:
        stop = _source(option, plan)
        if stop is None or plan.draw_m3_per_s_std is None or purge_state(stop_id(stop)) in known:
            continue
        states = _solved(context, option, final, stop, plan.draw_m3_per_s_std)
        found.append(judge(purge_state(stop_id(stop)), states, inlets))
        known.add(found[-1].name)
    return replace(option, work=replace(option.work, purging=tuple(found)))


def _source(option: EvaluatedOption, plan: PurgePlan) -> int | None:
    """Return the stop that gas is let in round, by its place in the cut."""
    for place in plan.places:
        for row, stop in enumerate(option.cut.stops):
            if place.role == "feed" and purge_outlet(stop) == (place.pipe, place.chainage_m):
                return row
    return None


def _solved(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    stop: int,
    flow_m3_per_s_std: float,
) -> list[FlowState]:
    """Return the states of all hours to check, in the network that the option's other states are of."""
    if option.fed is None:
        solver: NetworkSolver = context.solver_of(context.base)
        node = live_nodes(option.cut)
        count = context.base.node_count
        closed = np.flatnonzero(option.reach.closed & context.base.links.is_open).tolist()
    else:
        solver, node = final.solver(context), final.stopped.barrier_node
        count, closed = final.flow.node_count, []
    draw = Draw(int(node[stop]), flow_m3_per_s_std)
    warm = option.work.states[-1].states
    return [
        solver.resolve(demand_m3_per_s_std=draw.on(demand), closed_links=closed, warm=start)
        for demand, start in zip(demands_after(context, option.reach, option.gone, count), warm, strict=True)
    ]

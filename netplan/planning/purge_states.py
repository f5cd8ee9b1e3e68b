"""The state of the network while gas goes back in round the very stop that the purge is planned at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from netplan.feeds import Draw, Inlets
from netplan.gas import PurgePlan
from netplan.planfile.naming import purge_state, stop_id
from netplan.planning.connectivity import demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.fed_network import network_of_states
from netplan.planning.purge_loads import live_nodes
from netplan.planning.work_states import SolvedWorkState, judge
from netplan.planning.zone_purges import purge_outlet

__all__ = ["with_purge_states"]


def with_purge_states(
    context: PlanningContext,
    option: EvaluatedOption,
    plans: Sequence[tuple[PurgePlan, int]],
) -> EvaluatedOption:
    """Return an option that has a solved state for each stop that gas is let in round.

    Whether an option holds is asked with its least draw at any stop; the purge is then planned at one stop,
    with what hose and stack give there. Its state is the planned one where that holds; else, where the least
    draw was asked for at the same stop, that: the crew throttles.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    plans : sequence of (PurgePlan, int)
        As `zone_purges` returns them.
    """
    found = list(option.work.purging)
    inlets = kept_inlets(context, option.reach, option.gone)
    for plan, _ in plans:
        stop = _source(option, plan)
        if stop is None or plan.draw_m3_per_s_std is None:
            continue
        planned = _planned(context, option, stop, plan.draw_m3_per_s_std, inlets)
        same = next((row for row, judged in enumerate(found) if judged.name == planned.name), None)
        if same is None:
            found.append(planned)
        elif planned.holds:
            found[same] = planned
    return replace(option, work=replace(option.work, purging=tuple(found)))


def _source(option: EvaluatedOption, plan: PurgePlan) -> int | None:
    """Return the stop that gas is let in round, by its place in the cut."""
    for place in plan.places:
        for row, stop in enumerate(option.cut.stops):
            if place.role == "feed" and purge_outlet(stop) == (place.pipe, place.chainage_m):
                return row
    return None


def _planned(
    context: PlanningContext,
    option: EvaluatedOption,
    stop: int,
    flow_m3_per_s_std: float,
    inlets: Inlets,
) -> SolvedWorkState:
    """Return the state of all hours to check, in the network that the option's other states are of."""
    last = option.work.states[-1]
    if option.fed is None or option.stopped is None:
        network, node = context.base, live_nodes(option.cut)
    else:
        sizes = [feed.size for feed in option.feeds if feed is not None]
        network = network_of_states(option.stopped, option.fed, sizes, context.request.rules)
        node = option.stopped.barrier_node
    draw = Draw(int(node[stop]), flow_m3_per_s_std)
    solver = context.solver_of(network)
    states = [
        solver.resolve(
            demand_m3_per_s_std=draw.on(demand),
            closed_links=last.changes.closed,
            opened_links=last.changes.opened,
            warm=start,
        )
        for demand, start in zip(
            demands_after(context, option.reach, option.gone, network.node_count), last.states, strict=True
        )
    ]
    judged = judge(purge_state(stop_id(stop)), states, inlets)
    return replace(judged, changes=replace(last.changes, draw=draw))

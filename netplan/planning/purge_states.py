"""The state of the network while gas goes back in round the very stop that the purge is planned at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from netplan.core.arrays import Ints
from netplan.feeds import Draw
from netplan.gas import PurgePlan
from netplan.hydraulics import FlowNetwork
from netplan.planfile.naming import purge_state, stop_id
from netplan.planning.connectivity import demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.fed_network import network_of_states
from netplan.planning.final_network import FinalNetwork
from netplan.planning.option_records.gauge_places import GaugePlace, PipePlaces, places_of
from netplan.planning.purge_loads import live_nodes
from netplan.planning.tapped_draw import DrawPlace, solved_with_draw
from netplan.planning.work_states import SolvedWorkState, judge
from netplan.planning.zone_purges import gas_outlet, purge_outlet, tees_by_stop

__all__ = ["with_purge_states"]


def with_purge_states(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    plans: Sequence[tuple[PurgePlan, int]],
) -> EvaluatedOption:
    """Return an option that has a solved state for each stop that gas is let in round.

    Whether an option holds is asked with its least draw at any stop; the purge is then planned at one stop,
    with what hose and stack give there. Its state is the planned one where that holds; else, where the least
    draw was asked for at the same stop, that: the crew throttles. Each is solved with the draw taken at the
    tapping on the live side that the hose joins.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    final : FinalNetwork
    plans : sequence of (PurgePlan, int)
        As `zone_purges` returns them.
    """
    tapped = _TappedStates(context, option, final)
    names = [purge_state(stop_id(stop)) for stop in range(len(option.cut.stops))]
    found = {
        names.index(judged.name): tapped.solved(names.index(judged.name), judged.changes.draw)
        for judged in option.work.purging
        if judged.changes.draw is not None
    }
    for plan, _ in plans:
        stop = _source(option, plan)
        if stop is None or plan.draw_m3_per_s_std is None:
            continue
        planned = tapped.solved(stop, Draw(int(tapped.node[stop]), plan.draw_m3_per_s_std))
        if stop not in found or planned.holds:
            found[stop] = planned
    return replace(option, work=replace(option.work, purging=tuple(found.values())))


def _source(option: EvaluatedOption, plan: PurgePlan) -> int | None:
    """Return the stop that gas is let in round, by its place in the cut."""
    for place in plan.places:
        for row, stop in enumerate(option.cut.stops):
            if place.role == "feed" and purge_outlet(stop) == (place.pipe, place.chainage_m):
                return row
    return None


@dataclass(frozen=True, eq=False)
class _TappedStates:
    """States of all hours to check with a draw, in the network that the option's other states are of."""

    context: PlanningContext
    option: EvaluatedOption
    final: FinalNetwork

    @cached_property
    def network(self) -> FlowNetwork:
        option = self.option
        if option.fed is None or option.stopped is None:
            return self.context.base
        sizes = [feed.size for feed in option.feeds if feed is not None]
        return network_of_states(option.stopped, option.fed, sizes, self.context.request.rules)

    @cached_property
    def node(self) -> Ints:
        """Node on the live side of each stop."""
        option = self.option
        if option.fed is None or option.stopped is None:
            return live_nodes(option.cut)
        return option.stopped.barrier_node

    @cached_property
    def places(self) -> PipePlaces:
        return places_of(self.context, self.option, self.final)[1]

    def solved(self, stop: int, draw: Draw) -> SolvedWorkState:
        """Return the state with a draw at a stop."""
        context, option, last = self.context, self.option, self.option.work.states[-1]
        solver, at = context.solver_of(self.network), self.tapping(stop)
        demands = demands_after(context, option.reach, option.gone, self.network.node_count)
        states = [
            solved_with_draw(
                solver,
                demand,
                draw,
                at,
                context.conditions,
                closed=last.changes.closed,
                opened=last.changes.opened,
                warm=start,
            )
            for demand, start in zip(demands, last.states, strict=True)
        ]
        judged = judge(purge_state(stop_id(stop)), states, kept_inlets(context, option.reach, option.gone))
        return replace(judged, changes=replace(last.changes, draw=draw, drawn_at=at))

    def tapping(self, stop: int) -> DrawPlace | None:
        """Return where gas for a purge is drawn at a stop; None without an outlet on the live side."""
        cut, closed = self.option.cut, self.option.work.states[-1].changes.closed
        tapping = gas_outlet(self.context, cut.stops, stop, tees_by_stop(self.option).get(stop, 0))
        if tapping is None:
            return None
        own = GaugePlace(tapping.pipe, tapping.chainage_m, int(self.node[stop]))
        link = self.places.link_at(own, closed)
        if link < 0 and cut.stops[stop].pipe == tapping.pipe:
            link = cut.stops[stop].piece
        if link < 0:
            return None
        low, high = float(self.places.from_m[link]), float(self.places.to_m[link])
        return DrawPlace(link, min(max((tapping.chainage_m - low) / (high - low), 0.0), 1.0))

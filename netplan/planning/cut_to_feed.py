"""A cut with its feeds, solved in every state of the work: what the price of a cut and a recheck both ask.

Nothing is refused here: whether the option stands is for the caller to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.excavations import CutExcavations
from netplan.feeds import FeedCase, FeedLoads, Inlets, PartsAnswer, Relieved, SizedFeed, UnfedPart
from netplan.isolation import Cut
from netplan.planfile.naming import bypass_id
from netplan.planning.connectivity import CutConnectivity, demands_after, flow_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import waiting_minor
from netplan.planning.deficient_parts import DeficientPart, WithoutFeeds, part_of
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.fed_network import FedNetwork, fed_network, network_of_states
from netplan.planning.purge_loads import PurgeDraw, live_nodes
from netplan.planning.stopped_network import StoppedNetwork, at_taps, draw_stops
from netplan.planning.work_states import FeedLinks, Tapped, work_states

__all__ = ["CutToFeed", "feed_link_rows", "interruption_of", "option_with", "option_without_feeds"]


@dataclass(frozen=True, slots=True, eq=False)
class CutToFeed:
    """A cut with parts that must be fed or go off: what every choice of feeds starts from.

    Parameters
    ----------
    context : PlanningContext
    cut : Cut
    reach : CutConnectivity
    dug : CutExcavations
    without_feeds : WithoutFeeds
        All stops in and no feed, solved.
    deficient : tuple of DeficientPart
    stopped : StoppedNetwork
    fed : FedNetwork
        With every way of feeding each part.
    """

    context: PlanningContext
    cut: Cut
    reach: CutConnectivity
    dug: CutExcavations
    without_feeds: WithoutFeeds
    deficient: tuple[DeficientPart, ...]
    stopped: StoppedNetwork
    fed: FedNetwork

    @classmethod
    def of(
        cls,
        context: PlanningContext,
        cut: Cut,
        reach: CutConnectivity,
        dug: CutExcavations,
        without_feeds: WithoutFeeds,
        deficient: tuple[DeficientPart, ...],
    ) -> CutToFeed:
        """Set up a cut with every way of feeding each part."""
        stopped = draw_stops(context.request.network, context.base, cut)
        pressure = np.array([at_taps(stopped, state) for state in without_feeds.states])
        fed = fed_network(context, cut, reach, dug, stopped, deficient, pressure)
        return cls(context, cut, reach, dug, without_feeds, deficient, stopped, fed)

    @property
    def parts(self) -> list[UnfedPart]:
        """The parts as the choice of feeds sees them."""
        each = zip(self.deficient, self.fed.feeds, strict=True)
        return [part_of(self.context, part, feeds) for part, feeds in each]

    def gone(self, off: Sequence[bool]) -> Flags:
        """Return the customers that are off when some parts are."""
        gone = self.reach.isolated.copy()
        for part, is_off in zip(self.deficient, off, strict=True):
            gone[part.customers] |= is_off
        return gone

    def joins_refused(self, answer: PartsAnswer) -> str:
        """Return why the feeds of an answer may not join the pressure areas they do; empty where they may."""
        sizes = [feed.size for feed in answer.feeds if feed is not None]
        joins = tuple(self.fed.joins[size.feed.label] for size in sizes)
        fed_parts = [
            part.nodes
            for part, feed in zip(self.deficient, answer.feeds, strict=True)
            if feed and not part.weak
        ]
        return self.context.areas.refused(self.cut, joins, fed_parts)

    def case(self) -> FeedCase:
        """Return the case for the choice of feeds, solved once with every part on."""
        inlets = kept_inlets(self.context, self.reach, self.reach.isolated)
        all_on = self.relieved(inlets, (False,) * len(self.deficient)).loads
        case = FeedCase(self.context.solver_of(self.fed.flow), all_on.hours[0], inlets, all_on)
        case.solver.solve(case.demand_m3_per_s_std, warm=self.context.before)
        return case

    def relieved(self, inlets: Inlets, off: tuple[bool, ...]) -> Relieved:
        """Return what is left with some parts off: a node may hold customers off beside others that stay."""
        gone = self.gone(off)
        demands = demands_after(self.context, self.reach, gone, self.fed.flow.node_count)
        draws = tuple(draw.at(self.stopped.barrier_node) for draw in self.without_feeds.draws)
        kept = kept_inlets(self.context, self.reach, gone)
        return Relieved(FeedLoads(demands, draws), ~np.isin(inlets.node, kept.node))


def option_without_feeds(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    dug: CutExcavations,
    without_feeds: WithoutFeeds,
) -> EvaluatedOption:
    """Return the option of a cut without deficient parts, solved in every state of the work."""
    inlets = kept_inlets(context, reach, reach.isolated)
    # Nothing is drawn within a stopped piece: closing all of it is the same as closing it at the barrier.
    work = work_states(
        context.solver_of(context.base),
        inlets,
        [stop.piece for stop in cut.stops],
        meters_on_m3_per_s_std=context.demands_before(context.base.node_count),
        meters_off_m3_per_s_std=without_feeds.demands,
        purges=[_tapped(draw, live_nodes(cut)) for draw in without_feeds.draws],
    )
    off = np.flatnonzero(reach.isolated)
    interruption = interruption_of(context, off)
    return EvaluatedOption(
        cut=cut,
        reach=reach,
        deficient=(),
        feeds=(),
        part_off=(),
        stopped=None,
        fed=None,
        work=work,
        off=off,
        draws=without_feeds.draws,
        flow_m3_per_s_std=flow_after(context, reach, reach.isolated),
        stops_minor=cut.stops_minor,
        interruption_minor=interruption,
        feeds_minor=0,
        gas_minor=cut.gas_minor,
        excavations_minor=dug.price_minor,
    )


def option_with(to_feed: CutToFeed, answer: PartsAnswer) -> EvaluatedOption:
    """Return the option with the feeds of an answer, solved in every state of the work."""
    context, cut, reach, fed = to_feed.context, to_feed.cut, to_feed.reach, to_feed.fed
    deficient, stopped, draws = to_feed.deficient, to_feed.stopped, to_feed.without_feeds.draws
    gone = to_feed.gone(answer.off)
    off = np.flatnonzero(gone)
    interruption = interruption_of(context, off)
    sizes = [feed.size for feed in answer.feeds if feed is not None]
    joins = tuple(fed.joins[size.feed.label] for size in sizes)
    links = fed.flow.links
    open_network = network_of_states(stopped, fed, sizes, context.request.rules)
    work = work_states(
        context.solver_of(open_network),
        kept_inlets(context, reach, gone),
        stopped.closes,
        meters_on_m3_per_s_std=context.demands_before(fed.flow.node_count),
        meters_off_m3_per_s_std=demands_after(context, reach, gone, fed.flow.node_count),
        feeds=feed_link_rows(answer.feeds, links.count),
        purges=[_tapped(draw, stopped.barrier_node) for draw in draws],
    )
    return EvaluatedOption(
        cut=cut,
        reach=reach,
        deficient=deficient,
        feeds=answer.feeds,
        part_off=answer.off,
        stopped=stopped,
        fed=fed,
        work=work,
        off=off,
        draws=draws,
        flow_m3_per_s_std=flow_after(context, reach, gone),
        stops_minor=cut.stops_minor,
        interruption_minor=interruption,
        feeds_minor=answer.feeds_price_minor,
        gas_minor=cut.gas_minor,
        excavations_minor=to_feed.dug.price_minor,
        joins=joins,
        failed_feeds=answer.failed,
    )


def interruption_of(context: PlanningContext, off: Ints) -> int:
    """Return the price of customers off, the queue at relighting included [minor units]."""
    return int(context.off_minor[off].sum()) + waiting_minor(context, off)


def _tapped(draw: PurgeDraw, node: Ints) -> tuple[Tapped, ...]:
    return tuple(Tapped(stop, at) for stop, at in zip(draw.stops, draw.at(node), strict=True))


def feed_link_rows(feeds: Sequence[SizedFeed | None], first: int) -> tuple[FeedLinks, ...]:
    """Return the links of sized feeds, hoses before valves: hoses stand from link `first` on, in order."""
    rows: list[FeedLinks] = []
    bypasses = 0
    for feed in feeds:
        if feed is None:
            continue
        if feed.size.feed.valve_link >= 0:
            rows.append(FeedLinks(feed.size.feed.label, valves=(feed.size.feed.valve_link,)))
            continue
        hoses = tuple(range(first, first + feed.size.parallel))
        rows.append(FeedLinks(bypass_id(bypasses), hoses=hoses))
        bypasses += 1
        first += feed.size.parallel
    return tuple(sorted(rows, key=lambda row: not row.hoses))

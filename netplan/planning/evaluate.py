"""The full price of a cut: who is off, what feeds it takes, whether every state of the work holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.excavations import CutExcavations
from netplan.feeds import (
    TOO_DEAR,
    FeedCase,
    FeedLoads,
    Inlets,
    PartsAnswer,
    Relieved,
    SizedFeed,
    UnfedPart,
    feed_answers,
    least_price_minor,
)
from netplan.isolation import Cut
from netplan.planfile.naming import bypass_id
from netplan.planning.connectivity import CutConnectivity, demands_after, flow_after, kept_inlets, reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import waiting_minor
from netplan.planning.day_hours import counts_of, least_counts_of, least_counts_with, meters_of, refusal
from netplan.planning.deficient_parts import (
    DeficientPart,
    WithoutFeeds,
    part_of,
    solve_without_feeds,
    stranded_parts,
    weak_part,
)
from netplan.planning.evaluated_option import EvaluatedOption, RefusedCut
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.fed_network import FedNetwork, fed_network, network_of_states
from netplan.planning.final_network import final_network
from netplan.planning.parts_off import PartsOffInDay
from netplan.planning.purge_loads import PurgeDraw, live_nodes
from netplan.planning.stopped_network import StoppedNetwork, at_taps, draw_stops
from netplan.planning.too_dear_cuts import base_minor_of, no_feed, too_dear, with_refused
from netplan.planning.work_states import FeedLinks, Tapped, WorkStates, work_states
from netplan.planning.zone_purges import below_least, zone_purges

__all__ = ["price_cut"]


def price_cut(
    context: PlanningContext, cut: Cut, most_minor: int | None = None
) -> tuple[EvaluatedOption, ...] | RefusedCut:
    """Price a cut in full.

    For each choice of parts off the cheapest feeds of the others are found with which every kept meter inlet
    holds its pressure in every state of the work: those are different options. A meter that fails before
    any stop is neither priced nor a veto.

    Parameters
    ----------
    context : PlanningContext
    cut : Cut
    most_minor : int, optional
        Options at this burden or above are not looked for any more [minor units].
    """
    network = context.request.network
    reach = reach_of(context, cut)
    isolated = np.flatnonzero(reach.isolated)
    barred = context.must_stay[isolated]
    if barred.any():
        who = network.customers.id[int(isolated[barred][0])]
        return RefusedCut(cut, f"customer {who} must stay on and lies in the zone")
    too_long = refusal(context, least_counts_of(context, cut, reach, meters_of(context, isolated)))
    if too_long:
        # Feeds keep others on, never those in the zone.
        return RefusedCut(cut, too_long, by_hours=True)
    interruption = _interruption(context, isolated)
    dug = excavations_of_cut(context, cut)
    refused = too_dear(context, cut, reach, dug, interruption, most_minor)
    if refused:
        return RefusedCut(cut, refused)
    without_feeds = solve_without_feeds(context, cut, reach)
    deficient = (*stranded_parts(reach), *weak_part(context, reach, without_feeds.states))
    if without_feeds.draws and any(part.weak for part in deficient):
        context.against_by_purge.add("a weak part")
    if not deficient:
        return _without_feeds(context, cut, reach, dug, without_feeds)
    base_minor = base_minor_of(cut, dug, interruption)
    below_minor = None if most_minor is None else most_minor - base_minor
    return _with_feeds(_CutToFeed.of(context, cut, reach, dug, without_feeds, deficient), below_minor)


def _without_feeds(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    dug: CutExcavations,
    without_feeds: WithoutFeeds,
) -> tuple[EvaluatedOption] | RefusedCut:
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
    if work.failing is not None:
        return _refused_in(context, cut, work)
    off = np.flatnonzero(reach.isolated)
    interruption = _interruption(context, off)
    option = EvaluatedOption(
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
    held = _if_purged_in_day(context, option)
    return held if isinstance(held, RefusedCut) else (held,)


def _if_purged_in_day(context: PlanningContext, option: EvaluatedOption) -> EvaluatedOption | RefusedCut:
    """Return an option with what its order of work is made of, if its purge and its hours are allowed."""
    final = final_network(context, option)
    purges = zone_purges(context, option, final)
    if context.request.rules.purge.below_least == "refuse" and (reason := below_least(context, purges)):
        return RefusedCut(option.cut, reason)
    counts = counts_of(context, option, final, purges)
    too_long = refusal(context, counts)
    return (
        RefusedCut(option.cut, too_long) if too_long else replace(option, counts=counts, purges=tuple(purges))
    )


def _refused_in(context: PlanningContext, cut: Cut, work: WorkStates) -> RefusedCut:
    """Return that a cut is refused for a state of the work that does not hold."""
    assert work.failing is not None  # noqa: S101 - asked for a failing state only
    if work.failing in work.purging:
        context.against_by_purge.add("a state of the work")
    return RefusedCut(cut, work.failing.reason())


def _interruption(context: PlanningContext, off: Ints) -> int:
    """Return the price of customers off, the queue at relighting included [minor units]."""
    return int(context.off_minor[off].sum()) + waiting_minor(context, off)


@dataclass(frozen=True, slots=True, eq=False)
class _CutToFeed:
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
    ) -> _CutToFeed:
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


def _with_feeds(to_feed: _CutToFeed, below_minor: int | None) -> tuple[EvaluatedOption, ...] | RefusedCut:
    context, cut, fed = to_feed.context, to_feed.cut, to_feed.fed
    parts, rules = to_feed.parts, context.request.rules
    least_minor = least_price_minor(parts, rules)
    if least_minor is None:
        return RefusedCut(cut, no_feed(context, fed))
    if below_minor is not None and least_minor >= below_minor:
        return RefusedCut(cut, TOO_DEAR)
    case = to_feed.case()
    held: dict[tuple[bool, ...], EvaluatedOption] = {}
    reason, is_cut_short = "", False
    day = PartsOffInDay(context, cut, to_feed.reach, to_feed.deficient)
    answers = feed_answers(
        case,
        parts,
        rules,
        below_minor=below_minor,
        is_settled=lambda off: off in held or day.is_too_short(off),
        relieved=partial(to_feed.relieved, case.inlets),
    )
    for answer in answers:
        if answer.verdict is None:
            reason, is_cut_short = reason or answer.reason or day.reason, answer.is_cut_short
            if answer.has_failed_by_purge or answer.is_cut_short:
                context.against_by_purge.add("feeds")
            continue
        priced = _option_with(to_feed, answer)
        if isinstance(priced, RefusedCut):
            reason = priced.reason
        else:
            # Answers come cheapest first, so the first that stands is the cheapest with these parts off.
            held[answer.off] = priced
    if held:
        return tuple(held.values())
    return RefusedCut(cut, with_refused(reason, fed), is_cut_short=is_cut_short)


def _option_with(to_feed: _CutToFeed, answer: PartsAnswer) -> EvaluatedOption | RefusedCut:
    """Return the option with the feeds of an answer, if every state of the work holds."""
    context, cut, reach, fed = to_feed.context, to_feed.cut, to_feed.reach, to_feed.fed
    deficient, stopped, draws = to_feed.deficient, to_feed.stopped, to_feed.without_feeds.draws
    gone = to_feed.gone(answer.off)
    off = np.flatnonzero(gone)
    too_long = refusal(context, least_counts_with(context, cut, reach, off, answer.feeds))
    if too_long:
        return RefusedCut(cut, too_long)
    interruption = _interruption(context, off)
    sizes = [feed.size for feed in answer.feeds if feed is not None]
    joins = tuple(fed.joins[size.feed.label] for size in sizes)
    fed_parts = [
        part.nodes for part, feed in zip(deficient, answer.feeds, strict=True) if feed and not part.weak
    ]
    refused = context.areas.refused(cut, joins, fed_parts)
    if refused:
        return RefusedCut(cut, f"feeds may not be used together: {refused}")
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
    if work.failing is not None:
        return _refused_in(context, cut, work)
    option = EvaluatedOption(
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
    return _if_purged_in_day(context, option)


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

"""The full price of a cut: who is off, what feeds it takes, whether every state of the work holds."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from netplan.feeds import (
    TOO_DEAR,
    PartsAnswer,
    feed_answers,
    held_by_inlets,
    least_price_minor,
)
from netplan.isolation import Cut
from netplan.planning.connectivity import kept_inlets, reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.cut_to_feed import CutToFeed, interruption_of, option_with, option_without_feeds
from netplan.planning.day_hours import counts_of, least_counts_of, least_counts_with, meters_of, refusal
from netplan.planning.deficient_parts import (
    solve_without_feeds,
    stranded_parts,
    weak_part,
)
from netplan.planning.evaluated_option import EvaluatedOption, RefusedCut
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.final_network import final_network
from netplan.planning.parts_off import PartsOffInDay, too_many_off
from netplan.planning.too_dear_cuts import base_minor_of, no_feed, too_dear, with_refused
from netplan.planning.work_states import WorkStates
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
    meters = meters_of(context, isolated)
    too_many = too_many_off(context, meters)
    if too_many:
        return RefusedCut(cut, too_many)
    too_long = refusal(context, least_counts_of(context, cut, reach, meters))
    if too_long:
        # Feeds keep others on, never those in the zone.
        return RefusedCut(cut, too_long, by_hours=True)
    interruption = interruption_of(context, isolated)
    dug = excavations_of_cut(context, cut)
    refused = too_dear(context, cut, reach, dug, interruption, most_minor)
    if refused:
        return RefusedCut(cut, refused)
    without_feeds = solve_without_feeds(context, cut, reach)
    deficient = (*stranded_parts(reach), *weak_part(context, reach, without_feeds.states))
    if without_feeds.draws and any(part.weak for part in deficient):
        context.against_by_purge.add("a weak part")
    if not deficient:
        option = _if_it_holds(context, option_without_feeds(context, cut, reach, dug, without_feeds))
        return option if isinstance(option, RefusedCut) else (option,)
    base_minor = base_minor_of(cut, dug, interruption)
    below_minor = None if most_minor is None else most_minor - base_minor
    return _with_feeds(CutToFeed.of(context, cut, reach, dug, without_feeds, deficient), below_minor)


def _if_it_holds(context: PlanningContext, option: EvaluatedOption) -> EvaluatedOption | RefusedCut:
    """Return an option if every state of its work holds, its purge and its hours are allowed."""
    if option.work.failing is not None:
        return _refused_in(context, option.cut, option.work)
    return _if_purged_in_day(context, option)


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


def _with_feeds(to_feed: CutToFeed, below_minor: int | None) -> tuple[EvaluatedOption, ...] | RefusedCut:
    context, cut, fed = to_feed.context, to_feed.cut, to_feed.fed
    parts, rules = to_feed.parts, context.request.rules
    least_minor = least_price_minor(parts, rules)
    if least_minor is None:
        return RefusedCut(cut, no_feed(context, fed))
    if below_minor is not None and least_minor >= below_minor:
        return RefusedCut(cut, TOO_DEAR)
    reason = _weak_without_feeds(to_feed)
    if reason:
        return RefusedCut(cut, with_refused(reason, fed))
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


def _weak_without_feeds(to_feed: CutToFeed) -> str:
    """Return why nothing can hold where nobody can be fed and a weak part must stay on; else nothing.

    What is left to choose is nothing, and it was solved before any feed was looked for.
    """
    context, parts = to_feed.context, to_feed.parts
    if any(part.feeds for part in parts) or not any(part.weak for part in parts):
        return ""
    if any(part.weak and part.off_price_minor is not None for part in parts):
        return ""
    off = tuple(not part.weak for part in parts)
    day = PartsOffInDay(context, to_feed.cut, to_feed.reach, to_feed.deficient)
    if day.is_too_short(off):
        return day.reason
    inlets = kept_inlets(context, to_feed.reach, to_feed.gone(off))
    pressure = to_feed.without_feeds.states[0].pressure_pa_gauge[inlets.node]
    return held_by_inlets(pressure, inlets.required_pa_gauge).reason


def _option_with(to_feed: CutToFeed, answer: PartsAnswer) -> EvaluatedOption | RefusedCut:
    """Return the option with the feeds of an answer, if every state of the work holds."""
    context, cut = to_feed.context, to_feed.cut
    off = np.flatnonzero(to_feed.gone(answer.off))
    too_long = refusal(context, least_counts_with(context, cut, to_feed.reach, off, answer.feeds))
    if too_long:
        return RefusedCut(cut, too_long)
    refused = to_feed.joins_refused(answer)
    if refused:
        return RefusedCut(cut, f"feeds may not be used together: {refused}")
    return _if_it_holds(context, option_with(to_feed, answer))

"""The stops and feeds of an issued plan on today's network, solved in every state of the work.

Nothing is searched for and nothing is sized. Parts without a feed of the plan go off where the plan has them
off, or where nothing feeds them; every other customer kept must hold in every state of the work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down
from netplan.excavations import CutExcavations
from netplan.feeds import FeedCase, FeedChecker, FeedSize, PartsAnswer, SizedFeed
from netplan.feeds.feed_sizing import tees_fit
from netplan.isolation import Cut
from netplan.network.finding_log import listed
from netplan.planfile.model import Option
from netplan.planfile.recheck_answer import Against
from netplan.planning.connectivity import CutConnectivity, reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.cut_to_feed import CutToFeed, option_with, option_without_feeds
from netplan.planning.day_hours import counts_of, refusal
from netplan.planning.deficient_parts import (
    DeficientPart,
    WithoutFeeds,
    solve_without_feeds,
    stranded_parts,
    weak_part,
)
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.fed_network import fed_network_with
from netplan.planning.final_network import final_network
from netplan.planning.stopped_network import draw_stops
from netplan.planning.work_states import ROUNDING_PA, SolvedWorkState
from netplan.planning.zone_purges import below_least, zone_purges
from netplan.recheck.recorded_feeds import GivenFeed, given_feeds, size_of

__all__ = ["FixedOption", "fixed_option"]

MOST_NAMED = 6
"""Customers named in one line (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class FixedOption:
    """The option as it is today.

    Parameters
    ----------
    priced : EvaluatedOption
    against : tuple of Against
        Hard constraints that it breaks; empty where it stands.
    below : tuple of str
        Customers kept who have less than they must, or more than they may, in some state of the work, by id.
    kept_by : dict
        Id in the plan of the feed that keeps a customer, by the customer's id; empty where it is another's.
    """

    priced: EvaluatedOption
    against: tuple[Against, ...]
    below: tuple[str, ...]
    kept_by: dict[str, str]

    @property
    def has_gas(self) -> bool:
        """Whether every kept inlet and both ends of every feed have gas in every state of the work."""
        least = [state.least_pa_gauge for state in self.priced.work.every if state.node >= 0]
        ends = [
            end
            for feed in self.priced.feeds
            if feed is not None
            for end in (feed.pressure_from_pa_gauge, feed.pressure_to_pa_gauge)
        ]
        return bool(np.isfinite([*least, *ends]).all())


@dataclass(frozen=True, slots=True, eq=False)
class _FedPart:
    """A deficient part with its feed of the plan, or whether it is off without one."""

    part: DeficientPart
    feed: GivenFeed | None
    is_off: bool


def fixed_option(context: PlanningContext, cut: Cut, recorded: Option) -> FixedOption:
    """Return an option of a plan with its stops as a cut of today's network.

    Parameters
    ----------
    context : PlanningContext
    cut : Cut
        Of the plan's stops.
    recorded : Option
        As the plan has it.
    """
    reach = reach_of(context, cut)
    dug = excavations_of_cut(context, cut)
    without_feeds = solve_without_feeds(context, cut, reach)
    stopped = draw_stops(context.request.network, context.base, cut)
    feeds, missing = given_feeds(context, reach.fed, cut, stopped, recorded)
    against = [Against(subject="feed", what=why) for why in missing]
    parts = _parts(context, reach, without_feeds, feeds, recorded)
    if not parts:
        priced = option_without_feeds(context, cut, reach, dug, without_feeds)
    else:
        priced, more = _fed(context, cut, reach, dug, without_feeds, parts)
        against += more
    against += _priority(context, priced)
    failing = [state for state in priced.work.every if not state.holds]
    below = _below(context, priced, failing)
    against += [Against(subject="pressure", what=_state_words(context, priced, state)) for state in failing]
    priced, more = _day(context, priced)
    return FixedOption(priced, (*against, *more), below, _kept_by(context, parts))


def _parts(
    context: PlanningContext,
    reach: CutConnectivity,
    without_feeds: WithoutFeeds,
    feeds: Sequence[GivenFeed],
    recorded: Option,
) -> list[_FedPart]:
    """Return the deficient parts of today with the feeds of the plan, in the order of the plan's feeds.

    A weak part is whom the plan keeps by its feed, or turns off, with those who are weak today: in milder
    weather the feed is laid and the meters are off all the same.
    """
    weak_today = weak_part(context, reach, without_feeds.states)
    stranded = stranded_parts(reach)
    told_off, kept = _told_weak(context, reach, recorded)
    waiting = list(feeds)
    found: list[_FedPart] = []
    for part in stranded:
        feed = next((one for one in waiting if part.nodes[list(one.fed)].any()), None)
        if feed is not None:
            waiting.remove(feed)
        found.append(_FedPart(part, feed, feed is None))
    weak = np.unique(np.concatenate([kept, *(one.customers for one in weak_today)])).astype(np.int64)
    weak = np.setdiff1d(weak, told_off)
    left: list[GivenFeed | None] = [*waiting] or ([None] if feeds and len(weak) else [])
    for feed in left:
        # What is left feeds who is weak: one feed a part, as in a plan. Without one of its own a weak part
        # may be helped by that of another.
        nodes = _nodes_of(context, weak)
        nodes[[] if feed is None else list(feed.fed)] = True
        found.append(_FedPart(DeficientPart("weak", nodes, weak, weak=True), feed, is_off=False))
        weak = weak[:0]
    if len(told_off):
        nodes = _nodes_of(context, told_off)
        found.append(_FedPart(DeficientPart("weak", nodes, told_off, weak=True), None, is_off=True))
    order = {feed.id: place for place, feed in enumerate(feeds)}
    with_feed = iter(
        sorted((one for one in found if one.feed), key=lambda one: order[one.feed.id] if one.feed else 0)
    )
    return [next(with_feed) if one.feed else one for one in found]


def _kept_by(context: PlanningContext, parts: Sequence[_FedPart]) -> dict[str, str]:
    customer_id = context.request.network.customers.id
    return {
        customer_id[row]: "" if one.feed is None else one.feed.id
        for one in parts
        if not one.is_off
        for row in one.part.customers.tolist()
    }


def _told_weak(context: PlanningContext, reach: CutConnectivity, recorded: Option) -> tuple[Ints, Ints]:
    """Return who is off, and who is kept by a feed, in the plan for too little pressure alone."""
    customers = context.request.network.customers
    named = {c.id: c.effect for c in recorded.customers if c.cause == "below minimum"}
    rows = {name: customers.id.find(name) for name in named}
    there = {
        name: row
        for name, row in rows.items()
        if row >= 0 and not reach.isolated[row] and not reach.stranded[row]
    }
    return tuple(
        np.array(sorted(row for name, row in there.items() if named[name] == effect), dtype=np.int64)
        for effect in ("off", "kept")
    )  # type: ignore[return-value]


def _nodes_of(context: PlanningContext, rows: Ints) -> Flags:
    owner, at = context.attachments
    nodes = np.zeros(len(context.fed_before), dtype=bool)
    nodes[at[np.isin(owner, rows)]] = True
    return nodes


def _fed(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    dug: CutExcavations,
    without_feeds: WithoutFeeds,
    parts: Sequence[_FedPart],
) -> tuple[EvaluatedOption, list[Against]]:
    rules = context.request.rules
    stopped = draw_stops(context.request.network, context.base, cut)
    fed = fed_network_with(
        context, cut, dug, stopped, [None if one.feed is None else one.feed.way for one in parts]
    )
    deficient = tuple(one.part for one in parts)
    to_feed = CutToFeed(context, cut, reach, dug, without_feeds, deficient, stopped, fed)
    off = tuple(one.is_off for one in parts)
    sizes = [
        size_of(some[0], one.feed) for one, some in zip(parts, fed.feeds, strict=True) if one.feed is not None
    ]
    against: list[Against] = []
    if not tees_fit([(size.feed, size.parallel) for size in sizes]):
        against.append(
            Against(subject="feed", what="there is no room for a tee of its own for every hose at one place")
        )
    case = to_feed.case()
    answer = _answer(to_feed, case, off, sizes, parts)
    refused = to_feed.joins_refused(answer)
    if refused:
        against.append(Against(subject="feed", what=f"the feeds may not be used together: {refused}"))
    relief = to_feed.relieved(case.inlets, off)
    reason = FeedChecker(case, rules, may_split=False).reason_against(sizes, relief.loads, relief.skip_inlets)
    if reason and sizes:
        names = ", ".join(one.feed.id for one in parts if one.feed is not None)
        against.append(Against(subject="feed", what=f"{names} as planned: {reason}"))
    return option_with(to_feed, answer), against


def _answer(
    to_feed: CutToFeed,
    case: FeedCase,
    off: tuple[bool, ...],
    sizes: Sequence[FeedSize],
    parts: Sequence[_FedPart],
) -> PartsAnswer:
    """Return the feeds in their sizes as the choice of feeds would give them."""
    context, rules = to_feed.context, to_feed.context.request.rules
    relief = to_feed.relieved(case.inlets, off)
    verdict = case.judge(
        sizes, rules, demand_m3_per_s_std=relief.loads.hours[0], skip_inlets=relief.skip_inlets
    )
    figures = iter(case.figures(sizes, verdict, rules))
    sized: list[SizedFeed | None] = [None if one.feed is None else next(figures) for one in parts]
    price = sum(feed.price_minor for feed in sized if feed is not None)
    gone = [one.part.customers for one in parts if one.is_off]
    price += int(context.off_minor[np.concatenate(gone)].sum()) if gone else 0
    return PartsAnswer(tuple(sized), off, price, verdict)


def _priority(context: PlanningContext, priced: EvaluatedOption) -> list[Against]:
    """Return who would go off who must stay on."""
    customers = context.request.network.customers
    rows = priced.off[context.must_stay[priced.off]]
    return [
        Against(
            subject="priority",
            what=f"customer {customers.id[row]} must stay on ({customers.priority[row] or 'by order'}) "
            "and would be off",
        )
        for row in rows.tolist()
    ]


def _state_words(context: PlanningContext, priced: EvaluatedOption, state: SolvedWorkState) -> str:
    limit = context.required_pa_gauge / PA_PER_MBAR
    ids = _below(context, priced, [state])
    names = listed(ids, MOST_NAMED) if ids else "a kept meter inlet"
    if np.isnan(state.least_pa_gauge):
        return f"{state.name}: no gas at {names}"
    if not np.isnan(state.too_high_pa_gauge):
        return f"{state.name}: more than pressure.maximum_mbar at {names}"
    least = rounded_down(state.least_pa_gauge / PA_PER_MBAR, 2)
    return f"{state.name}: down to {least:.2f} mbar at {names}, where {limit:.2f} mbar must hold"


def _below(
    context: PlanningContext, priced: EvaluatedOption, failing: Sequence[SolvedWorkState]
) -> tuple[str, ...]:
    """Return who is kept and does not hold in some states, by id."""
    owner, at = context.attachments
    counts = ~priced.gone[owner] & ~priced.reach.in_zone[at]
    counts &= context.fed_before[at] & ~context.weak_before[owner]
    low = np.zeros(len(at), dtype=bool)
    for state in failing:
        for hour in state.states:
            pressure = hour.pressure_pa_gauge[at]
            low |= ~(pressure >= context.required_pa_gauge - ROUNDING_PA)
            low |= (pressure > context.allowed_pa_gauge + ROUNDING_PA) & ~context.high_before[owner]
    rows = np.unique(owner[low & counts]).tolist()
    return tuple(sorted(context.request.network.customers.id[row] for row in rows))


def _day(context: PlanningContext, priced: EvaluatedOption) -> tuple[EvaluatedOption, list[Against]]:
    """Return an option with what its order of work is made of, and what its purge and its day break."""
    final = final_network(context, priced)
    purges = zone_purges(context, priced, final)
    found: list[Against] = []
    reason = below_least(context, purges)
    if reason and context.request.rules.purge.below_least == "refuse":
        found.append(Against(subject="purge", what=reason))
    counts = counts_of(context, priced, final, purges)
    too_long = refusal(context, counts)
    if too_long:
        found.append(Against(subject="crew day", what=too_long))
    return replace(priced, counts=counts, purges=tuple(purges)), found

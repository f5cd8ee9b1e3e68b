"""The full price of a cut: who is off, what feeds it takes, whether every state of the work holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from netplan.feeds import (
    NO_FEED,
    TOO_DEAR,
    Draw,
    FeedCase,
    Inlets,
    Loads,
    PartsAnswer,
    Relieved,
    SizedFeed,
    feed_answers,
    feed_links,
    least_price_minor,
)
from netplan.isolation import Cut
from netplan.planfile.naming import bypass_id
from netplan.planning.connectivity import Reach
from netplan.planning.context import Desk
from netplan.planning.customer_effects import demands_after, flow_after, kept_inlets, must_stay, reach_of
from netplan.planning.deficient_parts import part_of, stranded_parts, weak_part
from netplan.planning.evaluated_option import Priced, Refused
from netplan.planning.fed_network import FedNetwork, fed_network
from netplan.planning.feeds_for_part import Hungry
from netplan.planning.outage_hours import queue_minor, queue_of, times_of
from netplan.planning.purge_loads import PurgeDraw, live_nodes
from netplan.planning.sequence import FeedLinks, Tapped, work_states
from netplan.planning.stopped_network import StoppedNetwork, at_taps, draw_stops
from netplan.planning.without_feeds import Unfed, solve_unfed

__all__ = ["price_cut"]

NO_FEED_ALLOWED = "a part that must be fed may have no feed, by order"

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


def price_cut(desk: Desk, cut: Cut, most_minor: int | None = None) -> tuple[Priced, ...] | Refused:
    """Price a cut in full.

    For each choice of parts off the cheapest feeds of the others are found with which every kept meter inlet
    holds its pressure in every state of the work: those are different options. A meter that fails before
    any stop is neither priced nor a veto.

    Parameters
    ----------
    desk : Desk
    cut : Cut
    most_minor : int, optional
        Options at this burden or above are not looked for any more [minor units].
    """
    network = desk.request.network
    reach = reach_of(desk, cut)
    isolated = np.flatnonzero(reach.isolated)
    barred = must_stay(desk)[isolated]
    if barred.any():
        who = network.customers.id[int(isolated[barred][0])]
        return Refused(cut, f"customer {who} must stay on and lies in the zone")
    too_many = _interruption(desk, isolated)
    if isinstance(too_many, str):
        # Feeds keep others on, never those in the zone.
        return Refused(cut, too_many, by_relighting=True)
    refused = _too_dear(desk, cut, reach, most_minor)
    if refused:
        return Refused(cut, refused)
    unfed = solve_unfed(desk, cut, reach)
    hungry = (*stranded_parts(reach), *weak_part(desk, reach, unfed.states))
    if not hungry:
        return _without_feeds(desk, cut, reach, unfed)
    return _with_feeds(desk, cut, reach, unfed, hungry, most_minor)


def _too_dear(desk: Desk, cut: Cut, reach: Reach, most_minor: int | None) -> str:
    """Return why a cut is not worth solving, by the least its stranded parts cost; empty when it may be."""
    stranded = stranded_parts(reach)
    if most_minor is None or not stranded:
        return ""
    stopped = draw_stops(desk.request.network, desk.base, cut)
    # Where gas stands before any stop no fewer ways begin than where it stands after.
    pressure = at_taps(stopped, desk.before)[None]
    fed = fed_network(desk, cut, reach, stopped, stranded, pressure)
    parts = [part_of(desk, part, feeds) for part, feeds in zip(stranded, fed.feeds, strict=True)]
    least_minor = least_price_minor(parts, desk.request.rules)
    if least_minor is None:
        return _no_feed(desk, fed)
    return TOO_DEAR if _base_minor(desk, cut, reach) + least_minor >= most_minor else ""


def _no_feed(desk: Desk, fed: FedNetwork) -> str:
    """Return that a part has no feed, and why: by order, or because those within reach may not be used."""
    return _with_refused(NO_FEED, fed) if desk.request.feeds_allowed else NO_FEED_ALLOWED


def _with_refused(reason: str, fed: FedNetwork) -> str:
    """Return why nothing stands, and why feeds within reach may not be used."""
    return "; ".join((reason, *fed.refused))


def _base_minor(desk: Desk, cut: Cut, reach: Reach) -> int:
    """Return what every option on a cut pays: stops, gas, and the customers in its zones."""
    return cut.stops_minor + cut.gas_minor + int(desk.off_minor[reach.isolated].sum())


def _without_feeds(desk: Desk, cut: Cut, reach: Reach, unfed: Unfed) -> tuple[Priced] | Refused:
    inlets = kept_inlets(desk, reach, reach.isolated)
    # Nothing is drawn within a stopped piece: closing all of it is the same as closing it at the barrier.
    work = work_states(
        desk.solver_of(desk.base),
        inlets,
        [stop.piece for stop in cut.stops],
        meters_on_m3_per_s_std=desk.demands_before(desk.base.node_count),
        meters_off_m3_per_s_std=unfed.demands,
        purges=[_tapped(draw, live_nodes(cut)) for draw in unfed.draws],
    )
    if work.failing is not None:
        return Refused(cut, work.failing.reason())
    off = np.flatnonzero(reach.isolated)
    interruption = _interruption(desk, off)
    if isinstance(interruption, str):
        return Refused(cut, interruption)
    option = Priced(
        cut=cut,
        reach=reach,
        hungry=(),
        feeds=(),
        part_off=(),
        stopped=None,
        fed=None,
        work=work,
        off=off,
        draws=unfed.draws,
        flow_m3_per_s_std=flow_after(desk, reach, reach.isolated),
        stops_minor=cut.stops_minor,
        interruption_minor=interruption,
        feeds_minor=0,
        gas_minor=cut.gas_minor,
    )
    return (option,)


def _interruption(desk: Desk, off: Ints) -> int | str:
    """Return the price of customers off, the queue included [minor units]; or why the day is too short."""
    queue = queue_of(desk.request, off)
    times = times_of(desk.request, queue)
    if not times.fits:
        return times.reason
    return int(desk.off_minor[off].sum()) + queue_minor(desk.request, off, queue)


def _with_feeds(
    desk: Desk,
    cut: Cut,
    reach: Reach,
    unfed: Unfed,
    hungry: tuple[Hungry, ...],
    most_minor: int | None,
) -> tuple[Priced, ...] | Refused:
    stopped = draw_stops(desk.request.network, desk.base, cut)
    pressure = np.array([at_taps(stopped, state) for state in unfed.states])
    fed = fed_network(desk, cut, reach, stopped, hungry, pressure)
    inlets = kept_inlets(desk, reach, reach.isolated)
    parts = [part_of(desk, part, feeds) for part, feeds in zip(hungry, fed.feeds, strict=True)]
    rules = desk.request.rules
    below_minor = None if most_minor is None else most_minor - _base_minor(desk, cut, reach)
    least_minor = least_price_minor(parts, rules)
    if least_minor is None:
        return Refused(cut, _no_feed(desk, fed))
    if below_minor is not None and least_minor >= below_minor:
        return Refused(cut, TOO_DEAR)
    draws = tuple(draw.at(stopped.barrier_node) for draw in unfed.draws)
    left = partial(_relieved, desk, reach, hungry, inlets, draws, fed.flow.node_count)
    all_on = left((False,) * len(hungry)).loads
    case = FeedCase(desk.solver_of(fed.flow), all_on.hours[0], inlets, all_on)
    case.solver.solve(case.demand_m3_per_s_std, warm=desk.before)
    held: dict[tuple[bool, ...], Priced] = {}
    reason, is_cut_short = "", False
    answers = feed_answers(
        case, parts, rules, below_minor=below_minor, is_settled=held.__contains__, relieved=left
    )
    for answer in answers:
        if answer.verdict is None:
            reason, is_cut_short = reason or answer.reason, answer.is_cut_short
            continue
        priced = _answered(desk, cut, reach, unfed.draws, stopped, fed, hungry, answer)
        if isinstance(priced, Refused):
            reason = priced.reason
        else:
            # Answers come cheapest first, so the first that stands is the cheapest with these parts off.
            held[answer.off] = priced
    if held:
        return tuple(held.values())
    return Refused(cut, _with_refused(reason, fed), is_cut_short=is_cut_short)


def _gone(reach: Reach, hungry: Sequence[Hungry], off: Sequence[bool]) -> Flags:
    gone = reach.isolated.copy()
    for part, is_off in zip(hungry, off, strict=True):
        gone[part.customers] |= is_off
    return gone


def _relieved(
    desk: Desk,
    reach: Reach,
    hungry: Sequence[Hungry],
    inlets: Inlets,
    draws: tuple[tuple[Draw, ...], ...],
    count: int,
    off: tuple[bool, ...],
) -> Relieved:
    """Return what is left with some parts off: a node may hold customers off beside others that stay."""
    gone = _gone(reach, hungry, off)
    demands = demands_after(desk, reach, gone, count)
    kept = kept_inlets(desk, reach, gone)
    return Relieved(Loads(demands, draws), ~np.isin(inlets.node, kept.node))


def _tapped(draw: PurgeDraw, node: Ints) -> tuple[Tapped, ...]:
    return tuple(Tapped(stop, at) for stop, at in zip(draw.stops, draw.at(node), strict=True))


def _answered(
    desk: Desk,
    cut: Cut,
    reach: Reach,
    draws: tuple[PurgeDraw, ...],
    stopped: StoppedNetwork,
    fed: FedNetwork,
    hungry: tuple[Hungry, ...],
    answer: PartsAnswer,
) -> Priced | Refused:
    gone = _gone(reach, hungry, answer.off)
    off = np.flatnonzero(gone)
    interruption = _interruption(desk, off)
    if isinstance(interruption, str):
        return Refused(cut, interruption)
    sizes = [feed.size for feed in answer.feeds if feed is not None]
    joins = tuple(fed.joins[size.feed.label] for size in sizes)
    fed_parts = [
        part.nodes for part, feed in zip(hungry, answer.feeds, strict=True) if feed and not part.weak
    ]
    refused = desk.areas.refused(cut, joins, fed_parts)
    if refused:
        return Refused(cut, f"feeds may not be used together: {refused}")
    hoses = feed_links(sizes, desk.request.rules)
    links = fed.flow.links
    zone = np.flatnonzero(stopped.in_zone & stopped.flow.links.is_open)
    is_open = links.is_open.copy()
    is_open[zone] = True
    open_network = fed.flow.with_links(replace(links, is_open=is_open).joined_with(hoses))
    work = work_states(
        desk.solver_of(open_network),
        kept_inlets(desk, reach, gone),
        stopped.closes,
        meters_on_m3_per_s_std=desk.demands_before(fed.flow.node_count),
        meters_off_m3_per_s_std=demands_after(desk, reach, gone, fed.flow.node_count),
        feeds=feed_link_rows(answer.feeds, links.count),
        purges=[_tapped(draw, stopped.barrier_node) for draw in draws],
    )
    if work.failing is not None:
        return Refused(cut, work.failing.reason())
    return Priced(
        cut=cut,
        reach=reach,
        hungry=hungry,
        feeds=answer.feeds,
        part_off=answer.off,
        stopped=stopped,
        fed=fed,
        work=work,
        off=off,
        draws=draws,
        flow_m3_per_s_std=flow_after(desk, reach, gone),
        stops_minor=cut.stops_minor,
        interruption_minor=interruption,
        feeds_minor=answer.feeds_price_minor,
        gas_minor=cut.gas_minor,
        joins=joins,
    )


def feed_link_rows(feeds: Sequence[SizedFeed | None], first: int) -> tuple[FeedLinks, ...]:
    """Return the links of sized feeds when their hoses stand from link `first` on, in order."""
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
    return tuple(rows)

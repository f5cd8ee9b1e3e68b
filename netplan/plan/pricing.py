"""The full price of a cut: who is off, what feeds it takes, whether every state of the work holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from netplan.bypass import (
    NO_FEED,
    TOO_DEAR,
    Feed,
    FeedCase,
    Inlets,
    Part,
    PartsAnswer,
    SizedFeed,
    feed_answers,
    feed_links,
    least_price_minor,
)
from netplan.hydraulics import FlowSolver, FlowState
from netplan.isolation import Cut
from netplan.plan.desk import Desk
from netplan.plan.effects import flow_after, kept_inlets, must_stay, node_demand_after, reach_of
from netplan.plan.feeding import FedNetwork, fed_network
from netplan.plan.feedways import Hungry
from netplan.plan.naming import bypass_id
from netplan.plan.priced import Priced, Refused
from netplan.plan.reach import Reach
from netplan.plan.states import FeedLinks, work_states
from netplan.plan.stopped import StoppedNetwork, draw_stops
from netplan.plan.waiting import queue_minor, queue_of, times_of

__all__ = ["price_cut"]

Floats = NDArray[np.float64]
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
    flow = flow_after(desk, reach)
    unfed = _solve_unfed(desk, reach, flow)
    hungry = _hungry(desk, reach, unfed)
    if not hungry:
        return _without_feeds(desk, cut, reach, flow)
    return _with_feeds(desk, cut, reach, flow, unfed, hungry, most_minor)


def _solve_unfed(desk: Desk, reach: Reach, flow: Floats) -> FlowState:
    _ = desk.before  # the warm start
    closed = np.flatnonzero(reach.closed & desk.base.links.is_open)
    return desk.solver.resolve(
        demand_m3_per_s_std=node_demand_after(desk, reach, flow, desk.base.node_count),
        closed_links=closed.tolist(),
    )


def _hungry(desk: Desk, reach: Reach, unfed: FlowState) -> tuple[Hungry, ...]:
    owner, at = desk.attachments
    found: list[Hungry] = []
    stranded = np.flatnonzero(reach.stranded)
    for label in np.unique(reach.customer_part[stranded]):
        rows = stranded[reach.customer_part[stranded] == label]
        found.append(
            Hungry(f"stranded {len(found) + 1}", (reach.part == label) & ~reach.in_zone, rows, weak=False)
        )
    pressure = unfed.pressure_pa_gauge
    low = ~(pressure[at] >= desk.required_pa_gauge) & reach.fed[at]
    low &= ~reach.isolated[owner] & ~reach.stranded[owner] & ~desk.weak_before[owner]
    if low.any():
        weak_nodes = reach.fed & ~(pressure[: len(reach.fed)] >= desk.required_pa_gauge)
        found.append(Hungry("weak", weak_nodes, np.unique(owner[low]), weak=True))
    return tuple(found)


def _without_feeds(desk: Desk, cut: Cut, reach: Reach, flow: Floats) -> tuple[Priced] | Refused:
    inlets = kept_inlets(desk, reach, reach.isolated)
    demand = node_demand_after(desk, reach, flow, desk.base.node_count)
    # Nothing is drawn within a stopped piece: closing all of it is the same as closing it at the barrier.
    work = work_states(
        desk.solver,
        inlets,
        [stop.piece for stop in cut.stops],
        meters_on_m3_per_s_std=desk.before_demand_m3_per_s_std,
        meters_off_m3_per_s_std=demand,
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
        flow_m3_per_s_std=flow,
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
    flow: Floats,
    unfed: FlowState,
    hungry: tuple[Hungry, ...],
    most_minor: int | None,
) -> tuple[Priced, ...] | Refused:
    stopped = draw_stops(desk.request.network, desk.base, cut)
    fed = fed_network(desk, cut, reach, stopped, hungry, _at_taps(stopped, unfed))
    inlets = kept_inlets(desk, reach, reach.isolated)
    demand = node_demand_after(desk, reach, flow, fed.flow.node_count)
    parts = [_part(desk, part, feeds, inlets) for part, feeds in zip(hungry, fed.feeds, strict=True)]
    rules = desk.request.rules
    base_minor = cut.stops_minor + cut.gas_minor + int(desk.off_minor[reach.isolated].sum())
    below_minor = None if most_minor is None else most_minor - base_minor
    least_minor = least_price_minor(parts, rules)
    if least_minor is None:
        return Refused(cut, NO_FEED)
    if below_minor is not None and least_minor >= below_minor:
        return Refused(cut, TOO_DEAR)
    case = FeedCase(FlowSolver(fed.flow, desk.conditions), demand, inlets)
    case.solver.solve(demand)
    held: dict[tuple[bool, ...], Priced] = {}
    reason = ""
    for answer in feed_answers(case, parts, rules, below_minor=below_minor, is_settled=held.__contains__):
        if answer.verdict is None:
            reason = reason or answer.reason
            continue
        priced = _answered(desk, cut, reach, flow, stopped, fed, hungry, answer)
        if isinstance(priced, Refused):
            reason = priced.reason
        else:
            # Answers come cheapest first, so the first that stands is the cheapest with these parts off.
            held[answer.off] = priced
    return tuple(held.values()) if held else Refused(cut, reason)


def _at_taps(stopped: StoppedNetwork, unfed: FlowState) -> Floats:
    """Give each barrier and tee the pressure of the live end it hangs on: nothing flows to it."""
    pressure = np.full(stopped.flow.node_count, np.nan)
    pressure[: len(unfed.pressure_pa_gauge)] = unfed.pressure_pa_gauge
    links = stopped.flow.links
    live = np.flatnonzero(links.is_open & ~stopped.in_zone)
    fresh = live[
        (links.from_node[live] >= len(unfed.pressure_pa_gauge))
        | (links.to_node[live] >= len(unfed.pressure_pa_gauge))
    ]
    for _ in range(len(fresh)):
        a, b = links.from_node[fresh], links.to_node[fresh]
        pressure[b] = np.where(np.isnan(pressure[b]), pressure[a], pressure[b])
        pressure[a] = np.where(np.isnan(pressure[a]), pressure[b], pressure[a])
    return pressure


def _part(desk: Desk, part: Hungry, feeds: tuple[Feed, ...], inlets: Inlets) -> Part:
    owner, at = desk.attachments
    own = np.isin(owner, part.customers)
    nodes = np.unique(at[own])
    stay = must_stay(desk)[part.customers].any()
    return Part(
        label=part.label,
        feeds=feeds,
        inlets=np.flatnonzero(np.isin(inlets.node, nodes)),
        demand_nodes=nodes,
        off_price_minor=None if stay else int(desk.off_minor[part.customers].sum()),
        weak=part.weak,
    )


def _answered(
    desk: Desk,
    cut: Cut,
    reach: Reach,
    flow: Floats,
    stopped: StoppedNetwork,
    fed: FedNetwork,
    hungry: tuple[Hungry, ...],
    answer: PartsAnswer,
) -> Priced | Refused:
    gone = reach.isolated.copy()
    for part, is_off in zip(hungry, answer.off, strict=True):
        gone[part.customers] |= is_off
    off = np.flatnonzero(gone)
    interruption = _interruption(desk, off)
    if isinstance(interruption, str):
        return Refused(cut, interruption)
    flow = np.where(gone, 0.0, flow)
    demand = node_demand_after(desk, reach, flow, fed.flow.node_count)
    sizes = [feed.size for feed in answer.feeds if feed is not None]
    hoses = feed_links(sizes, desk.request.rules)
    links = fed.flow.links
    zone = np.flatnonzero(stopped.in_zone & stopped.flow.links.is_open)
    is_open = links.is_open.copy()
    is_open[zone] = True
    open_network = fed.flow.with_links(replace(links, is_open=is_open).joined_with(hoses))
    work = work_states(
        FlowSolver(open_network, desk.conditions),
        kept_inlets(desk, reach, gone),
        stopped.closes,
        meters_on_m3_per_s_std=desk.demand_before(fed.flow.node_count),
        meters_off_m3_per_s_std=demand,
        feeds=feed_link_rows(answer.feeds, links.count),
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
        flow_m3_per_s_std=flow,
        stops_minor=cut.stops_minor,
        interruption_minor=interruption,
        feeds_minor=answer.feeds_price_minor,
        gas_minor=cut.gas_minor,
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

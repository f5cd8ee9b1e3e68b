"""When something fails while the main is cut: the stop to use instead, and what the loss of a feed does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut, CutStop, IsolationProblem, Orders, Stretch, length_taken_m
from netplan.network.work_section import WorkSection
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.planning.rank import isolation_problem
from netplan.rules import MethodKind, Rules, StopMethod

__all__ = [
    "LOST",
    "MOST_NODES",
    "WILL_NOT_SET",
    "FallbackAnswer",
    "LossAnswer",
    "ShutFeed",
    "fallbacks",
    "losses",
    "stations_left_out",
]


WILL_NOT_SET = "will not set"
LOST = "lost during open work"
CLEAR_M = 0.01
"""What a forbidden length stays short of the other stops' barriers [m]."""
MOST_NODES: Final = 120_000
"""Nodes of a network above which the loss of a station is not solved: it is felt in all of it (own) [-]."""
MOST_STATIONS: Final = 4
"""Stations whose loss is solved: those nearest to the stops (own) [-]."""


@dataclass(frozen=True, slots=True)
class ShutFeed:
    """A feed that is shut, and at which of its ends: the one outside the zone that it might let gas into."""

    feed: FeedInUse
    end: FeedEnd


@dataclass(frozen=True, slots=True, eq=False)
class FallbackAnswer:
    """What to use when a stop fails.

    Parameters
    ----------
    stop : int
        Place of the failing stop in the cut.
    failure : str
        `WILL_NOT_SET` or `LOST`.
    use : tuple of CutStop
        Stops to be made instead; empty when there is none.
    minutes : float or None
        To shut the feeds and to close the stops, one after the other [min]; None without a fallback.
    standby : tuple of str
        Customers that then go off as well, or fall too low.
    note : str
        In words.
    shut : tuple of ShutFeed
        Feeds that are shut first: they would feed the larger zone, or lose what they feed.
    tail : bool
        Whether the stop parts the zone from a tail that the feeds to be shut alone feed: shutting them is
        all that can be done, and the tail fails.
    kept : tuple of FeedInUse
        Feeds that stay in use: with `use` and the other stops they are the network after the fallback.
    """

    stop: int
    failure: str
    use: tuple[CutStop, ...]
    minutes: float | None
    standby: tuple[str, ...]
    note: str
    shut: tuple[ShutFeed, ...] = ()
    tail: bool = False
    kept: tuple[FeedInUse, ...] = ()


def fallbacks(
    context: PlanningContext, section: WorkSection, option: EvaluatedOption, case: FailureCase
) -> tuple[FallbackAnswer, ...]:
    """Return both fallbacks of every stop of an option.

    A stop that will not set is replaced by the cheapest ones further out, while the others stay where they
    are. A stop lost during open work wants the fastest control: valves known to be operable, further out;
    without any, the same stops as before. Only what the failing stop's side adds is looked for. Where that
    side is a tail that lives by a feed, no stop is as fast as shutting the feed: it goes on feeding the
    trench until then.

    Parameters
    ----------
    context, section, option
    case : FailureCase
        Of the option: every state is solved in it.
    """
    problem = isolation_problem(context, section)
    found: list[FallbackAnswer] = []
    for place, stop in enumerate(option.cut.stops):
        outward = _outward(context, problem, option, place)
        answer = _answer(context, case, option, place, outward)
        found.append(answer)
        feeding = case.fed_alone(case.planned, stop.live_node)
        # A part that nothing feeds as recorded most likely has gas: it is no tail that is off.
        if feeding is not None and (feeding or context.fed_before[stop.live_node]):
            found.append(_tail_lost(context, case, place, feeding))
            continue
        by_valves = _outward(context, _valves_only(context, problem), option, place)
        if isinstance(by_valves, Cut):
            found.append(_in_haste(context, _answer(context, case, option, place, by_valves)))
        else:
            lost = _in_haste(context, answer)
            found.append(lost if lost.minutes is None else replace(lost, note=_no_valve(lost.note)))
    return tuple(found)


def _no_valve(note: str) -> str:
    words = "no operable valve can take this side: leave the trench, the stops below are the nearest control"
    return f"{words}; {note}" if note else words


def _in_haste(context: PlanningContext, answer: FallbackAnswer) -> FallbackAnswer:
    """Return the answer for a stop that is lost: the same, closed as fast as the rules say."""
    if answer.minutes is None:
        return replace(answer, failure=LOST)
    minutes = _minutes_to_shut(context.request.rules, answer.shut)
    minutes += sum(_method(context.request.rules, stop).minutes_fast for stop in answer.use)
    return replace(answer, failure=LOST, minutes=minutes)


def _tail_lost(
    context: PlanningContext, case: FailureCase, place: int, feeding: tuple[tuple[FeedInUse, FeedEnd], ...]
) -> FallbackAnswer:
    """Return what to do when the stop before a tail is lost: shut what feeds the tail at its live end."""
    shut = tuple(ShutFeed(feed, live) for feed, live in feeding)
    names = {one.feed.id for one in shut}
    after = case.after(case.planned, lost_feeds=names)
    if feeding:
        words = (
            f"the tail beyond it lives by {' and '.join(sorted(names))} alone, which would feed the trench"
        )
    else:
        words = "the part beyond it is off already: only the gas in it comes, and it joins the zone"
    return FallbackAnswer(
        stop=place,
        failure=LOST,
        use=(),
        minutes=_minutes_to_shut(context.request.rules, shut),
        standby=after.customers,
        note="; ".join((words, *after.notes)),
        shut=shut,
        tail=bool(feeding),
        kept=tuple(feed for feed in case.feeds if feed.id not in names),
    )


def _minutes_to_shut(rules: Rules, shut: tuple[ShutFeed, ...]) -> float:
    valve = next(
        (m.minutes_fast for m in rules.method if m.kind is MethodKind.VALVE), rules.bypass.minutes_shut
    )
    return sum(valve if one.feed.valve_piece >= 0 else rules.bypass.minutes_shut for one in shut)


def _valves_only(context: PlanningContext, problem: IsolationProblem) -> IsolationProblem:
    valves = frozenset(m.name for m in problem.rules.method if m.kind is MethodKind.VALVE)
    return replace(problem, rules=context.rules_with(valves))


def _outward(
    context: PlanningContext, problem: IsolationProblem, option: EvaluatedOption, place: int
) -> Cut | str:
    """Return the cheapest cut with every stop but one where it is, and nothing inside the old zone.

    New stops are rated for what can reach them with the option's feeds in.
    """
    cut, stops = option.cut, option.cut.stops
    others = [stop for i, stop in enumerate(stops) if i != place]
    by_method = {method.name for method in problem.rules.method}
    if not _all_among(others, by_method):
        # The other stops are in already: they stay what they are, only the new ones must be valves.
        keep = {stop.method for stop in others}
        problem = replace(problem, rules=context.rules_with(frozenset(by_method | keep)))
    orders = Orders(
        force=tuple(sorted(Stretch(s.pipe, s.chainage_m, s.chainage_m) for s in others if s.valve < 0)),
        force_valves=tuple(sorted(s.valve for s in others if s.valve >= 0)),
        forbid=_forbidden(context, cut, place),
        forbid_valves=tuple(sorted({s.valve for s in [stops[place]] if s.valve >= 0})),
        keep_out=problem.orders.keep_out,
    )
    try:
        answer = next(context.cuts(replace(problem, orders=orders, feed_bound=None, alternatives=None)))
    except NoPlanError as error:
        more = [reason for reason in error.reasons if reason not in str(error)]
        return "; ".join((str(error), *more))
    new = _new_stops(answer, others)
    if any(stop.method not in by_method for stop in new):
        return "only stops of other methods would do"
    rated = by_method.intersection(*(context.areas.rated(stop, option.joins) for stop in new))
    if all(stop.method in rated for stop in new):
        return answer
    if not rated:
        return "no method is rated for the station fault pressure that the feeds let through"
    return _outward(context, replace(problem, rules=context.rules_with(frozenset(rated))), option, place)


def _all_among(others: list[CutStop], by_method: set[str]) -> bool:
    """Return whether every other stop's method is among those allowed."""
    return all(stop.method in by_method for stop in others)


def _forbidden(context: PlanningContext, cut: Cut, place: int) -> tuple[Stretch, ...]:
    """Every main inside the zone, and the failing assembly with its clearance beyond."""
    network = context.request.network
    spans = [
        Stretch(part.pipe, part.from_m + CLEAR_M, part.to_m - CLEAR_M)
        for zone in cut.zones
        for part in zone.pieces
        if part.pipe < network.pipes.n_mains and part.to_m - part.from_m > 2 * CLEAR_M
    ]
    stop = cut.stops[place]
    if stop.valve < 0:
        method = _method(context.request.rules, stop)
        beyond = length_taken_m(context.request.rules, method)
        sign = 1.0 if stop.work_side == "from" else -1.0
        low, high = sorted((stop.chainage_m - sign * CLEAR_M, stop.chainage_m + sign * beyond))
        length = float(network.pipes.length_m[stop.pipe])
        spans.append(Stretch(stop.pipe, max(low, 0.0), min(high, length)))
        spans.extend(stop.beyond)
    else:
        spans.extend(_beside_valve(context, stop))
    return tuple(sorted(spans))


def _beside_valve(context: PlanningContext, stop: CutStop) -> Iterator[Stretch]:
    """Yield where a barrier would bring its assembly too near to the gauge of a valve."""
    rules, length_m = context.request.rules, context.request.network.pipes.length_m
    inward = max(-min(part.offset_m for part in method.assembly) for method in rules.method)
    for tapping in stop.tappings:
        if tapping.role == "gauge":
            reach = rules.clearance.fitting_m + max(inward, 0.0)
            low, high = tapping.chainage_m - reach, tapping.chainage_m + reach
            if tapping.pipe == stop.pipe:
                low, high = min(low, stop.chainage_m), max(high, stop.chainage_m)
            yield Stretch(tapping.pipe, max(low, 0.0), min(high, float(length_m[tapping.pipe])))


def _method(rules: Rules, stop: CutStop) -> StopMethod:
    return next(method for method in rules.method if method.name == stop.method)


def _new_stops(answer: Cut, others: list[CutStop]) -> tuple[CutStop, ...]:
    known = {(stop.pipe, round(stop.chainage_m, 3), stop.work_side) for stop in others}
    return tuple(s for s in answer.stops if (s.pipe, round(s.chainage_m, 3), s.work_side) not in known)


def _answer(
    context: PlanningContext, case: FailureCase, option: EvaluatedOption, place: int, found: Cut | str
) -> FallbackAnswer:
    """Return the answer for a stop that will not set: the larger zone, solved with the feeds that survive it.

    A feed survives while both its ends lie outside the larger zone and are not between the barriers of a
    stop, by chainage: its tee may lie beyond a node that is live, and yet be on the zone's side.
    """
    if isinstance(found, str):
        return FallbackAnswer(
            place, WILL_NOT_SET, (), None, (), f"no fallback: {found or 'none was found'}", kept=case.feeds
        )
    others = [stop for i, stop in enumerate(option.cut.stops) if i != place]
    use, lengths = _new_stops(found, others), ClosedLengths.of(found)
    lost = [feed for feed in case.feeds if any(lengths.hold(end) for end in feed.ends)]
    shut = tuple(
        ShutFeed(feed, next((end for end in feed.ends if not lengths.hold(end)), feed.ends[0]))
        for feed in lost
        # An opened valve that is to be the new stop is shut once.
        if not any(stop.valve >= 0 and stop.piece == feed.valve_piece for stop in use)
    )
    names = {feed.id for feed in lost}
    after = case.after(lengths, lost_feeds=names)
    notes = [f"{feed.what} {feed.id} ends inside the larger zone: it is lost" for feed in lost]
    notes += list(dict.fromkeys(line for stop in use for line in stop.record_joints))
    minutes = _minutes_to_shut(context.request.rules, shut)
    return FallbackAnswer(
        stop=place,
        failure=WILL_NOT_SET,
        use=use,
        minutes=minutes + sum(_method(context.request.rules, stop).minutes for stop in use),
        standby=after.customers,
        note="; ".join((*notes, *after.notes)),
        shut=shut,
        kept=tuple(feed for feed in case.feeds if feed.id not in names),
    )


@dataclass(frozen=True, slots=True)
class LossAnswer:
    """Who has no gas or too little when a feed or a station is lost with all stops in.

    Parameters
    ----------
    what : str
        "bypass", "hose", "opened valve" or "station".
    id : str
    customers : tuple of str
        Customers kept so far.
    note : str
        In words.
    """

    what: str
    id: str
    customers: tuple[str, ...]
    note: str


def losses(option: EvaluatedOption, case: FailureCase) -> tuple[LossAnswer, ...]:
    """Return what the loss of each feed and of the stations nearest to the work does, each by itself.

    Solved in every hour to check with all stops in and everybody off who is off by plan.
    """
    found: list[LossAnswer] = []
    for feed in case.feeds:
        after = case.after(case.planned, lost_feeds={feed.id})
        words = "it shuts or is shut" if feed.valve_piece >= 0 else "shut it at both ends"
        found.append(LossAnswer(feed.what, feed.id, after.customers, "; ".join((words, *after.notes))))
    whole = case.whole
    stations = whole.context.request.network.stations
    for row in _nearest_stations(option, case):
        after = case.after(case.planned, lost_station=row)
        words = "it gives nothing any more"
        found.append(
            LossAnswer("station", stations.id[row], after.customers, "; ".join((words, *after.notes)))
        )
    return tuple(found)


def stations_left_out(case: FailureCase) -> bool:
    """Return whether the network is too large to solve the loss of a station."""
    return len(case.whole.context.request.network.nodes) > MOST_NODES


def _nearest_stations(option: EvaluatedOption, case: FailureCase) -> list[int]:
    """Return the stations nearest to the stops, of those that reach a stop or a feed, nearest first."""
    whole = case.whole
    if stations_left_out(case):
        return []
    network = whole.context.request.network
    live = case.nodes_in_whole(np.array([stop.live_node for stop in option.cut.stops], dtype=np.int64))
    label = whole.labels(whole.planned)
    stations, nodes = network.stations, network.nodes
    rows = np.flatnonzero(stations.node >= 0)
    rows = rows[np.isin(label[stations.node[rows]], label[live])]
    if not len(rows) or not len(live):
        return []
    x, y = nodes.x_m[stations.node[rows]], nodes.y_m[stations.node[rows]]
    away = np.hypot(x[:, None] - nodes.x_m[live], y[:, None] - nodes.y_m[live]).min(axis=1)
    ids = [stations.id[row] for row in rows.tolist()]
    order = sorted(range(len(rows)), key=lambda k: (round(float(away[k]), 3), ids[k]))
    return [int(rows[k]) for k in order[:MOST_STATIONS]]

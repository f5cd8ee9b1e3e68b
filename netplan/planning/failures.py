"""When something fails while the main is cut: the stop to use instead, and what the loss of a feed does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.isolation import Cut, CutStop
from netplan.network.work_section import WorkSection
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase
from netplan.planning.fallback_places import method_of, new_stops, outward_stops
from netplan.planning.feed_moves import FeedMove, feed_moves
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.planning.prepared_fallbacks import is_prepared
from netplan.planning.rank import isolation_problem
from netplan.planning.stations_shut_in import barriers_of, stations_at_stop, stations_shut_in
from netplan.rules import MethodKind, Rules

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
NOTHING_BETWEEN: Final = "nothing lies between this valve and the station"
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
        Customers that then go off as well, or fall too low: those off only until a feed is moved among them.
    note : str
        In words.
    shut : tuple of ShutFeed
        Feeds that are shut first: they would feed the larger zone, or lose what they feed.
    tail : bool
        Whether the stop parts the zone from a tail that the feeds to be shut alone feed: shutting them is
        all that can be done, and the tail fails.
    kept : tuple of FeedInUse
        Feeds that stay in use, or are in use again once moved, at their new place: with `use` and the other
        stops they are the network after the fallback.
    prepared : bool
        Whether every stop of `use` is prepared by the plan, or a valve that it opens.
    moves : tuple of FeedMove
        Hoses that are coupled at another tee after the fallback is in; the minutes leave them out.
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
    prepared: bool = False
    moves: tuple[FeedMove, ...] = ()


def fallbacks(
    context: PlanningContext, section: WorkSection, option: EvaluatedOption, case: FailureCase
) -> tuple[FallbackAnswer, ...]:
    """Return both fallbacks of every stop of an option.

    A stop that will not set is replaced by the cheapest ones further out, while the others stay where they
    are. A stop lost during open work wants the fastest control: valves known to be operable, further out;
    without any, the same stops as before. Only what the failing stop's side adds is looked for. Where that
    side is a tail that lives by a feed, no stop is as fast as shutting the feed: it goes on feeding the
    trench until then. A stop that is prepared takes the fast minutes of its method, any other the full ones.

    Parameters
    ----------
    context, section, option
    case : FailureCase
        Of the option: every state is solved in it.
    """
    problem = isolation_problem(context, section)
    found: list[FallbackAnswer] = []
    shut_in = stations_shut_in(case, option)
    barriers = barriers_of(option, shut_in, context.request.rules)
    for outward in outward_stops(context, problem, option, case):
        place, farther = outward.place, outward.will_not_set
        is_last = isinstance(farther, str) and bool(stations_at_stop(shut_in, place))
        answer = _answer(context, case, option, place, NOTHING_BETWEEN if is_last else farther)
        found.append(answer)
        if outward.feeding is not None:
            found.append(_tail_lost(context, case, place, outward.feeding))
        elif is_last:
            found.append(_lost_before_station(answer, barriers[place]))
        elif isinstance(outward.by_valves, Cut):
            by_valves = _answer(context, case, option, place, outward.by_valves)
            found.append(replace(by_valves, failure=LOST))
        else:
            lost = replace(answer, failure=LOST)
            found.append(lost if lost.minutes is None else replace(lost, note=_no_valve(lost.note)))
    return tuple(found)


def _lost_before_station(answer: FallbackAnswer, barriers: int) -> FallbackAnswer:
    """Return the answer for the valve before a station lost during open work: no stop is farther out."""
    words = (
        "its inlet is shut and the space between vented: that barrier remains"
        if barriers > 1
        else "network control shuts the station at its inlet, wherever that can be done"
    )
    return replace(answer, failure=LOST, note=f"{answer.note}; {words}")


def _no_valve(note: str) -> str:
    words = "no operable valve can take this side: leave the trench, the stops below are the nearest control"
    return f"{words}; {note}" if note else words


def _tail_lost(
    context: PlanningContext, case: FailureCase, place: int, feeding: tuple[tuple[FeedInUse, FeedEnd], ...]
) -> FallbackAnswer:
    """Return what to do when the stop before a tail is lost: shut what feeds the tail at its live end."""
    shut = tuple(ShutFeed(feed, live) for feed, live in feeding)
    names = {one.feed.id for one in shut}
    after = case.after(case.planned, lost_feeds=names)
    if feeding:
        words = (
            f"the tail beyond it is fed by {' and '.join(sorted(names))} alone, which would feed the trench"
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
    use, lengths = new_stops(found, option.cut, place), ClosedLengths.of(found)
    lost = [feed for feed in case.feeds if any(lengths.hold(end) for end in feed.ends)]
    shut = tuple(
        ShutFeed(feed, next((end for end in feed.ends if not lengths.hold(end)), feed.ends[0]))
        for feed in lost
        # An opened valve that is to be the new stop is shut once.
        if not any(stop.valve >= 0 and stop.piece == feed.valve_piece for stop in use)
    )
    names = {feed.id for feed in lost}
    after = case.after(lengths, lost_feeds=names)
    moves = feed_moves(context, case, lengths, use, lost, after)
    moved = {one.feed.id for one in moves}
    notes = [
        f"{feed.what} {feed.id} ends inside the larger zone: it is lost{' until moved' * (feed.id in moved)}"
        for feed in lost
    ]
    notes += list(dict.fromkeys(line for stop in use for line in stop.record_joints))
    rules = context.request.rules
    ready = [is_prepared(option, stop) for stop in use]
    methods = [method_of(rules, stop) for stop in use]
    minutes = [m.minutes_fast if fast else m.minutes for m, fast in zip(methods, ready, strict=True)]
    return FallbackAnswer(
        stop=place,
        failure=WILL_NOT_SET,
        use=use,
        minutes=_minutes_to_shut(rules, shut) + sum(minutes),
        standby=after.customers,
        note="; ".join((*notes, *after.notes)),
        shut=shut,
        kept=(*(feed for feed in case.feeds if feed.id not in names), *(one.feed for one in moves)),
        prepared=bool(use) and all(ready),
        moves=moves,
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
        words = "it gives no gas any more"
        found.append(
            LossAnswer("station", stations.id[row], after.customers, "; ".join((words, *after.notes)))
        )
    return tuple(found)


def stations_left_out(case: FailureCase) -> bool:
    """Return whether the network is too large to solve the loss of a station."""
    return len(case.whole.context.request.network.nodes) > MOST_NODES


def _nearest_stations(option: EvaluatedOption, case: FailureCase) -> list[int]:
    """Return the stations nearest to the stops, of those that feed somebody there, nearest first."""
    whole = case.whole
    if stations_left_out(case):
        return []
    network = whole.context.request.network
    live = case.nodes_in_whole(np.array([stop.live_node for stop in option.cut.stops], dtype=np.int64))
    label = whole.labels(whole.planned)
    stations, nodes = network.stations, network.nodes
    rows = np.flatnonzero(stations.node >= 0)
    rows = rows[np.isin(label[stations.node[rows]], label[live])]
    # One that is shut in carries nothing: there is nothing to lose.
    rows = rows[np.isin(label[stations.node[rows]], list(whole.served(label, whole.gone)))]
    if not len(rows) or not len(live):
        return []
    x, y = nodes.x_m[stations.node[rows]], nodes.y_m[stations.node[rows]]
    away = np.hypot(x[:, None] - nodes.x_m[live], y[:, None] - nodes.y_m[live]).min(axis=1)
    ids = [stations.id[row] for row in rows.tolist()]
    order = sorted(range(len(rows)), key=lambda k: (round(float(away[k]), 3), ids[k]))
    return [int(rows[k]) for k in order[:MOST_STATIONS]]

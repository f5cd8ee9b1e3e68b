"""Where stops go when one of an option fails: farther out, the others staying, and which are prepared."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final

from netplan.core.errors import NoPlanError
from netplan.isolation import (
    MINOR_PER_UNIT,
    Cut,
    CutSearch,
    CutStop,
    IsolationProblem,
    Orders,
    Stretch,
    length_taken_m,
)
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption, PreparedStop
from netplan.planning.failed_network import FailureCase, failure_case
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.rules import MethodKind, Rules, StopMethod

__all__ = [
    "OutwardStops",
    "is_prepared",
    "method_of",
    "new_stops",
    "outward_stops",
    "prepared_row",
    "with_prepared_fallbacks",
]


CLEAR_M = 0.01
"""What a forbidden length stays short of the other stops' barriers [m]."""
LATER_CUTS: Final = 8
"""Sets of stops looked at beyond the cheapest one for one that leaves more tees live (own) [-]."""
MOST_TRIES: Final = 4
"""How often a place is sought anew because its assembly meets another one (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class OutwardStops:
    """The stops to use instead of one that fails.

    Parameters
    ----------
    place : int
        Place of the failing stop in the cut.
    will_not_set : Cut or str
        Of every method; why there is none.
    by_valves : Cut or str
        Of valves alone: the faster control of a stop that is lost during open work; why there is none.
        Not looked for, and empty, where the stop parts the zone from a tail.
    feeding : tuple of (FeedInUse, FeedEnd), optional
        What alone feeds the tail that the stop parts from the zone, with the live ends; None for no tail.
    """

    place: int
    will_not_set: Cut | str
    by_valves: Cut | str
    feeding: tuple[tuple[FeedInUse, FeedEnd], ...] | None = None


def outward_stops(
    context: PlanningContext, problem: IsolationProblem, option: EvaluatedOption, case: FailureCase
) -> tuple[OutwardStops, ...]:
    """Return the stops to use instead of each stop of an option.

    Every one is the cheapest set of stops with the other stops where they are and the failed place, the zone
    and the failed assembly forbidden. Where a set that costs at most one bypass more leaves more of the
    feeds' tees live, it is taken. Prepared assemblies are dug and tapped side by side with the planned ones:
    none may meet another.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
        That of the option.
    option : EvaluatedOption
    case : FailureCase
        Of the option.
    """
    found: list[OutwardStops] = []
    laid: list[CutStop] = []
    for place, stop in enumerate(option.cut.stops):
        will_not_set = _clear_of_others(context, problem, option, case, place, laid)
        feeding = case.fed_alone(case.planned, stop.live_node)
        # A part that nothing feeds as recorded most likely has gas: it is no tail that is off.
        if feeding is not None and (feeding or context.fed_before[stop.live_node]):
            found.append(OutwardStops(place, will_not_set, "", feeding))
            continue
        valves = replace(problem, rules=context.rules_with(_valve_methods(problem.rules)))
        by_valves = _clear_of_others(context, valves, option, case, place, laid)
        found.append(OutwardStops(place, will_not_set, by_valves))
    return tuple(found)


def with_prepared_fallbacks(
    context: PlanningContext, problem: IsolationProblem, option: EvaluatedOption, most_minor: int | None
) -> EvaluatedOption:
    """Return an option with its fallbacks prepared and priced, where the rules say that they are.

    Feeds are chosen before, by their own price: what fallbacks cost is at least zero, so that a bound of the
    option without them stays one.

    Parameters
    ----------
    context, problem, option
    most_minor : int or None
        An option at this burden or above is not wanted, and left as it is [minor units].
    """
    if not context.request.rules.fallback.prepared:
        return option
    if most_minor is not None and option.burden_minor >= most_minor:
        return option
    prepared = _prepared(option, outward_stops(context, problem, option, failure_case(context, option)))
    price = sum(one.stop.price_minor for one in prepared)
    return replace(option, prepared=prepared, fallbacks_minor=price)


def prepared_row(option: EvaluatedOption, stop: CutStop) -> int:
    """Return the row of a fallback stop among those that the option prepares; -1 for none."""
    keys = [_key(one.stop) for one in option.prepared]
    return keys.index(_key(stop)) if _key(stop) in keys else -1


def is_prepared(option: EvaluatedOption, stop: CutStop) -> bool:
    """Return whether a fallback stop is at hand: prepared by the plan, or a valve that the plan opens."""
    return _is_opened(option, stop) or prepared_row(option, stop) >= 0


def new_stops(answer: Cut, option: EvaluatedOption, place: int) -> tuple[CutStop, ...]:
    """Return the stops of a cut outward from the stop at a place that the option does not have already."""
    others = [stop for i, stop in enumerate(option.cut.stops) if i != place]
    known = {(stop.pipe, round(stop.chainage_m, 3), stop.work_side) for stop in others}
    return tuple(s for s in answer.stops if (s.pipe, round(s.chainage_m, 3), s.work_side) not in known)


def method_of(rules: Rules, stop: CutStop) -> StopMethod:
    """Return the method of a stop."""
    return next(method for method in rules.method if method.name == stop.method)


def _prepared(option: EvaluatedOption, outward: Sequence[OutwardStops]) -> tuple[PreparedStop, ...]:
    """Return what is prepared, each place once for all the stops that it serves, in the order of its main."""
    stops: dict[object, CutStop] = {}
    serves: dict[object, list[int]] = {}
    for answer in outward:
        for cut in (answer.will_not_set, answer.by_valves):
            for stop in new_stops(cut, option, answer.place) if isinstance(cut, Cut) else ():
                laid = [*_others(option, answer.place), *stops.values()]
                if _is_opened(option, stop) or (_key(stop) not in stops and _met(stop, laid)):
                    continue
                stops.setdefault(_key(stop), stop)
                places = serves.setdefault(_key(stop), [])
                places += [] if answer.place in places else [answer.place]
    found = [PreparedStop(stop, tuple(serves[key])) for key, stop in stops.items()]
    return tuple(sorted(found, key=lambda one: (one.stop.pipe, one.stop.chainage_m, one.stop.work_side)))


def _key(stop: CutStop) -> tuple[object, ...]:
    """Return what tells two places apart."""
    return (
        ("valve", stop.valve) if stop.valve >= 0 else (stop.pipe, round(stop.chainage_m, 3), stop.work_side)
    )


def _is_opened(option: EvaluatedOption, stop: CutStop) -> bool:
    """Return whether a stop is a valve that the option opens: it is found, proved and manned already."""
    links = [feed.size.feed.valve_link for feed in option.feeds if feed is not None]
    return stop.valve >= 0 and stop.piece in links


def _others(option: EvaluatedOption, place: int) -> list[CutStop]:
    return [stop for i, stop in enumerate(option.cut.stops) if i != place]


def _valve_methods(rules: Rules) -> frozenset[str]:
    return frozenset(method.name for method in rules.method if method.kind is MethodKind.VALVE)


def _clear_of_others(
    context: PlanningContext,
    problem: IsolationProblem,
    option: EvaluatedOption,
    case: FailureCase,
    place: int,
    laid: list[CutStop],
) -> Cut | str:
    """Return the stops to use instead of one; prepared ones whose assemblies meet no other where that can be.

    `laid` gains what is prepared.
    """
    first = answer = _outward(context, problem, option, case, place)
    if not context.request.rules.fallback.prepared:
        return answer
    forbidden: list[Stretch] = []
    for _ in range(MOST_TRIES):
        if isinstance(answer, str):
            return first
        new = new_stops(answer, option, place)
        met = [(stop, other) for stop in new for other in _met(stop, [*_others(option, place), *laid])]
        if not met:
            laid += [stop for stop in new if _key(stop) not in {_key(one) for one in laid}]
            return answer
        for stop, other in met:
            beyond = length_taken_m(context.request.rules, method_of(context.request.rules, stop))
            forbidden += _widened(context, other, beyond)
        answer = _outward(context, problem, option, case, place, forbidden)
    return first


def _met(stop: CutStop, laid: Iterable[CutStop]) -> list[CutStop]:
    """Return the other stops whose assemblies overlap that of a stop."""
    own = _extents(stop)
    return [
        other
        for other in laid
        if stop.valve < 0 and other.valve < 0 and _key(other) != _key(stop)
        if any(
            pipe == pipe_too and low <= high_too and low_too <= high
            for pipe, low, high in own
            for pipe_too, low_too, high_too in _extents(other)
        )
    ]


def _extents(stop: CutStop) -> list[tuple[int, float, float]]:
    """Return the lengths of main that the assembly of a stop takes [m]."""
    at: dict[int, list[float]] = {stop.pipe: [stop.chainage_m]}
    for tapping in stop.tappings:
        at.setdefault(tapping.pipe, []).append(tapping.chainage_m)
    return [(pipe, min(some), max(some)) for pipe, some in at.items()]


def _widened(context: PlanningContext, stop: CutStop, by_m: float) -> list[Stretch]:
    length = context.request.network.pipes.length_m
    return [
        Stretch(pipe, max(low - by_m, 0.0), min(high + by_m, float(length[pipe])))
        for pipe, low, high in _extents(stop)
    ]


def _outward(
    context: PlanningContext,
    problem: IsolationProblem,
    option: EvaluatedOption,
    case: FailureCase,
    place: int,
    forbidden: Sequence[Stretch] = (),
) -> Cut | str:
    """Return the cheapest cut with every stop but one where it is, and nothing inside the old zone.

    New stops are rated for what can reach them with the option's feeds in.
    """
    cut, stops = option.cut, option.cut.stops
    others = _others(option, place)
    by_method = {method.name for method in problem.rules.method}
    if not _all_among(others, by_method):
        # The other stops are in already: they stay what they are, only the new ones must be valves.
        keep = {stop.method for stop in others}
        problem = replace(problem, rules=context.rules_with(frozenset(by_method | keep)))
    of_failing = _failing_assembly(context, stops[place])
    orders = Orders(
        force=tuple(sorted(Stretch(s.pipe, s.chainage_m, s.chainage_m) for s in others if s.valve < 0)),
        force_valves=tuple(sorted(s.valve for s in others if s.valve >= 0)),
        forbid=tuple(sorted({*_inside(context, cut), *of_failing, *_beside(others, forbidden)})),
        forbid_valves=tuple(sorted({s.valve for s in [stops[place]] if s.valve >= 0})),
        keep_out=problem.orders.keep_out,
    )
    search = context.cuts(replace(problem, orders=orders, feed_bound=None, alternatives=None))
    try:
        answer = next(search)
    except NoPlanError as error:
        more = [reason for reason in error.reasons if reason not in str(error)]
        return "; ".join((str(error), *more))
    new = new_stops(answer, option, place)
    if any(stop.method not in by_method for stop in new):
        return "only stops of other methods would do"
    rated = by_method.intersection(*(context.areas.rated(stop, option.joins) for stop in new))
    if all(stop.method in rated for stop in new):
        return _with_more_tees_live(context, option, case, place, answer, search, rated)
    if not rated:
        return "no method is rated for the station fault pressure that the feeds let through"
    allowed = replace(problem, rules=context.rules_with(frozenset(rated)))
    return _outward(context, allowed, option, case, place, forbidden)


def _with_more_tees_live(
    context: PlanningContext,
    option: EvaluatedOption,
    case: FailureCase,
    place: int,
    cheapest: Cut,
    search: CutSearch,
    allowed: Collection[str],
) -> Cut:
    """Return the cut that leaves most tees live for at most one bypass more than the cheapest; else that one.

    Only methods among those allowed are taken, where they are rated for what arrives.
    """
    spans = _failing_assembly(context, option.cut.stops[place])

    def lost(cut: Cut) -> int:
        lengths = ClosedLengths.of(cut)
        ends = (end for feed in case.feeds for end in feed.ends if lengths.hold(end))
        # A tee within the failed assembly lies in every larger zone.
        return sum(not any(_holds(span, end) for span in spans) for end in ends)

    best, least = cheapest, lost(cheapest)
    if not least:
        return cheapest
    most_minor = cheapest.bound_minor + round(context.request.rules.price.bypass * MINOR_PER_UNIT)
    for later in islice(search, LATER_CUTS):
        if later.bound_minor > most_minor:
            break
        new = new_stops(later, option, place)
        rated = all(stop.method in context.areas.rated(stop, option.joins) for stop in new)
        if rated and all(stop.method in allowed for stop in new) and lost(later) < least:
            best, least = later, lost(later)
    return best


def _holds(span: Stretch, end: FeedEnd) -> bool:
    return span.pipe == end.pipe and span.from_m - CLEAR_M <= end.chainage_m <= span.to_m + CLEAR_M


def _beside(forced: Sequence[CutStop], lengths: Sequence[Stretch]) -> list[Stretch]:
    """Return lengths less the places of forced stops, which may not be forbidden."""
    found = list(lengths)
    for stop in forced:
        low, high = stop.chainage_m - CLEAR_M, stop.chainage_m + CLEAR_M
        parts = []
        for one in found:
            if one.pipe != stop.pipe or stop.valve >= 0 or high <= one.from_m or one.to_m <= low:
                parts.append(one)
                continue
            parts += [Stretch(one.pipe, one.from_m, low)] if one.from_m < low else []
            parts += [Stretch(one.pipe, high, one.to_m)] if high < one.to_m else []
        found = parts
    return found


def _all_among(others: list[CutStop], by_method: set[str]) -> bool:
    """Return whether every other stop's method is among those allowed."""
    return all(stop.method in by_method for stop in others)


def _inside(context: PlanningContext, cut: Cut) -> list[Stretch]:
    """Return every main inside the zone."""
    network = context.request.network
    return [
        Stretch(part.pipe, part.from_m + CLEAR_M, part.to_m - CLEAR_M)
        for zone in cut.zones
        for part in zone.pieces
        if part.pipe < network.pipes.n_mains and part.to_m - part.from_m > 2 * CLEAR_M
    ]


def _failing_assembly(context: PlanningContext, stop: CutStop) -> list[Stretch]:
    """Return the failing assembly with its clearance beyond; nothing for a valve."""
    if stop.valve >= 0:
        return []
    beyond = length_taken_m(context.request.rules, method_of(context.request.rules, stop))
    sign = 1.0 if stop.work_side == "from" else -1.0
    low, high = sorted((stop.chainage_m - sign * CLEAR_M, stop.chainage_m + sign * beyond))
    length = float(context.request.network.pipes.length_m[stop.pipe])
    return [Stretch(stop.pipe, max(low, 0.0), min(high, length)), *stop.beyond]

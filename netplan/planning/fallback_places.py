"""Where stops go when one of an option fails: farther out, with the others where they are."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
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
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.planning.pressure_areas import Join
from netplan.planning.purge_tee import purge_tee
from netplan.planning.zone_purges import needs_purge_tee, tees_by_stop
from netplan.rules import MethodKind, Rules, StopMethod

__all__ = [
    "FallbackProblem",
    "OutwardStops",
    "each_outward",
    "fallback_problem",
    "method_of",
    "new_stops",
    "opened_valves",
    "outward_stops",
    "overlapping",
    "place_key",
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


@dataclass(frozen=True, slots=True, eq=False)
class FallbackProblem:
    """A cut whose stops may fail: what the places of its fallbacks depend on.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
        That of the cut.
    cut : Cut
    joins : tuple of Join
        Pressure areas that feeds join.
    opened : frozenset of int
        Pieces of the valves that the option opens.
    case : FailureCase
        With the feeds of the option.
    purge_tees : tuple of (int, float), optional
        Main and chainage [m] of the outlets of their own that gas back in may be taken from at its stops.
    """

    context: PlanningContext
    problem: IsolationProblem
    cut: Cut
    joins: tuple[Join, ...]
    opened: frozenset[int]
    case: FailureCase
    purge_tees: tuple[tuple[int, float], ...] = ()

    @property
    def rules(self) -> Rules:
        """The rules of the plan, every method in."""
        return self.context.request.rules

    @property
    def tapped(self) -> tuple[Stretch, ...]:
        """Places that the stops, and the tees of the feeds, take of the mains."""
        at = {(stop.pipe, stop.chainage_m) for stop in self.cut.stops if stop.valve < 0}
        at |= {(tapping.pipe, tapping.chainage_m) for stop in self.cut.stops for tapping in stop.tappings}
        hoses = [feed for feed in self.case.feeds if feed.valve_piece < 0]
        at |= {(end.pipe, end.chainage_m) for feed in hoses for end in feed.ends} | set(self.purge_tees)
        return tuple(Stretch(pipe, place, place) for pipe, place in sorted(at))

    def others(self, place: int) -> list[CutStop]:
        """Return the stops but the one at a place."""
        return [stop for i, stop in enumerate(self.cut.stops) if i != place]

    def is_opened(self, stop: CutStop) -> bool:
        """Return whether a stop is a valve that the option opens: it is found, proved and manned already."""
        return stop.valve >= 0 and stop.piece in self.opened


def outward_stops(
    context: PlanningContext, problem: IsolationProblem, option: EvaluatedOption, case: FailureCase
) -> tuple[OutwardStops, ...]:
    """Return the stops to use instead of each stop of an option.

    Every one is the cheapest set of stops with the other stops where they are and the failed place, the zone
    and the failed assembly forbidden. Where a set that costs at most one bypass more leaves more of the
    feeds' tees live, it is taken. Prepared places are the cheapest ones, and as their assemblies are dug and
    tapped side by side with the planned ones, none may meet another.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
        That of the option.
    option : EvaluatedOption
    case : FailureCase
        Of the option.
    """
    return tuple(each_outward(fallback_problem(context, problem, option, case)))


def fallback_problem(
    context: PlanningContext, problem: IsolationProblem, option: EvaluatedOption, case: FailureCase
) -> FallbackProblem:
    """Return the question for an option, with its feeds."""
    request, tees, stops = context.request, tees_by_stop(option), option.cut.stops
    own = [
        purge_tee(request.network, request.rules, stops, place, tees.get(place, 0))
        for place, stop in enumerate(stops)
        if needs_purge_tee(stop, tees.get(place, 0))
    ]
    places = tuple((one.pipe, one.chainage_m) for one in own if one is not None)
    return FallbackProblem(context, problem, option.cut, option.joins, opened_valves(option), case, places)


def each_outward(question: FallbackProblem) -> Iterator[OutwardStops]:
    """Yield the stops to use instead of each stop of a cut, in their order."""
    context, case, problem = question.context, question.case, question.problem
    laid: list[CutStop] = []
    valves = replace(
        question, problem=replace(problem, rules=context.rules_with(_valve_methods(problem.rules)))
    )
    for place, stop in enumerate(question.cut.stops):
        will_not_set = _clear_of_others(question, place, laid)
        feeding = case.fed_alone(case.planned, stop.live_node)
        # A part that nothing feeds as recorded most likely has gas: it is no tail that is off.
        if feeding is not None and (feeding or context.fed_before[stop.live_node]):
            yield OutwardStops(place, will_not_set, "", feeding)
        elif isinstance(will_not_set, Cut) and _are_valves(new_stops(will_not_set, question.cut, place)):
            yield OutwardStops(place, will_not_set, will_not_set)
        else:
            yield OutwardStops(place, will_not_set, _clear_of_others(valves, place, laid))


def _are_valves(stops: Iterable[CutStop]) -> bool:
    return all(stop.valve >= 0 for stop in stops)


def new_stops(answer: Cut, cut: Cut, place: int) -> tuple[CutStop, ...]:
    """Return the stops of an answer to the failure of the stop at a place that the cut does not have."""
    others = [stop for i, stop in enumerate(cut.stops) if i != place]
    known = {(stop.pipe, round(stop.chainage_m, 3), stop.work_side) for stop in others}
    return tuple(s for s in answer.stops if (s.pipe, round(s.chainage_m, 3), s.work_side) not in known)


def method_of(rules: Rules, stop: CutStop) -> StopMethod:
    """Return the method of a stop."""
    return next(method for method in rules.method if method.name == stop.method)


def opened_valves(option: EvaluatedOption) -> frozenset[int]:
    """Return the pieces of the valves that an option opens."""
    links = [feed.size.feed.valve_link for feed in option.feeds if feed is not None]
    return frozenset(link for link in links if link >= 0)


def place_key(stop: CutStop) -> tuple[object, ...]:
    """Return what tells two places apart."""
    return (
        ("valve", stop.valve) if stop.valve >= 0 else (stop.pipe, round(stop.chainage_m, 3), stop.work_side)
    )


def _valve_methods(rules: Rules) -> frozenset[str]:
    return frozenset(method.name for method in rules.method if method.kind is MethodKind.VALVE)


def _clear_of_others(question: FallbackProblem, place: int, laid: list[CutStop]) -> Cut | str:
    """Return the stops to use instead of one; prepared ones whose assemblies meet no other where that can be.

    `laid` gains what is prepared.
    """
    first = answer = _outward(question, place, laid=laid)
    if not question.rules.fallback.prepared:
        return answer
    forbidden: list[Stretch] = []
    for _ in range(MOST_TRIES):
        if isinstance(answer, str):
            return first
        new = new_stops(answer, question.cut, place)
        met = [(stop, other) for stop in new for other in overlapping(stop, [*question.others(place), *laid])]
        if not met:
            laid += [stop for stop in new if place_key(stop) not in {place_key(one) for one in laid}]
            return answer
        for stop, other in met:
            beyond = length_taken_m(question.rules, method_of(question.rules, stop))
            forbidden += _widened(question.context, other, beyond)
        answer = _outward(question, place, forbidden, laid)
    return first


def overlapping(stop: CutStop, laid: Iterable[CutStop]) -> list[CutStop]:
    """Return the other stops whose assemblies overlap that of a stop; a valve is tapped clear of them."""
    own = _extents(stop)
    return [
        other
        for other in laid
        if stop.valve < 0 and place_key(other) != place_key(stop)
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
    question: FallbackProblem,
    place: int,
    forbidden: Sequence[Stretch] = (),
    laid: Sequence[CutStop] = (),
) -> Cut | str:
    """Return the cheapest cut with every stop but one where it is, and nothing inside the old zone.

    New stops are rated for what can reach them with the option's feeds in, and keep clear of everything that
    the plan taps.
    """
    context, problem, cut = question.context, question.problem, question.cut
    failing, others = cut.stops[place], question.others(place)
    by_method = {method.name for method in problem.rules.method}
    if not all(stop.method in by_method for stop in others):
        # The other stops are in already: they stay what they are, only the new ones must be valves.
        keep = {stop.method for stop in others}
        problem = replace(problem, rules=context.rules_with(frozenset(by_method | keep)))
    of_failing = _failing_assembly(context, failing)
    orders = Orders(
        force=tuple(sorted(Stretch(s.pipe, s.chainage_m, s.chainage_m) for s in others if s.valve < 0)),
        force_valves=tuple(sorted(s.valve for s in others if s.valve >= 0)),
        forbid=tuple(sorted({*_inside(context, cut), *of_failing, *_beside(others, forbidden)})),
        forbid_valves=(failing.valve,) if failing.valve >= 0 else (),
        keep_out=problem.orders.keep_out,
        tapped=question.tapped,
    )
    # A valve used now is tapped clear of what is tapped already.
    tapped = tuple(tapping for stop in (*laid, failing) for tapping in stop.tappings)
    search = context.cuts(replace(problem, orders=orders, feed_bound=None, alternatives=None, laid=tapped))
    try:
        answer = next(search)
    except NoPlanError as error:
        more = [reason for reason in error.reasons if reason not in str(error)]
        return "; ".join((str(error), *more))
    new = new_stops(answer, cut, place)
    if any(stop.method not in by_method for stop in new):
        return "only stops of other methods would do"
    rated = by_method.intersection(*(context.areas.rated(stop, question.joins) for stop in new))
    if all(stop.method in rated for stop in new):
        # A prepared place is paid: the cheapest is taken, and its tee is drilled beforehand.
        is_paid = question.rules.fallback.prepared
        return answer if is_paid else _with_more_tees_live(question, place, answer, search, rated)
    if not rated:
        return "no method is rated for the station fault pressure that the feeds let through"
    allowed = replace(question, problem=replace(problem, rules=context.rules_with(frozenset(rated))))
    return _outward(allowed, place, forbidden, laid)


def _with_more_tees_live(
    question: FallbackProblem, place: int, cheapest: Cut, search: CutSearch, allowed: Collection[str]
) -> Cut:
    """Return the cut that leaves most tees live for at most one bypass more than the cheapest; else that one.

    Only methods among those allowed are taken, where they are rated for what arrives.
    """
    context = question.context
    spans = _failing_assembly(context, question.cut.stops[place])

    def lost(cut: Cut) -> int:
        lengths = ClosedLengths.of(cut)
        ends = (end for feed in question.case.feeds for end in feed.ends if lengths.hold(end))
        # A tee within the failed assembly lies in every larger zone.
        return sum(not any(_holds(span, end) for span in spans) for end in ends)

    best, least = cheapest, lost(cheapest)
    if not least:
        return cheapest
    most_minor = cheapest.bound_minor + round(question.rules.price.bypass * MINOR_PER_UNIT)
    for later in islice(search, LATER_CUTS):
        if later.bound_minor > most_minor:
            break
        new = new_stops(later, question.cut, place)
        rated = all(stop.method in context.areas.rated(stop, question.joins) for stop in new)
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
    """Return the failing assembly with its clearance beyond; round the gauge of a valve."""
    if stop.valve >= 0:
        return list(_beside_valve(context, stop))
    beyond = length_taken_m(context.request.rules, method_of(context.request.rules, stop))
    sign = 1.0 if stop.work_side == "from" else -1.0
    low, high = sorted((stop.chainage_m - sign * CLEAR_M, stop.chainage_m + sign * beyond))
    length = float(context.request.network.pipes.length_m[stop.pipe])
    return [Stretch(stop.pipe, max(low, 0.0), min(high, length)), *stop.beyond]


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

"""Fallback stops that a plan prepares: dug, tapped and proved before the first stop goes in, and paid."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from netplan.isolation import Cut, CutStop, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption, PreparedStop
from netplan.planning.failed_network import FailureCase, failure_case
from netplan.planning.fallback_places import (
    FallbackProblem,
    each_outward,
    fallback_problem,
    new_stops,
    opened_valves,
    overlapping,
    place_key,
)
from netplan.planning.feeds_in_use import ClosedLengths

__all__ = ["is_prepared", "least_fallbacks_minor", "prepared_row", "with_prepared_fallbacks"]


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
    prepared = _prepared(fallback_problem(context, problem, option, failure_case(context, option)))
    price = sum(one.stop.price_minor for one in prepared)
    return replace(option, prepared=prepared, fallbacks_minor=price)


def least_fallbacks_minor(
    context: PlanningContext, problem: IsolationProblem, cut: Cut, most_minor: int
) -> int:
    """Return what the prepared fallbacks of any option on a cut cost at least [minor units].

    Places depend on feeds by what these let through to a new stop, and by the tees of their hoses: 0 where
    feeds are allowed. A valve recorded closed may be one that an option opens: it counts nothing.

    Parameters
    ----------
    context, problem, cut
    most_minor : int
        Once that much is reached, no more is looked for [minor units].
    """
    rules, areas, network = context.request.rules, context.areas, context.request.network
    if not rules.fallback.prepared or context.request.feeds_allowed:
        return 0
    case = FailureCase(context, np.zeros(len(network.customers), dtype=bool), (), ClosedLengths.of(cut))
    every = tuple((0, area) for area in range(1, len(areas.supply.fault_pa_gauge)))

    def price(found: tuple[PreparedStop, ...]) -> int:
        stops = [one.stop for one in found]
        counted = [stop for stop in stops if stop.valve < 0 or network.pieces.is_open[stop.piece]]
        return sum(stop.price_minor for stop in counted)

    prepared = _prepared(
        FallbackProblem(context, problem, cut, (), frozenset(), case),
        lambda some: price(some) >= most_minor,
    )
    is_certain = all(one.stop.method in areas.rated(one.stop, every) for one in prepared)
    return price(prepared) if is_certain else 0


def prepared_row(option: EvaluatedOption, stop: CutStop) -> int:
    """Return the row of a fallback stop among those that the option prepares; -1 for none."""
    keys = [place_key(one.stop) for one in option.prepared]
    return keys.index(place_key(stop)) if place_key(stop) in keys else -1


def is_prepared(option: EvaluatedOption, stop: CutStop) -> bool:
    """Return whether a fallback stop is at hand: prepared by the plan, or a valve that the plan opens."""
    opened = stop.valve >= 0 and stop.piece in opened_valves(option)
    return opened or prepared_row(option, stop) >= 0


def _prepared(
    question: FallbackProblem, is_enough: Callable[[tuple[PreparedStop, ...]], bool] = lambda _: False
) -> tuple[PreparedStop, ...]:
    """Return what is prepared, each place once for all the stops that it serves, in the order of its main.

    Parameters
    ----------
    question : FallbackProblem
    is_enough : callable
        Asked after each stop of the cut with what is prepared so far whether to leave the others out.
    """
    stops: dict[object, CutStop] = {}
    serves: dict[object, list[int]] = {}
    found: tuple[PreparedStop, ...] = ()
    for answer in each_outward(question):
        for cut in (answer.will_not_set, answer.by_valves):
            for stop in new_stops(cut, question.cut, answer.place) if isinstance(cut, Cut) else ():
                laid = [*question.others(answer.place), *stops.values()]
                key = place_key(stop)
                if question.is_opened(stop) or (key not in stops and overlapping(stop, laid)):
                    continue
                stops.setdefault(key, stop)
                places = serves.setdefault(key, [])
                places += [] if answer.place in places else [answer.place]
        found = tuple(PreparedStop(stop, tuple(serves[key])) for key, stop in stops.items())
        if is_enough(found):
            break
    return tuple(sorted(found, key=lambda one: (one.stop.pipe, one.stop.chainage_m, one.stop.work_side)))

"""Customers that are off wait for the crew: in which order, until when, at what price; and days too short."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.core.errors import NoPlanError
from netplan.customers import OffOnTimes, RelightOrder, most_meters, off_on_times, relight_order
from netplan.isolation import MINOR_PER_UNIT, Cut, IsolationProblem
from netplan.network.vocabulary import Category
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.request import PlanRequest
from netplan.rules import ExcavationRules, Rules

__all__ = [
    "CrewLimitRelaxation",
    "Relighting",
    "ease",
    "in_currency",
    "queue_minor",
    "queue_of",
    "relighting_of",
    "times_of",
]

MOST_STEPS = 10
"""Times the price on meters is raised, then halved to be no higher than it has to be (own) [-]."""


def queue_of(request: PlanRequest, off: Ints) -> RelightOrder:
    """Return the order in which customers that are off are relit; positions are those in `off`."""
    customers = request.network.customers
    return relight_order(
        [customers.id[row] for row in off],
        [customers.address[row] for row in off],
        [customers.street[row] for row in off],
        [customers.number[row] for row in off],
        [customers.postcode[row] for row in off],
        [customers.priority[row] for row in off],
        customers.meters[off],
        _rates(request, off),
    )


def times_of(request: PlanRequest, queue: RelightOrder) -> OffOnTimes:
    """Return from when to when each of them is off, and whether the crew's day holds it."""
    return off_on_times(
        queue,
        start=request.start,
        hours=request.window_hours,
        relights_per_hour=request.rules.crew.relights_per_hour,
        day_end=request.rules.crew.day_end,
    )


def queue_minor(request: PlanRequest, off: Ints, queue: RelightOrder) -> int:
    """Return what waiting for the crew costs on top of the window, rounded one by one [minor units]."""
    if not len(off):
        return 0
    back_on_h = queue.back_on_h(request.rules.crew.relights_per_hour)
    rate = _rates(request, off)[queue.order] * queue.meters
    return int(np.rint(rate * back_on_h * MINOR_PER_UNIT).astype(np.int64).sum())


def _rates(request: PlanRequest, off: Ints) -> NDArray[np.float64]:
    of = request.rules.price.off_per_hour
    by_code = np.array([getattr(of, category.word) for category in Category], dtype=float)
    return by_code[request.network.customers.category[off]]


@dataclass(frozen=True, slots=True)
class Relighting:
    """What relighting some customers takes.

    Parameters
    ----------
    fits : bool
        Whether the last is relit before the crew's day ends.
    reason : str
        One line on that.
    waiting_minor : int
        What waiting for the crew costs on top of the window [minor units].
    """

    fits: bool
    reason: str
    waiting_minor: int


def relighting_of(context: PlanningContext, off: Ints) -> Relighting:
    """Return what relighting customers that are off takes; zones with the same ones share it."""
    request = context.request

    def answer() -> Relighting:
        queue = queue_of(request, off)
        times = times_of(request, queue)
        if not times.fits:
            context.days_too_short.add(len(off))
        return Relighting(times.fits, times.reason, queue_minor(request, off, queue))

    return context.once("relighting", off.tobytes(), answer)


def in_currency(minor: int) -> float:
    """Return minor units as an amount of the currency."""
    return minor / MINOR_PER_UNIT


@dataclass(frozen=True, slots=True, eq=False)
class CrewLimitRelaxation:
    """The question with a price on every meter off, so that zones within the day come first.

    Parameters
    ----------
    problem : IsolationProblem
        Limited to zones within the day.
    ease_minor : int
        What to take off a cut's bound to have one for options within the day [minor units]: the price
        times the meters the day holds. An option within it pays no more than that for its meters.
    """

    problem: IsolationProblem
    ease_minor: int


def ease(context: PlanningContext, problem: IsolationProblem) -> CrewLimitRelaxation:
    """Return the question eased.

    Raises
    ------
    NoPlanError
        When no zone at all is within the day: then the one with the fewest meters is too large.
    """
    request = context.request
    limit = most_meters(
        request.start,
        request.window_hours,
        request.rules.crew.relights_per_hour,
        request.rules.crew.day_end,
    )
    fewest = _cheapest(context, replace(problem, rules=_meters_alone(problem), gas_minor_per_m3=0.0))
    if _meters(context, fewest) > limit:
        queue = queue_of(request, np.flatnonzero(reach_of(context, fewest).isolated))
        why = f"no zone holds fewer meters: {times_of(request, queue).reason}"
        raise NoPlanError("no set of stops holds every constraint", (why,))
    low, high = 0, MINOR_PER_UNIT
    for _ in range(MOST_STEPS):
        if _is_within(context, problem, high, limit):
            break
        low, high = high, 4 * high
    else:
        # No price on meters brings such zones to the front: the question stays as it was.
        return CrewLimitRelaxation(replace(problem, most_meters=limit), 0)
    for _ in range(MOST_STEPS):
        middle = (low + high) // 2
        if middle == low:
            break
        low, high = (low, middle) if _is_within(context, problem, middle, limit) else (middle, high)
    # A unit a meter for the rounding of prices, customer by customer.
    return CrewLimitRelaxation(replace(_with_price(problem, high), most_meters=limit), (high + 1) * limit)


def _cheapest(context: PlanningContext, problem: IsolationProblem) -> Cut:
    return next(context.cuts(replace(problem, feed_bound=None)))


def _meters(context: PlanningContext, cut: Cut) -> int:
    meters = context.request.network.customers.meters
    return int(np.maximum(meters[reach_of(context, cut).isolated], 1).sum())


def _is_within(context: PlanningContext, problem: IsolationProblem, minor_per_meter: int, limit: int) -> bool:
    return _meters(context, _cheapest(context, _with_price(problem, minor_per_meter))) <= limit


def _with_price(problem: IsolationProblem, minor_per_meter: int) -> IsolationProblem:
    more = minor_per_meter / MINOR_PER_UNIT / problem.hours
    return replace(problem, rules=_off_prices(problem.rules, share=1.0, more_per_hour=more))


def _off_prices(rules: Rules, share: float, more_per_hour: float) -> Rules:
    off = rules.price.off_per_hour
    update = {name: share * getattr(off, name) + more_per_hour for name in type(off).model_fields}
    price = rules.price.model_copy(update={"off_per_hour": off.model_copy(update=update)})
    return rules.model_copy(update={"price": price})


def _meters_alone(problem: IsolationProblem) -> Rules:
    """Return the rules with nothing to pay but one unit of currency for a meter off."""
    rules = _off_prices(problem.rules, share=0.0, more_per_hour=1.0 / problem.hours)
    methods = tuple(
        method.model_copy(
            update={"price": 0.0, "price_surface": type(method.price_surface)(), "price_per_mm_od": 0.0}
        )
        for method in rules.method
    )
    return rules.model_copy(update={"method": methods, "excavation": ExcavationRules()})

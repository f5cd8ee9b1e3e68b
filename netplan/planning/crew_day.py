"""Customers that are off wait for the crew: in which order and at what price; zones within the day first."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.customers import RelightOrder, relight_order
from netplan.isolation import MINOR_PER_UNIT, Cut, IsolationProblem
from netplan.network.vocabulary import Category
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.least_hours import most_meters_of_any_zone
from netplan.planning.request import PlanRequest
from netplan.rules import Rules

__all__ = [
    "CrewLimitRelaxation",
    "ease",
    "in_currency",
    "queue_minor",
    "queue_of",
    "waiting_minor",
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


def waiting_minor(context: PlanningContext, off: Ints) -> int:
    """Return what waiting for the crew costs customers that are off; zones with the same ones share it."""
    request = context.request
    return context.once("waiting", off.tobytes(), lambda: queue_minor(request, off, queue_of(request, off)))


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
    """Return the question eased, where it is not proven that the day is too short for every zone."""
    limit = most_meters_of_any_zone(context, problem)
    if _meters(context, _cheapest(context, problem)) <= limit:
        return CrewLimitRelaxation(replace(problem, most_meters=limit), 0)
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
    return replace(problem, rules=_off_prices(problem.rules, more_per_hour=more))


def _off_prices(rules: Rules, more_per_hour: float) -> Rules:
    off = rules.price.off_per_hour
    update = {name: getattr(off, name) + more_per_hour for name in type(off).model_fields}
    price = rules.price.model_copy(update={"off_per_hour": off.model_copy(update=update)})
    return rules.model_copy(update={"price": price})

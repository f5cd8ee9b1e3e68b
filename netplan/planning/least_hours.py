"""The fewest hours that any zone at all takes: a proof where even those are too many for the day.

Each stop and each meter in a zone adds minutes to the day, whatever is fed. With those minutes as prices, and
nothing else to pay, the least cut is the least time.
"""

from __future__ import annotations

from dataclasses import replace

from netplan.core.constants import MINUTES_PER_HOUR
from netplan.core.errors import NoPlanError
from netplan.core.units import rounded_down, rounded_up
from netplan.isolation import MINOR_PER_UNIT, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import day_limits
from netplan.procedure.hours_by_counts import (
    LEAST_ZONE,
    OrderCounts,
    hours_by_counts,
    least_minutes_of_meter,
    least_minutes_of_stop,
)
from netplan.rules import ExcavationRules, Rules

__all__ = ["most_meters_of_any_zone", "require_hours"]

ALONE = OrderCounts((), (LEAST_ZONE,))
"""What every order of work is made of besides its stops and meters."""
NO_PLAN = "no set of stops holds every constraint"
LONGER = "what would have to give: "
CREWS = "more crews (rules crew.stop_crews, crew.meter_fitters, crew.relights_per_hour), shorter times"
TIMES = "(rules duration, method.minutes), fewer doors (the work section, or where stops may stand)"


def require_hours(context: PlanningContext, problem: IsolationProblem) -> None:
    """Check that some zone may be done in the day.

    Parameters
    ----------
    context, problem

    Raises
    ------
    NoPlanError
        When every zone takes more hours than the window, or the crew's day, has. The reason says which.
    """
    rules, limits = context.request.rules, day_limits(context.request)
    alone_min = hours_by_counts(ALONE, rules).gas_back_min
    meter = least_minutes_of_meter(rules)
    least_min = alone_min + _least_minutes(context, problem, meter.before_gas)
    if least_min > limits.window_min:
        _refuse(
            f"gas is back {_hours(least_min)} h after the start at the earliest, and the window has "
            f"{_hours_down(limits.window_min)} h",
            "a longer window (--hours)",
        )
    least_min = alone_min + _least_minutes(context, problem, meter.before_gas + meter.relit)
    if limits.overrun * least_min > limits.day_end_min:
        _refuse(
            f"the last meter is relit {_hours(limits.overrun * least_min)} h after the start at the "
            f"earliest, rule duration.overrun counted, and {_hours_down(limits.day_end_min)} h are left to "
            f"{rules.crew.day_end}",
            "a longer day (an earlier --start, rule crew.day_end)",
        )


def _refuse(why: str, longer: str) -> None:
    reason = f"whatever is stopped, {why}; {LONGER}{longer}, {CREWS} {TIMES}"
    raise NoPlanError(f"{NO_PLAN}: {reason}", (reason,))


def most_meters_of_any_zone(context: PlanningContext, problem: IsolationProblem) -> int:
    """Return how many meters no zone within the day exceeds, ≥ 0."""
    rules, limits = context.request.rules, day_limits(context.request)
    meter = least_minutes_of_meter(rules)
    alone_min = hours_by_counts(ALONE, rules).gas_back_min + _least_minutes(context, problem, 0.0)
    left_min = limits.day_end_min / limits.overrun - alone_min
    most = left_min / (meter.before_gas + meter.relit)
    if meter.before_gas:
        most = min(most, (limits.window_min - alone_min) / meter.before_gas)
    return max(int(most + _SPARE), 0)


_SPARE = 1e-6
"""What rounding may cost (own) [-]."""


def _least_minutes(context: PlanningContext, problem: IsolationProblem, minutes_a_meter: float) -> float:
    """Return what the stops and the meters of any zone add to the day at least [min]."""
    search = context.cuts(
        replace(
            problem,
            rules=_minutes_as_prices(problem.rules, minutes_a_meter / problem.hours),
            gas_minor_per_m3=0.0,
            feed_bound=None,
        )
    )
    try:
        next(search)
    except NoPlanError as error:
        if error.cut_short:
            return 0.0
        raise
    # Zones that break a constraint may have come before: the first of all bounds the time from below.
    return search.least_minor / MINOR_PER_UNIT


def _minutes_as_prices(rules: Rules, minutes_a_meter_and_hour: float) -> Rules:
    """Return the rules with one unit of currency to pay for each minute and nothing else."""
    methods = tuple(
        method.model_copy(
            update={
                "price": least_minutes_of_stop(method.minutes, rules),
                "price_surface": type(method.price_surface)(),
                "price_per_mm_od": 0.0,
            }
        )
        for method in rules.method
    )
    off = rules.price.off_per_hour
    dear = off.model_copy(update=dict.fromkeys(type(off).model_fields, minutes_a_meter_and_hour))
    price = rules.price.model_copy(update={"off_per_hour": dear})
    # Nothing for the pit at a valve: it is no stop of its own.
    free_pits = ExcavationRules()
    return rules.model_copy(update={"method": methods, "price": price, "excavation": free_pits})


def _hours(minutes: float) -> str:
    return f"{rounded_up(minutes / MINUTES_PER_HOUR, 1):.1f}"


def _hours_down(minutes: float) -> str:
    return f"{rounded_down(max(minutes, 0.0) / MINUTES_PER_HOUR, 1):.1f}"

"""The fewest hours that any zone at all takes: a proof where even those are too many for the day.

Each stop, meter and service in a zone adds minutes to the day, whatever is fed. With those minutes as prices,
and nothing else to pay, the least cut is the least time.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from netplan.core.constants import MINUTES_PER_HOUR
from netplan.core.errors import NoPlanError
from netplan.core.units import rounded_down, rounded_up
from netplan.isolation import MINOR_PER_UNIT, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import day_limits
from netplan.planning.least_minutes import LeastMinutes, least_minutes_of_day
from netplan.procedure.least_minutes import least_minutes_of_meter, least_minutes_of_relighting
from netplan.rules import ExcavationRules

__all__ = ["minutes_as_prices", "most_meters_of_any_zone", "require_hours"]

NO_PLAN = "no set of stops holds every constraint"
LONGER = "what would allow a plan: "
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
    least_min = _least_of_any_zone(context, problem, relit=False)
    if least_min > limits.window_min:
        _refuse(
            f"gas is back {_hours(least_min)} h after the start at the earliest, and the window has "
            f"{_hours_down(limits.window_min)} h",
            "a longer window (--hours)",
        )
    least_min = _least_of_any_zone(context, problem, relit=True)
    if limits.overrun * least_min > limits.day_end_min:
        _refuse(
            f"the last meter is relit {_hours(limits.overrun * least_min)} h after the start at the "
            f"earliest, rule duration.overrun counted, and {_hours_down(limits.day_end_min)} h are left to "
            f"{rules.crew.day_end}",
            "a longer day (an earlier --start, rule crew.day_end)",
        )


def _least_of_any_zone(context: PlanningContext, problem: IsolationProblem, *, relit: bool) -> float:
    """Return the greatest of the lower bounds on the minutes of any zone."""
    return max(
        _least_minutes(
            context,
            problem,
            least_minutes_of_day(context, problem, relit=relit, branches=branches),
        )
        for branches in (False, True)
    )


def _refuse(why: str, longer: str) -> None:
    reason = f"wherever the stops are, {why}; {LONGER}{longer}, {CREWS} {TIMES}"
    raise NoPlanError(f"{NO_PLAN}: {reason}", (reason,))


def most_meters_of_any_zone(context: PlanningContext, problem: IsolationProblem) -> int:
    """Return how many meters no zone within the day exceeds, ≥ 0."""
    rules, limits = context.request.rules, day_limits(context.request)
    meter_min = least_minutes_of_meter(rules)
    alone_min = max(
        _least_minutes(
            context,
            problem,
            least_minutes_of_day(context, problem, relit=False, branches=branches, customers=False),
        )
        for branches in (False, True)
    )
    left_min = limits.day_end_min / limits.overrun - alone_min
    most = left_min / (meter_min + least_minutes_of_relighting(rules))
    if meter_min:
        most = min(most, (limits.window_min - alone_min) / meter_min)
    return max(int(most + _SPARE), 0)


_SPARE = 1e-6
"""What rounding may cost (own) [-]."""


def _least_minutes(context: PlanningContext, problem: IsolationProblem, least: LeastMinutes) -> float:
    """Return how long any zone takes at least [min]."""
    search = context.cuts(minutes_as_prices(problem, least))
    try:
        search.outline()
    except NoPlanError as error:
        if error.cut_short:
            return 0.0
        raise
    # Zones that break a constraint may have come before: the first of all bounds the time from below.
    return least.alone_min + search.least_minor / MINOR_PER_UNIT


def minutes_as_prices(problem: IsolationProblem, least: LeastMinutes) -> IsolationProblem:
    """Return the question with one unit of currency to pay for each minute and nothing else.

    What every zone takes is left out of the price.
    """
    rules = problem.rules
    methods = tuple(
        method.model_copy(
            update={
                "price": math.floor(least.of_method[method.name] * MINOR_PER_UNIT) / MINOR_PER_UNIT,
                "price_surface": type(method.price_surface)(),
                "price_per_mm_od": 0.0,
            }
        )
        for method in rules.method
    )
    return replace(
        problem,
        # Nothing for the pit at a valve: it is no stop of its own.
        rules=rules.model_copy(update={"method": methods, "excavation": ExcavationRules()}),
        off_minor=np.floor(least.of_customer * MINOR_PER_UNIT).astype(np.int64),
        gas_minor_per_m3=0.0,
        feed_bound=None,
    )


def _hours(minutes: float) -> str:
    return f"{rounded_up(minutes / MINUTES_PER_HOUR, 1):.1f}"


def _hours_down(minutes: float) -> str:
    return f"{rounded_down(max(minutes, 0.0) / MINUTES_PER_HOUR, 1):.1f}"

"""Whether any zone holds as few meters as the planner orders to be off at most."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.isolation import IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.least_hours import minutes_as_prices
from netplan.planning.least_minutes import LeastMinutes
from netplan.planning.least_stops import least_of_any_zone

__all__ = ["least_meters_off", "require_few_off"]


def require_few_off(context: PlanningContext, problem: IsolationProblem) -> None:
    """Check that some zone has no more meters than the order allows to be off.

    With one unit to pay for each meter in a zone and nothing for stops and gas, the least cut is the fewest
    meters that any zone holds. Feeds keep others on, never those in the zone.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
        With `Orders.max_meters_off`; None allows any number.

    Raises
    ------
    NoPlanError
        When every zone holds more, or nothing isolates the work.
    """
    most = problem.orders.max_meters_off
    if most is None:
        return
    least = least_meters_off(context, problem)
    if least is not None and least > most:
        why = f"at least {least} meters are off whatever is stopped, more than the {most} allowed; allow more"
        raise NoPlanError("no set of stops isolates the work section: " + why, (why,))


def least_meters_off(context: PlanningContext, problem: IsolationProblem) -> int | None:
    """Return the fewest meters that any zone holds, whatever is ordered; None where the search gave up.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem

    Raises
    ------
    NoPlanError
        When nothing isolates the work.
    """
    meters = np.maximum(context.request.network.customers.meters, 1).astype(np.float64)
    free = dict.fromkeys((method.name for method in problem.rules.method), 0.0)
    counted = minutes_as_prices(replace(problem, most_meters=None), LeastMinutes(0.0, free, meters))
    return least_of_any_zone(context, counted)

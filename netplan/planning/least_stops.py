"""The least number of stops that isolates the work: a proof where an order allows fewer."""

from __future__ import annotations

from dataclasses import replace

from netplan.core.errors import NoPlanError
from netplan.isolation import MINOR_PER_UNIT, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.rules import ExcavationRules, Rules

__all__ = ["least_of_any_zone", "require_enough_stops"]


def require_enough_stops(context: PlanningContext, problem: IsolationProblem) -> None:
    """Check that some zone has no more stops than the problem allows.

    With one unit to pay for each stop and nothing for customers and gas, the least cut is the least number of
    stops. No constraint makes it smaller.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
        With `Orders.max_stops`; 0 allows any number.

    Raises
    ------
    NoPlanError
        When more are needed, or nothing isolates the work.
    """
    most = problem.orders.max_stops
    if not most:
        return
    counted = replace(
        problem,
        rules=_one_a_stop(problem.rules),
        gas_minor_per_m3=0.0,
        feed_bound=None,
        orders=replace(problem.orders, max_stops=0),
    )
    least = least_of_any_zone(context, counted)
    if least is not None and least > most:
        why = f"more than {most} stops are needed: no zone has fewer than {least}; allow more"
        raise NoPlanError("no set of stops isolates the work section: " + why, (why,))


def least_of_any_zone(context: PlanningContext, counted: IsolationProblem) -> int | None:
    """Return the least sum of any zone where prices count things, one unit of currency each.

    Parameters
    ----------
    context : PlanningContext
    counted : IsolationProblem
        With such prices.

    Returns
    -------
    int or None
        None where the search gave up.

    Raises
    ------
    NoPlanError
        When nothing isolates the work.
    """
    search = context.cuts(counted)
    try:
        next(search)
    except NoPlanError as error:
        if error.cut_short:
            return None
        raise
    # Zones that break a constraint may have come before: the first of all bounds the number from below.
    return -(-search.least_minor // MINOR_PER_UNIT)


def _one_a_stop(rules: Rules) -> Rules:
    """Return the rules with one unit of currency to pay for each stop and nothing else."""
    methods = tuple(
        method.model_copy(
            update={"price": 1.0, "price_surface": type(method.price_surface)(), "price_per_mm_od": 0.0}
        )
        for method in rules.method
    )
    off = rules.price.off_per_hour
    free = off.model_copy(update=dict.fromkeys(type(off).model_fields, 0.0))
    price = rules.price.model_copy(update={"off_per_hour": free})
    # Nothing for the pit at a valve: it is no stop of its own.
    free_pits = ExcavationRules()
    return rules.model_copy(update={"method": methods, "price": price, "excavation": free_pits})

"""When there is no plan: which of the planner's orders, lifted alone, would give one. Each is tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.customers import day_end_after_min
from netplan.network.work_section import work_section
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.rank import rank
from netplan.planning.request import PlanRequest, place_in_words
from netplan.planning.subnetwork_context import in_least_subnetwork
from netplan.rules import Rules

__all__ = ["Lifted", "LiftedKind", "lifted_orders"]

MOST_TRIED: Final = 12
"""Orders tried one by one (own) [-]."""
MOST_ALONE: Final = 4
"""Customers for whom a supply of their own is tried one by one (own) [-]."""
MOST_FITTERS: Final = 100
"""Fitters that no crew has (own) [-]."""
LEAST_BUDGET: Final = {
    "max_zones": 300,
    "max_solves": 1_500,
    "max_solves_without_option": 500,
    "seconds": 60.0,
}
"""What one try may take at most (own)."""


class LiftedKind(StrEnum):
    """What is lifted."""

    NO_FEEDS = "no feeds"
    KEEP_ON = "customer kept on"
    OWN_SUPPLY = "no supply of its own"
    FORCE = "stop ordered"
    FORBID = "stop forbidden"
    KEEP_OUT = "areas kept out of"
    MOST_STOPS = "most stops"
    MOST_STOPS_BY_RULE = "most stops by the rules"
    MOST_OFF = "most meters off"
    CREW_DAY = "crew's day"
    WINDOW = "longer window"
    PURGE_DRAW = "gas for the purge as a load"


@dataclass(frozen=True, slots=True)
class Lifted:
    """An order that, lifted alone, gives a plan; or a supply that, named, does.

    Parameters
    ----------
    kind : LiftedKind
    names : tuple of str
        The customers, valves or places it is about; the number of stops; empty where there is only one.
    """

    kind: LiftedKind
    names: tuple[str, ...] = ()


def lifted_orders(
    context: PlanningContext, tell: Callable[[str], None] = lambda _: None
) -> tuple[Lifted, ...]:
    """Return the orders of a request without a plan of which one lifted alone gives a plan.

    Each is tried by a search of its own, ended early, so that one may be missed but none is named in vain.
    Customers that must stay on for their priority count as an order that a supply of their own lifts; so do
    the crew's day and the draw of the purge, which the rules set.

    Parameters
    ----------
    context : PlanningContext
        Of the whole network.
    tell : callable, optional
        Called with a few words on what is being done.
    """
    found = []
    for lifted, request in list(_one_by_one(context.request))[:MOST_TRIED]:
        if lifted.kind is LiftedKind.CREW_DAY and _day_was_long_enough(context):
            continue
        if lifted.kind is LiftedKind.WINDOW and _window_was_long_enough(context):
            continue
        if lifted.kind is LiftedKind.PURGE_DRAW and _failed_without_purge(context):
            continue
        tell(f"trying without an order: {lifted.kind.value}")
        if _plan(context, request) is not None:
            found.append(lifted)
    tell(f"trying without an order: {LiftedKind.OWN_SUPPLY.value}")
    return (*found, *_own_supplies(context))


def _day_was_long_enough(context: PlanningContext) -> bool:
    """Return whether zones were priced on this context and the crew's day stood against none.

    A longer day then lets the same search go the same way: without an option the wait for the crew has no
    price that counts.
    """
    return context.was_asked("reach") and not context.days_too_short


def _window_was_long_enough(context: PlanningContext) -> bool:
    """Return whether zones were priced on this context and the window stood against none."""
    return context.was_asked("reach") and not context.windows_too_short


def _failed_without_purge(context: PlanningContext) -> bool:
    """Return whether zones were priced on this context and each failed without the draw of a purge too.

    The same search then goes the same way without it.
    """
    return context.was_asked("reach") and not context.against_by_purge


def _one_by_one(request: PlanRequest) -> Iterator[tuple[Lifted, PlanRequest]]:
    """Yield every order in force with the request that does without it."""
    orders, network, rules = request.orders, request.network, request.rules

    def other(**changed: Any) -> PlanRequest:
        return replace(request, orders=replace(orders, **changed))

    if not request.feeds_allowed:
        yield Lifted(LiftedKind.NO_FEEDS), replace(request, feeds_allowed=True)
    for row in orders.keep_customers:
        left = tuple(kept for kept in orders.keep_customers if kept != row)
        yield Lifted(LiftedKind.KEEP_ON, (network.customers.id[row],)), other(keep_customers=left)
    for kind, places, valves in (
        (LiftedKind.FORCE, "force", "force_valves"),
        (LiftedKind.FORBID, "forbid", "forbid_valves"),
    ):
        for place in getattr(orders, places):
            stretches = tuple(kept for kept in getattr(orders, places) if kept != place)
            yield Lifted(kind, (place_in_words(network, place),)), other(**{places: stretches})
        for valve in getattr(orders, valves):
            rows = tuple(kept for kept in getattr(orders, valves) if kept != valve)
            yield Lifted(kind, (network.valves.id[valve],)), other(**{valves: rows})
    if orders.keep_out:
        yield Lifted(LiftedKind.KEEP_OUT), other(keep_out=())
    yield from _limits(request)
    endless = _with(rules, "crew", relights_per_hour=1e9, meter_fitters=MOST_FITTERS, day_end="23:59")
    yield Lifted(LiftedKind.CREW_DAY), replace(request, rules=endless)
    longer_h = day_end_after_min(request.start, request.window_hours, rules.crew.day_end) / 60.0
    if longer_h > request.window_hours:
        # The work may go on until the end of the crew's day: what is drawn in those hours counts too.
        yield Lifted(LiftedKind.WINDOW, (f"{longer_h:g}",)), replace(request, hours=longer_h)
    if rules.purge.draw_is_load:
        yield (
            Lifted(LiftedKind.PURGE_DRAW),
            replace(request, rules=_with(rules, "purge", draw_is_load=False)),
        )


def _limits(request: PlanRequest) -> Iterator[tuple[Lifted, PlanRequest]]:
    """Yield the greatest number of stops and of meters off, with the request that does without it."""
    orders, rules = request.orders, request.rules
    free = _with(rules, "choice", max_stops=0)
    if orders.max_stops:
        lifted = Lifted(LiftedKind.MOST_STOPS, (str(orders.max_stops),))
        yield lifted, replace(request, orders=replace(orders, max_stops=0), rules=free)
    elif rules.choice.max_stops:
        lifted = Lifted(LiftedKind.MOST_STOPS_BY_RULE, (str(rules.choice.max_stops),))
        yield lifted, replace(request, rules=free)
    if orders.max_meters_off is not None:
        lifted = Lifted(LiftedKind.MOST_OFF, (str(orders.max_meters_off),))
        yield lifted, replace(request, orders=replace(orders, max_meters_off=None))


def _own_supplies(context: PlanningContext) -> tuple[Lifted, ...]:
    """Return whose supply of their own, once named, gives a plan: each that does alone, else all together."""
    request = context.request
    ordered = request.orders.keep_customers
    # With a supply of their own priority customers may go off; whoever was ordered to stay on stays.
    rows = [row for row in np.flatnonzero(context.must_stay).tolist() if row not in ordered]
    if not rows:
        return ()

    def named(some: tuple[int, ...]) -> PlanRequest:
        return replace(request, own_supply=tuple(sorted({*request.own_supply, *some})))

    def lifted(some: tuple[int, ...]) -> Lifted:
        return Lifted(LiftedKind.OWN_SUPPLY, tuple(request.network.customers.id[row] for row in some))

    found = _plan(context, named(tuple(rows)))
    if found is None:
        return ()
    ids, best = found
    off = tuple(row for row in (request.network.customers.id.find(ids[k]) for k in best.off) if row in rows)
    if len(off) > 1:
        alone = [(row,) for row in off[:MOST_ALONE] if _plan(context, named((row,))) is not None]
        if alone:
            return tuple(lifted(some) for some in alone)
    return (lifted(off),)


def _plan(context: PlanningContext, request: PlanRequest) -> tuple[Any, EvaluatedOption] | None:
    """Return the best option of a short search, and the ids of the customers its rows mean; None without."""
    choice = request.rules.choice
    least = {name: min(getattr(choice, name), most) for name, most in LEAST_BUDGET.items()}
    rules = _with(request.rules, "choice", **least)
    request = replace(request, rules=rules, options=1, weather=False)
    is_same_window = request.window_hours == context.request.window_hours
    whole = context.with_request(request) if is_same_window else PlanningContext.for_request(request)
    try:
        return in_least_subnetwork(whole, work_section(request.network, request.parts), _best_option)
    except NoPlanError:
        return None


def _best_option(context: PlanningContext) -> tuple[Any, EvaluatedOption]:
    network = context.request.network
    ranking = rank(context, work_section(network, context.request.parts), lambda _: None)
    return network.customers.id, ranking.options[0]


def _with(rules: Rules, table: str, **values: Any) -> Rules:
    changed = getattr(rules, table).model_copy(update=values)
    return rules.model_copy(update={table: changed})

"""Orders that contradict each other, found before any search; and orders that stand in the way of a plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

import numpy as np
import shapely

from netplan.core.errors import NoPlanError
from netplan.isolation import IsolationProblem, Stretch
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.planning.blocking_orders import Lifted, LiftedKind
from netplan.planning.context import PlanningContext
from netplan.planning.infeasibility import reach_of_core
from netplan.planning.request import PlanRequest, place_in_words

__all__ = ["conflicts_in_every_zone", "conflicts_of", "no_plan_in_words"]

AT_M: Final = 1e-6
"""A place this near to the end of a length still lies on it, as for the search (own) [m]."""
_FREED: Final[dict[LiftedKind, Callable[[str], str]]] = {
    LiftedKind.NO_FEEDS: lambda _: "“no bypass, hose or opened valve” is taken back",
    LiftedKind.KEEP_ON: lambda who: f"“{who} stays on” is taken back",
    LiftedKind.OWN_SUPPLY: lambda who: f"{who} gets a supply of its own",
    LiftedKind.FORCE: lambda where: f"“a stop at {where}” is taken back",
    LiftedKind.FORBID: lambda where: f"“no stop at {where}” is taken back",
    LiftedKind.KEEP_OUT: lambda _: "the areas kept out of are taken back",
    LiftedKind.MOST_STOPS: lambda most: f"more than {most} stops are allowed",
    LiftedKind.MOST_STOPS_BY_RULE: lambda most: f"the rules (choice.max_stops) allow more than {most} stops",
    LiftedKind.MOST_OFF: lambda most: f"more than {most} meters may be off",
    LiftedKind.CREW_DAY: lambda _: "all meters off can be relit by the end of the crew's day",
    LiftedKind.WINDOW: lambda hours: f"the window is longer, such as {hours} h",
    LiftedKind.PURGE_DRAW: lambda _: "the rules (purge.draw_is_load) leave the draw of the purge out",
}


def no_plan_in_words(error: NoPlanError) -> str:
    """Return in one line that there is no plan, why, and which order taken back alone would give one."""
    said = str(error)
    words = [said, *(reason for reason in error.reasons if reason not in said)]
    freed = [_freed(lifted) for lifted in error.lifted]
    if freed:
        words.append(f"there is a plan once {', or once '.join(freed)}")
    return "; ".join(words)


def _freed(lifted: Lifted) -> str:
    return _FREED[lifted.kind](" and ".join(lifted.names))


def conflicts_of(request: PlanRequest) -> tuple[str, ...]:
    """Return a line for each pair of orders that no plan can keep together.

    What is told here is certain: with these orders the search finds no plan, however long it looks.

    Parameters
    ----------
    request : PlanRequest
    """
    return tuple(dict.fromkeys(_conflicts(request)))


def _conflicts(request: PlanRequest) -> Iterator[str]:
    network, orders = request.network, request.orders
    valves, customers = network.valves.id, network.customers.id
    for row in sorted({*orders.force_valves} & {*orders.forbid_valves}):
        yield f"“a stop at valve {valves[row]}” against “no stop at valve {valves[row]}”: take one back"
    for place in orders.force:
        stop = f"“a stop at {place_in_words(network, place)}”"
        for length in orders.forbid:
            if length.pipe == place.pipe and _holds(length.from_m, length.to_m, place.from_m):
                yield f"{stop} against “no stop at {place_in_words(network, length)}”: take one back"
        for number in _areas_at(network, place, orders.keep_out):
            yield f"{stop} lies in keep-out area {number}: take one back"
    forced = [
        *((one.pipe, one.from_m, place_in_words(network, one)) for one in orders.force),
        *(
            (int(network.valves.pipe[row]), float(network.valves.chainage_m[row]), f"valve {valves[row]}")
            for row in orders.force_valves
        ),
    ]
    for pipe, at_m, name in forced:
        for part in request.parts:
            if network.pipes.id[pipe] == part.main_id and _inside(part.from_m, part.to_m, at_m):
                work = f"{part.main_id} {part.from_m:g} to {part.to_m:g} m"
                yield f"“a stop at {name}” lies in the work section {work}: move one of them"
    most, rule = orders.max_stops, request.rules.choice.max_stops
    whose = f"“at most {most} stops”" if most else f"the rules (choice.max_stops), {rule} stops at most,"
    if 0 < (most or rule) < len(forced):
        yield f"{whose} against {len(forced)} stops ordered: allow more, or take stops back"
    for row in sorted({*orders.keep_customers} & {*request.own_supply}):
        name = customers[row]
        yield f"“{name} stays on” against “{name} has a supply of its own”: take one back"


def _holds(low_m: float, high_m: float, at_m: float) -> bool:
    return low_m - AT_M < at_m < high_m + AT_M


def _inside(from_m: float, to_m: float, at_m: float) -> bool:
    return min(from_m, to_m) < at_m < max(from_m, to_m)


def _areas_at(network: Network, place: Stretch, areas: tuple[shapely.Geometry, ...]) -> Iterator[int]:
    """Yield the numbers, from 1, of the areas that a place lies in."""
    if areas:
        x, y = points_at(network, np.array([place.pipe]), np.array([place.from_m]))[0]
        for number, area in enumerate(areas, 1):
            if shapely.contains_xy(area, x, y):
                yield number


def conflicts_in_every_zone(context: PlanningContext, problem: IsolationProblem) -> tuple[str, ...]:
    """Return a line for each customer ordered to stay on who lies in every zone there is: on the work itself.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem
    """
    kept = context.request.orders.keep_customers
    if not kept:
        return ()
    isolated = reach_of_core(context, problem).isolated
    names = context.request.network.customers.id
    return tuple(
        f"“{names[row]} stays on” against the work section: its gas comes through the work section itself, "
        f"wherever the stops are; take one back"
        for row in kept
        if isolated[row] and context.must_stay[row]
    )

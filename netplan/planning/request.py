"""What a plan is asked for, and its orders in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from netplan.demand import Forecast
from netplan.isolation import Orders, Stretch
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import ReplacedPlan
from netplan.rules import Rules

__all__ = ["PlanRequest", "customers_in_orders", "orders_in_words", "place_in_words"]

STAYS_ON: Final = " stays on"
OWN_SUPPLY: Final = " has a supply of its own"
_CUSTOMER: Final = "customer "


@dataclass(frozen=True, slots=True, eq=False)
class PlanRequest:
    """A work section, its window and the planner's orders.

    Parameters
    ----------
    network : Network
        Joined network.
    parts : tuple of WorkPart
        Lengths of main to be made gas-free.
    rules : Rules
        The operator's figures.
    start : datetime, optional
        Local start of the window; None for any working day.
    hours : float, optional
        Length of the window [h]; None for the rules' working day.
    air_temp_c : float, optional
        Air temperature of the window [°C]; None for the rules' design temperature.
    forecast : Forecast, optional
        Hourly air temperatures instead.
    orders : Orders
        Stops forced and forbidden, areas kept out of, customers that must stay on, greatest count of stops.
    feeds_allowed : bool
        Whether bypasses, hoses and opened valves may be used.
    own_supply : tuple of int
        Rows of customers with a named supply of their own: they may go off although they have priority.
    options : int, optional
        How many options to list; None for the rules' number.
    weather : bool
        Whether to find out until how cold each option holds, and what its feeds have to spare.
    replaces : ReplacedPlan, optional
        The earlier plan of this work that the new one supersedes.
    """

    network: Network
    parts: tuple[WorkPart, ...]
    rules: Rules
    start: datetime | None = None
    hours: float | None = None
    air_temp_c: float | None = None
    forecast: Forecast | None = None
    orders: Orders = field(default_factory=Orders)
    feeds_allowed: bool = True
    own_supply: tuple[int, ...] = ()
    options: int | None = None
    weather: bool = True
    replaces: ReplacedPlan | None = None

    @property
    def wanted(self) -> int:
        """How many options to list."""
        return self.options or self.rules.choice.options

    @property
    def window_hours(self) -> float:
        """Length of the window [h]."""
        return self.hours if self.hours is not None else self.rules.crew.hours


def orders_in_words(request: PlanRequest) -> tuple[str, ...]:
    """Return one line for each order, in a fixed order; none when the planner gave none."""
    orders, network = request.orders, request.network
    lines = [
        *(f"a stop at {place_in_words(network, stretch)}" for stretch in orders.force),
        *(f"a stop at valve {network.valves.id[row]}" for row in orders.force_valves),
        *(f"no stop at {place_in_words(network, stretch)}" for stretch in orders.forbid),
        *(f"no stop at valve {network.valves.id[row]}" for row in orders.forbid_valves),
    ]
    if orders.keep_out:
        area_m2 = sum(polygon.area for polygon in orders.keep_out) / network.scale**2
        areas = "1 area" if len(orders.keep_out) == 1 else f"{len(orders.keep_out)} areas"
        lines.append(f"no stop in {areas}, {area_m2:.0f} m² in all")
    if orders.max_stops:
        lines.append(f"at most {orders.max_stops} stops")
    if orders.max_meters_off is not None:
        lines.append(f"at most {orders.max_meters_off} meters off")
    customer_id = network.customers.id
    lines.extend(f"{_CUSTOMER}{customer_id[row]}{STAYS_ON}" for row in orders.keep_customers)
    lines.extend(f"{_CUSTOMER}{customer_id[row]}{OWN_SUPPLY}" for row in request.own_supply)
    if not request.feeds_allowed:
        lines.append("no bypass, hose or opened valve")
    return tuple(lines)


def customers_in_orders(lines: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the customers who stay on by order, and those with a supply of their own, by id.

    Parameters
    ----------
    lines : iterable of str
        Of `orders_in_words`, as a plan keeps them.
    """
    found: tuple[list[str], list[str]] = ([], [])
    for line in lines:
        for some, ending in zip(found, (STAYS_ON, OWN_SUPPLY), strict=True):
            if line.startswith(_CUSTOMER) and line.endswith(ending):
                some.append(line.removeprefix(_CUSTOMER).removesuffix(ending))
    return tuple(found[0]), tuple(found[1])


def place_in_words(network: Network, stretch: Stretch) -> str:
    """Return a place or length of main in words."""
    main = network.pipes.id[stretch.pipe]
    if stretch.from_m == stretch.to_m:
        return f"{main} {stretch.from_m:.2f} m"
    return f"{main} {stretch.from_m:.2f} to {stretch.to_m:.2f} m"

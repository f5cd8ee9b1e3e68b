"""The planner's orders in words, so that a plan says what it was asked."""

from __future__ import annotations

from netplan.isolation import Stretch
from netplan.network.model import Network
from netplan.planning.request import PlanRequest

__all__ = ["orders_in_words", "place_in_words"]


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
        lines.append(f"no stop in {len(orders.keep_out)} areas, {area_m2:.0f} m² in all")
    if orders.max_stops:
        lines.append(f"at most {orders.max_stops} stops")
    lines.extend(f"customer {network.customers.id[row]} stays on" for row in orders.keep_customers)
    lines.extend(
        f"customer {network.customers.id[row]} has a supply of its own" for row in request.own_supply
    )
    if not request.feeds_allowed:
        lines.append("no bypass, hose or opened valve")
    return tuple(lines)


def place_in_words(network: Network, stretch: Stretch) -> str:
    """Return a place or length of main in words."""
    main = network.pipes.id[stretch.pipe]
    if stretch.from_m == stretch.to_m:
        return f"{main} {stretch.from_m:.2f} m"
    return f"{main} {stretch.from_m:.2f} to {stretch.to_m:.2f} m"

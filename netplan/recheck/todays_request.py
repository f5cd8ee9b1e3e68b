"""What is asked of today's network: the plan's rules, window and orders, unless others are given."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from netplan.core.errors import BadInputError
from netplan.demand import Forecast
from netplan.isolation import Orders
from netplan.network.model import Network
from netplan.planfile.model import Plan
from netplan.planning.request import PlanRequest, customers_in_orders
from netplan.rules import Rules, checked_rules

__all__ = ["todays_request"]


def todays_request(
    plan: Plan,
    network: Network,
    *,
    rules: Rules | None = None,
    start: datetime | None = None,
    hours: float | None = None,
    air_temp_c: float | None = None,
    forecast: Forecast | None = None,
    keep_out: tuple[Any, ...] = (),
) -> PlanRequest:
    """Return a request of the plan's own rules, window, weather and orders on today's network.

    Customers who stay on by order, or have a supply of their own, are those of the plan; who is not in the
    records any more is left out.

    Parameters
    ----------
    plan : Plan
    network : Network
        Today's.
    rules, start, hours, air_temp_c, forecast : optional
        In place of the plan's.
    keep_out : tuple of shapely polygons, optional
        Areas that the plan's orders keep stops out of, in the network's CRS.

    Raises
    ------
    BadInputError
        When the plan's rules cannot be used, or a forecast is given for a plan without a start.
    """
    conditions = plan.conditions
    begin = start
    if begin is None and conditions.start is not None:
        begin = datetime.fromisoformat(conditions.start)
    if forecast is not None and begin is None:
        raise BadInputError("--forecast: the plan is for any working day; give --start of the work too")
    given = air_temp_c if forecast is not None or air_temp_c is not None else conditions.air_temp_c
    keep_on, own_supply = (
        tuple(sorted({row for name in names if (row := network.customers.id.find(name)) >= 0}))
        for names in customers_in_orders(conditions.orders)
    )
    return PlanRequest(
        network=network,
        parts=(),
        rules=rules or checked_rules(plan.rules, "plan.json: rules"),
        start=begin,
        hours=conditions.hours if hours is None else hours,
        air_temp_c=given,
        forecast=forecast,
        orders=Orders(keep_out=keep_out, keep_customers=keep_on),
        own_supply=own_supply,
        weather=_has_weather(plan),
    )


def _has_weather(plan: Plan) -> bool:
    """Return whether a plan says until how cold its best option holds: then readings are by weather too."""
    return bool(plan.options and plan.options[0].weather)

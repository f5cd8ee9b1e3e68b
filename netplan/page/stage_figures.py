"""The figures that the page shows of a plan while it is worked out: planner, notices, engineer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final, Literal

import numpy as np

from netplan.isolation import Cut
from netplan.network.linear_reference import lines_between, points_at
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.outputs.notice_list import lead_days_of
from netplan.planfile.model import AffectedCustomer, Bypass, Option, Pressures, Zone
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import in_currency
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.excavations_of_cut import work_minor_of
from netplan.planning.option_records.customer_records import customers_of
from netplan.planning.option_records.feed_records import feeds_of
from netplan.planning.option_records.pressure_records import pressures_of
from netplan.planning.option_records.stop_records import zones_of
from netplan.planning.request import PlanRequest
from netplan.planning.weather_limits import not_looked_for

__all__ = ["figures_of_cut", "figures_of_found", "figures_of_option", "rank_of_found"]

FORBIDDEN_BESIDE_STOP_M: Final = 5.0
"""Who forbids a stop on the page forbids so much main on either side of it: with less it would hardly move
(own) [m]."""
Label = Literal["bound", "solved", "proven"]
Figure = dict[str, Any]


def _figure(value: Any, label: Label) -> Figure:
    return {"value": value, "label": label}


def figures_of_cut(context: PlanningContext, section: WorkSection, cut: Cut) -> dict[str, Any]:
    """Return what is known of the cheapest way to isolate the work before anything is solved.

    The burden is a lower bound; who is off is by connectivity.
    """
    network = context.request.network
    work = lines_between(network, section.pipe, section.from_m, section.to_m)
    customers = network.customers
    rows = cut.customers
    mains = [part for zone in cut.zones for part in zone.pieces if part.pipe < network.pipes.n_mains]
    lines = lines_between(
        network,
        np.array([part.pipe for part in mains], dtype=np.int64),
        np.array([part.from_m for part in mains]),
        np.array([part.to_m for part in mains]),
    )
    return {
        "planner": {
            "stops": _figure(len(cut.stops), "bound"),
            "burden": _figure(in_currency(cut.bound_minor + work_minor_of(context)), "bound"),
        },
        "notices": {
            "meters_off": _figure(int(customers.meters[rows].sum()), "bound"),
            "priority": _figure(len(cut.priority_customers), "bound"),
        },
        "engineer": {},
        "stops": _stops_of(network, cut),
        "work": [np.asarray(line.coords).round(2).tolist() for line in work],
        "zone": [np.asarray(line.coords).round(2).tolist() for line in lines],
        "off": [_place(network, row) for row in rows.tolist()],
    }


def rank_of_found(priced: EvaluatedOption, rank: int, bound_minor: int | None) -> dict[str, Any]:
    """Return where an option that is priced and solved stands: its rank, and the planner's figures.

    Parameters
    ----------
    priced : EvaluatedOption
    rank : int
        From 1, among those found so far.
    bound_minor : int or None
        No option beyond those found is cheaper [minor units]; None: there is none beyond.
    """
    gap_minor = 0 if bound_minor is None else max(priced.burden_minor - bound_minor, 0)
    planner = {
        "stops": len(priced.cut.stops),
        "holes": None,
        "excavations": None,
        "burden": in_currency(priced.burden_minor),
        "gap": in_currency(gap_minor),
    }
    return {"rank": rank, "planner": _planner(planner, is_proven=not gap_minor)}


def figures_of_found(context: PlanningContext, priced: EvaluatedOption) -> dict[str, Any]:
    """Return the other figures of an option that is priced and solved, before it is written down.

    Excavations and customers on standby are not counted yet.

    Parameters
    ----------
    context : PlanningContext
    priced : EvaluatedOption
    """
    network = context.request.network
    feeds = feeds_of(context, priced, not_looked_for(priced))
    customers = customers_of(context, priced, feeds.ids)
    return {
        "notices": _notices(customers, context.request, None),
        "engineer": _engineer(
            context.request, feeds.bypasses, len(feeds.opened), pressures_of(context, priced), None
        ),
        "stops": _stops_of(network, priced.cut),
        "feeds": _feeds(feeds.bypasses, [one.valve_id for one in feeds.opened]),
        "zone": _zone(network, zones_of(network, priced.cut)),
        "off": _places(network, [one.id for one in customers if one.effect == "off"]),
        "kept": _places(network, [one.id for one in customers if one.effect == "kept"]),
        "warnings": [],
    }


def figures_of_option(request: PlanRequest, option: Option) -> dict[str, Any]:
    """Return the figures of one option as it stands in a plan, each said to be solved or proven.

    Parameters
    ----------
    request : PlanRequest
        Of the whole network.
    option : Option
    """
    network = request.network
    planner = {
        "stops": len(option.stops),
        "holes": len({stop.hole_id for stop in option.stops if stop.kind != "valve"}),
        "excavations": option.holes,
        "burden": option.burden,
        "gap": option.proof.gap,
    }
    coldest = [line.coldest_air_temp_c for line in option.weather if not line.feed]
    opened = [one.valve_id for one in option.opened_valves]
    return {
        "rank": option.rank,
        "planner": _planner(planner, is_proven=option.proof.optimal),
        "notices": _notices(option.customers, request, option.standby),
        "engineer": _engineer(
            request, option.bypasses, len(opened), option.pressures, coldest[0] if coldest else None
        ),
        "stops": [
            {
                "id": stop.id,
                "x": stop.x,
                "y": stop.y,
                "kind": stop.kind,
                "method": stop.method,
                "main_id": stop.main_id,
                "chainage_m": round(stop.chainage_m, 3),
                "valve_id": stop.valve_id or "",
                "forbid": stop.valve_id or _length_round(network, stop.main_id, stop.chainage_m),
                "why": stop.reason,
            }
            for stop in option.stops
        ],
        "feeds": _feeds(option.bypasses, opened),
        "zone": _zone(network, option.zones),
        "off": _places(network, [one.id for one in option.customers if one.effect == "off"]),
        "kept": _places(network, [one.id for one in option.customers if one.effect == "kept"]),
        "warnings": list(option.warnings),
    }


def _planner(values: dict[str, Any], *, is_proven: bool) -> dict[str, Figure]:
    label: Label = "proven" if is_proven else "solved"
    return {
        name: _figure(value, label if name in ("burden", "gap") else "solved")
        for name, value in values.items()
    }


def _notices(
    customers: Sequence[AffectedCustomer], request: PlanRequest, standby: Sequence[str] | None
) -> dict[str, Figure]:
    off = [one for one in customers if one.effect == "off"]
    kept = [one for one in customers if one.effect == "kept"]
    values = {
        "meters_off": sum(one.meters for one in off),
        "meters_kept": sum(one.meters for one in kept),
        "standby": None if standby is None else len(standby),
        "priority": sum(bool(one.priority) for one in off),
        "calls_due": _calls_due(customers, request),
    }
    return {name: _figure(value, "solved") for name, value in values.items()}


def _calls_due(customers: Sequence[AffectedCustomer], request: PlanRequest) -> str:
    """Return by when the first customer has to be told: a date, or days where no start is given."""
    days = request.rules.notice.lead_days.model_dump()
    lead = max((lead_days_of(days, one.category, one.priority) for one in customers), default=None)
    if lead is None:
        return "nobody to tell"
    if request.start is None:
        return f"{lead} days before"
    start: datetime = request.start
    return (start - timedelta(days=lead)).date().isoformat()


def _engineer(
    request: PlanRequest,
    bypasses: Sequence[Bypass],
    opened: int,
    pressures: Pressures,
    coldest_air_c: float | None,
) -> dict[str, Figure]:
    least_mbar = pressures.after.least_mbar
    needs_mbar = request.rules.pressure.minimum_mbar + request.rules.pressure.margin_mbar
    values = {
        "feeds": len(bypasses) + opened,
        "flow_m3h": round(sum(one.flow_m3h for one in bypasses), 3),
        "bores_mm": [one.bore_mm for one in bypasses],
        "drops_mbar": [round(one.drop_mbar, 3) for one in bypasses],
        "least_mbar": None if least_mbar is None else round(least_mbar, 3),
        "margin_mbar": None if least_mbar is None else round(least_mbar - needs_mbar, 3),
        "worst_inlet": pressures.after.at,
        "coldest_air_c": coldest_air_c,
    }
    return {name: _figure(value, "solved") for name, value in values.items()}


def _feeds(bypasses: Sequence[Bypass], opened: Sequence[str]) -> list[dict[str, Any]]:
    sized = [
        {
            "id": one.id,
            "kind": one.kind,
            "bore_mm": round(one.bore_mm, 1),
            "parallel": one.parallel,
            "from": f"{one.from_.main_id} {one.from_.chainage_m:.1f} m",
            "to": f"{one.to.main_id} {one.to.chainage_m:.1f} m",
            "route": [[float(x), float(y)] for x, y in one.course],
        }
        for one in bypasses
    ]
    return [*sized, *({"id": name, "kind": "opened valve"} for name in opened)]


def _length_round(network: Network, main_id: str, chainage_m: float) -> str:
    """Return the length of main that is forbidden with a stop, as an order names it."""
    length_m = network.pipes.length_m.item(network.pipes.id.find(main_id, 0, network.pipes.n_mains))
    low_m, high_m = (
        max(chainage_m - FORBIDDEN_BESIDE_STOP_M, 0.0),
        min(chainage_m + FORBIDDEN_BESIDE_STOP_M, length_m),
    )
    # Rounded down: never beyond its end.
    return f"{main_id}:{math.floor(low_m * 100.0) / 100.0:.2f}:{math.floor(high_m * 100.0) / 100.0:.2f}"


def _stops_of(network: Network, cut: Cut) -> list[dict[str, Any]]:
    pipes = np.array([stop.pipe for stop in cut.stops], dtype=np.int64)
    places = points_at(network, pipes, np.array([stop.chainage_m for stop in cut.stops]))
    return [
        {
            "id": stop_id(at),
            "x": float(x),
            "y": float(y),
            "kind": stop.kind,
            "method": stop.method,
            "main_id": network.pipes.id[stop.pipe],
            "chainage_m": round(stop.chainage_m, 3),
            "valve_id": network.valves.id[stop.valve] if stop.valve >= 0 else "",
            "forbid": network.valves.id[stop.valve]
            if stop.valve >= 0
            else _length_round(network, network.pipes.id[stop.pipe], stop.chainage_m),
            "why": stop.reason,
        }
        for at, (stop, (x, y)) in enumerate(zip(cut.stops, places.tolist(), strict=True))
    ]


def _zone(network: Network, zones: Sequence[Zone]) -> list[Any]:
    rows, low, high = [], [], []
    for zone in zones:
        for pipe in zone.pipes:
            if pipe.layer == "mains":
                row = network.pipes.id.find(pipe.pipe_id, 0, network.pipes.n_mains)
                rows.append(row)
                low.append(pipe.from_m)
                high.append(pipe.to_m)
    lines = lines_between(network, np.array(rows, dtype=np.int64), np.array(low), np.array(high))
    return [np.asarray(line.coords).round(2).tolist() for line in lines]


def _places(network: Network, names: list[str]) -> list[Any]:
    return [_place(network, network.customers.id.find(name)) for name in names]


def _place(network: Network, row: int) -> list[Any]:
    """Return place, id, address, priority in words and meters of a customer; never the restricted note."""
    customers = network.customers
    return [
        float(customers.x_m[row]),
        float(customers.y_m[row]),
        customers.id[row],
        customers.address[row],
        customers.priority[row].replace("_", " "),
        int(customers.meters[row]),
    ]

"""The figures that the page shows of a plan while it is worked out: planner, notices, engineer."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from netplan.isolation import Cut
from netplan.network.linear_reference import lines_between, points_at
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.planfile.model import Option, Plan

__all__ = ["figures_of_cut", "figures_of_option", "options_of_plan"]

Label = Literal["bound", "solved", "proven"]
Figure = dict[str, Any]


def _figure(value: Any, label: Label) -> Figure:
    return {"value": value, "label": label}


def figures_of_cut(network: Network, section: WorkSection, cut: Cut) -> dict[str, Any]:
    """Return what is known of the cheapest way to isolate the work before anything is solved.

    The burden is a lower bound; who is off is by connectivity.
    """
    work = lines_between(network, section.pipe, section.from_m, section.to_m)
    customers = network.customers
    rows = cut.customers
    pipes = np.array([stop.pipe for stop in cut.stops], dtype=np.int64)
    places = points_at(network, pipes, np.array([stop.chainage_m for stop in cut.stops]))
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
            "burden": _figure(cut.bound_minor / 100.0, "bound"),
        },
        "notices": {
            "meters_off": _figure(int(customers.meters[rows].sum()), "bound"),
            "priority": _figure(len(cut.priority_customers), "bound"),
        },
        "engineer": {},
        "stops": [
            {
                "x": float(x),
                "y": float(y),
                "kind": stop.kind,
                "main_id": network.pipes.id[stop.pipe],
                "chainage_m": round(stop.chainage_m, 3),
                "valve_id": network.valves.id[stop.valve] if stop.valve >= 0 else "",
                "why": stop.reason,
            }
            for stop, (x, y) in zip(cut.stops, places.tolist(), strict=True)
        ],
        "work": [np.asarray(line.coords).round(2).tolist() for line in work],
        "zone": [np.asarray(line.coords).round(2).tolist() for line in lines],
        "off": [
            [float(customers.x_m[row]), float(customers.y_m[row]), customers.id[row], customers.address[row]]
            for row in rows.tolist()
        ],
    }


def options_of_plan(network: Network, plan: Plan) -> list[dict[str, Any]]:
    """Return the figures and places of every option of a plan."""
    return [figures_of_option(network, plan, option) for option in plan.options]


def figures_of_option(network: Network, plan: Plan, option: Option) -> dict[str, Any]:
    """Return the figures of one option, each said to be solved or proven, and what the map draws of it."""
    off = [one for one in option.customers if one.effect == "off"]
    kept = [one for one in option.customers if one.effect == "kept"]
    coldest = [line.coldest_air_temp_c for line in option.weather if not line.feed]
    least_mbar = option.pressures.after.least_mbar
    needs_mbar = plan.rules["pressure"]["minimum_mbar"] + plan.rules["pressure"]["margin_mbar"]
    burden: Label = "proven" if option.proof.optimal else "solved"
    return {
        "rank": option.rank,
        "planner": {
            "stops": _figure(len(option.stops), "solved"),
            "excavations": _figure(option.holes, "solved"),
            "burden": _figure(option.burden, burden),
            "gap": _figure(option.proof.gap, "proven"),
        },
        "notices": {
            "meters_off": _figure(sum(one.meters for one in off), "solved"),
            "meters_kept": _figure(sum(one.meters for one in kept), "solved"),
            "standby": _figure(len(option.standby), "solved"),
            "priority": _figure(sum(bool(one.priority) for one in off), "solved"),
        },
        "engineer": {
            "feeds": _figure(len(option.bypasses) + len(option.opened_valves), "solved"),
            "bores_mm": _figure([one.bore_mm for one in option.bypasses], "solved"),
            "drops_mbar": _figure([one.drop_mbar for one in option.bypasses], "solved"),
            "least_mbar": _figure(least_mbar, "solved"),
            "margin_mbar": _figure(
                None if least_mbar is None else round(least_mbar - needs_mbar, 3), "solved"
            ),
            "coldest_air_c": _figure(coldest[0] if coldest else None, "solved"),
        },
        "stops": [
            {
                "id": stop.id,
                "x": stop.x,
                "y": stop.y,
                "kind": stop.kind,
                "method": stop.method,
                "main_id": stop.main_id,
                "chainage_m": stop.chainage_m,
                "valve_id": stop.valve_id or "",
                "why": stop.reason,
            }
            for stop in option.stops
        ],
        "zone": _zone(network, option),
        "off": _places(network, [one.id for one in off]),
        "kept": _places(network, [one.id for one in kept]),
        "warnings": list(option.warnings),
    }


def _zone(network: Network, option: Option) -> list[Any]:
    rows, low, high = [], [], []
    for zone in option.zones:
        for pipe in zone.pipes:
            if pipe.layer == "mains":
                row = network.pipes.id.find(pipe.pipe_id, 0, network.pipes.n_mains)
                rows.append(row)
                low.append(pipe.from_m)
                high.append(pipe.to_m)
    lines = lines_between(network, np.array(rows, dtype=np.int64), np.array(low), np.array(high))
    return [np.asarray(line.coords).round(2).tolist() for line in lines]


def _places(network: Network, names: list[str]) -> list[Any]:
    customers = network.customers
    found = []
    for name in names:
        row = customers.id.find(name)
        found.append([float(customers.x_m[row]), float(customers.y_m[row]), name, customers.address[row]])
    return found

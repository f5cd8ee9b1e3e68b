"""A street with a station at each end, work right behind the outlet valve of the first, and houses beyond."""

from __future__ import annotations

from typing import Any

from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Plan
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import read_rules
from tests.support.networks import customer, fitting, layers, main, service, station, valve

WORK = (WorkPart("M1", 12.0, 50.0),)
OUTLET_M = 2.0
"""Chainage of the outlet valve V1 [m]."""


def street_layers(od_mm: float = 125.0, *, inlet: dict[str, Any] | None = None, **of_station: Any) -> Any:
    """Return the layers; `inlet` are columns of a valve VI on the main that feeds station R1.

    Further columns go to station R1.
    """
    at = {"C1": (60.0, 8.0), "C2": (60.0, -8.0), "C3": (120.0, 8.0)}
    valves = [valve("V1", (OUTLET_M, 0)), valve("V2", (190, 0))]
    if inlet is not None:
        valves.append(valve("VI", (0.0, -20.0), **{"system": "MP", **inlet}))
    return layers(
        mains=[
            main("M1", (0, 0), (200, 0), od_mm=od_mm, year=2005, mop_mbar=75.0, surface="footway"),
            main("P1", (0, -40), (0, -1), od_mm=90.0, year=2005, system="MP"),
        ],
        services=[service(f"S{who[1]}", (x, 0), (x, y)) for who, (x, y) in at.items()],
        customers=[
            # A hospital never goes off, so that the second station goes on feeding it.
            customer(
                who,
                place,
                service_id=f"S{who[1]}",
                priority="hospital" if who == "C3" else "",
                category="household",
                meters=1,
            )
            for who, place in at.items()
        ],
        regulators=[
            station("R1", (0, 0), outlet_mbar=31.0, max_outlet_mbar=58.0, **of_station),
            station("R2", (200, 0), outlet_mbar=28.0),
        ],
        valves=valves,
        fittings=[fitting("F1", (150, 0))],
    )


def street_plan(frames: Any, rules: dict[str, Any] | None = None, *, options: int = 1) -> Plan:
    """Return the plan of the work right behind the outlet valve of R1."""
    of_rules = read_rules(None, {"gas": {"name": "methane"}, **(rules or {})})
    network = build_network(frames, strict=False)
    return make_plan(PlanRequest(network, WORK, of_rules, weather=False, options=options)).plan


def at_outlet(option: Option) -> Any:
    """Return the stop at the outlet valve of R1."""
    return next(stop for stop in option.stops if stop.valve_id == "V1")

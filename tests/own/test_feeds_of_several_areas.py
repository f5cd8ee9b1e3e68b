"""Several feeds at once, and areas with several stations: what each lets through counts (own)."""

from __future__ import annotations

from typing import Any

from netplan.network.work_section import WorkPart
from netplan.planfile.model import Plan
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.networks import build, customer, fitting, main, service, station, valve

DEAR_HOSES = {"price": {"bypass": 90000.0, "bypass_per_m": 9000.0}}


def _plan(layers: dict[str, Any]) -> Plan:
    network = build(strict=False, **layers)
    request = PlanRequest(
        network, (WorkPart("M1", 110.0, 150.0),), read_rules(None, DEAR_HOSES), weather=False
    )
    return make_plan(request).plan


def _opened(plan: Plan) -> set[tuple[str, ...]]:
    """Return which valves are opened together, option by option."""
    return {tuple(sorted(valve.valve_id for valve in option.opened_valves)) for option in plan.options}


def _two_tails(mop_mbar: float | None) -> dict[str, Any]:
    """Return a street whose work parts two tails, each beside an area of its own behind a closed valve.

    Station fault pressures: 60 mbar in the street, 58 in the east, 66 in the south. A hospital stands on each tail.
    """
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (300, 0), (420, 0), od_mm=125.0, year=2010, mop_mbar=mop_mbar),
            main("M3", (130, 0), (130, -200), od_mm=125.0, year=2010),
            main("M4", (130, -200), (130, -320), od_mm=125.0, year=2010),
        ],
        "fittings": [fitting("T1", (130, 0), "tee")],
        "services": [
            service("S1", (60, 0), (60, 8)),
            service("S2", (240, 0), (240, 8)),
            service("S3", (130, -120), (138, -120)),
            service("S4", (380, 0), (380, 8)),
            service("S5", (130, -280), (138, -280)),
        ],
        "customers": [
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (240, 8), service_id="S2", priority="hospital"),
            customer("C3", (138, -120), service_id="S3", priority="hospital"),
            customer("C4", (380, 8), service_id="S4"),
            customer("C5", (138, -280), service_id="S5"),
        ],
        "regulators": [
            station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=60.0),
            station("R2", (420, 0), outlet_mbar=30.0, max_outlet_mbar=58.0),
            station("R3", (130, -320), outlet_mbar=30.0, max_outlet_mbar=66.0),
        ],
        "valves": [valve("V1", (300, 0), "closed"), valve("V2", (130, -200), "closed")],
    }


def test_two_feeds_let_a_fault_pass_from_one_area_into_the_other() -> None:
    assert ("V1", "V2") in _opened(_plan(_two_tails(None)))
    # The street joins both areas while no stop is in: 66 mbar would come upon a main of 60.
    assert ("V1", "V2") not in _opened(_plan(_two_tails(60.0)))


def _weak_second_station(outlet_mbar: float) -> dict[str, Any]:
    """Return a street beside an area of two stations, one of them set to `outlet_mbar`."""
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (300, 0), (420, 0), od_mm=125.0, year=2010),
        ],
        "services": [service("S1", (60, 0), (60, 8)), service("S2", (240, 0), (240, 8))],
        "customers": [
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (240, 8), service_id="S2", priority="hospital"),
        ],
        "regulators": [
            station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=60.0),
            station("R2", (420, 0), outlet_mbar=30.0, max_outlet_mbar=60.0),
            station("R3", (340, 0), outlet_mbar=outlet_mbar, max_outlet_mbar=60.0),
        ],
        "valves": [valve("V1", (300, 0), "closed")],
    }


def test_the_least_set_outlet_of_an_area_counts_too() -> None:
    assert ("V1",) in _opened(_plan(_weak_second_station(27.0)))
    assert ("V1",) not in _opened(_plan(_weak_second_station(22.0)))

"""A closed valve between two areas, used as a stop, is rated for the higher fault pressure of both sides (own)."""

from __future__ import annotations

import pytest

from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, service, station, valve


@pytest.mark.parametrize("drawn", ["towards the valve", "away from it"])
@pytest.mark.parametrize(("near_mbar", "far_mbar"), [(50.0, 66.0), (66.0, 50.0)])
def test_the_higher_fault_pressure_of_both_sides_counts(
    drawn: str, near_mbar: float, far_mbar: float
) -> None:
    ends = ((0, 0), (300, 0)) if drawn == "towards the valve" else ((300, 0), (0, 0))
    network = build(
        strict=False,
        mains=[main("M1", *ends, od_mm=125.0, year=2010)],
        services=[service("S1", (40, 0), (40, 8)), service("S2", (260, 0), (260, 8))],
        customers=[customer("C1", (40, 8), service_id="S1"), customer("C2", (260, 8), service_id="S2")],
        regulators=[
            station("R1", (0, 0), max_outlet_mbar=near_mbar),
            station("R2", (300, 0), max_outlet_mbar=far_mbar),
        ],
        valves=[valve("V1", (150, 0), "closed")],
    )
    low, high = (140.0, 149.0) if drawn == "towards the valve" else (151.0, 160.0)
    plan = make_plan(PlanRequest(network, (WorkPart("M1", low, high),), default_rules(), weather=False)).plan
    at_valve = [stop for option in plan.options for stop in option.stops if stop.valve_id == "V1"]
    assert at_valve
    for stop in at_valve:
        assert stop.fault_pressure_mbar == pytest.approx(max(near_mbar, far_mbar))

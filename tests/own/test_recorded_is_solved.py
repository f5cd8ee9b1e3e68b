"""What is recorded of pipes and stations reaches the flow that a plan is judged by (own)."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, node_at, sensing_point, service, station


def _made(**layers: Any) -> PlanResult:
    """Plan 6 m of a street of three mains with a station at its west end."""
    rows: dict[str, Any] = {
        "mains": [
            main("M1", (0, 0), (100, 0), od_mm=114.3, sdr=None, wall_mm=6.0, material="steel"),
            main("M2", (100, 0), (300, 0), od_mm=125.0, year=2010),
            main("M3", (300, 0), (400, 0), od_mm=118.0, sdr=None, wall_mm=9.0, material="cast_iron"),
        ],
        "services": [service("S1", (60, 0), (60, 8)), service("S2", (380, 0), (380, 8), od_mm=63.0)],
        "customers": [
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (380, 8), service_id="S2", annual_kwh=6e5, category="business"),
        ],
        "regulators": [station("R1", (0, 0), outlet_mbar=40.0, max_outlet_mbar=60.0)],
    }
    network = build(strict=False, **(rows | layers))
    return make_plan(PlanRequest(network, (WorkPart("M2", 90.0, 96.0),), default_rules(), weather=False))


def test_each_material_has_its_roughness() -> None:
    pipes = plan_layers(_made())["pipes"]
    found = {name: set(own["roughness_mm"].round(6)) for name, own in pipes.groupby("pipe_id")}
    rough = default_rules().pipe.roughness_mm
    assert found["M1"] == {rough.steel}
    assert found["M2"] == {rough.PE}
    assert found["M3"] == {rough.iron}
    assert len({rough.steel, rough.PE, rough.iron}) == 3


def _before_mbar(made: PlanResult, at: tuple[float, float]) -> float:
    nodes = made.states[0].nodes
    found = nodes.pressure_before_mbar[nodes.node == node_at(made.network, at)]
    assert len(found) == 1
    return float(found[0])


def test_a_station_holds_its_pressure_where_it_senses() -> None:
    # 40 mbar at the sensing point, and more at the outlet, by the drop on the way there.
    made = _made(sensing_points=[sensing_point("R1", (100, 0))])
    assert _before_mbar(made, (100, 0)) == pytest.approx(40.0, abs=1e-3)
    assert _before_mbar(made, (0, 0)) > 40.02
    plain = _made()
    assert _before_mbar(plain, (0, 0)) == pytest.approx(40.0, abs=1e-3)
    assert _before_mbar(plain, (100, 0)) < 39.98


def test_a_station_gives_no_more_than_its_capacity() -> None:
    def stations(capacity_m3h: float | None) -> list[dict[str, Any]]:
        return [
            station("R1", (0, 0), outlet_mbar=40.0, max_outlet_mbar=60.0),
            station("R2", (400, 0), outlet_mbar=42.0, max_outlet_mbar=60.0, capacity_m3h=capacity_m3h),
        ]

    def given(capacity_m3h: float | None) -> list[float]:
        made = _made(regulators=stations(capacity_m3h))
        return [state.station_flows_m3h["R2"] for state in made.plan.options[0].states[:1]]

    assert min(given(None)) > 20.0
    assert max(given(20.0)) == pytest.approx(20.0, abs=0.01)


def test_a_stop_is_said_to_stand_at_its_pressure_with_all_stops_in() -> None:
    # Gas for the customer in the east passes the work; with the stops in it comes from the east.
    made = _made(
        regulators=[
            station("R1", (0, 0), outlet_mbar=40.0, max_outlet_mbar=60.0),
            station("R2", (400, 0), outlet_mbar=38.0, max_outlet_mbar=60.0),
        ]
    )
    west = next(stop for stop in made.plan.options[0].stops if stop.work_side == "to")
    assert _before_mbar(made, (100, 0)) < 39.95
    # Next to nothing is drawn west of the work.
    assert west.pressure_mbar == pytest.approx(40.0, abs=0.02)

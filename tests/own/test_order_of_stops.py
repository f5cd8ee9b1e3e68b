"""Stops go in lightest flow first, by one fixed rule (own)."""

from __future__ import annotations

from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from tests.support.networks import build, customer, fitting, main, service, station


def test_the_side_with_the_least_flow_is_stopped_first() -> None:
    # Gas comes from the west and parts at the tee: much to the east, little to the south. Stations at both ends
    # keep those sides on.
    network = build(
        strict=False,
        mains=[
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (150, 0), (150, -150), od_mm=125.0, year=2010),
        ],
        fittings=[fitting("T1", (150, 0), "tee")],
        services=[
            service("S0", (40, 0), (40, 8)),
            service("S1", (260, 0), (260, 8), od_mm=63.0),
            service("S2", (150, -110), (158, -110)),
        ],
        customers=[
            customer("C0", (40, 8), service_id="S0"),
            customer("C1", (260, 8), service_id="S1", annual_kwh=2e6, category="business"),
            customer("C2", (158, -110), service_id="S2", annual_kwh=2e5, category="business"),
        ],
        regulators=[
            station("R1", (0, 0), outlet_mbar=40.0, max_outlet_mbar=60.0),
            station("R2", (300, 0), outlet_mbar=36.0, max_outlet_mbar=60.0),
            station("R3", (150, -150), outlet_mbar=36.0, max_outlet_mbar=60.0),
        ],
    )
    request = PlanRequest(network, (WorkPart("M1", 145.0, 155.0),), default_rules(), weather=False)
    option = make_plan(request).plan.options[0]
    side = {
        stop.id: "south" if stop.main_id == "M2" else "west" if stop.work_side == "to" else "east"
        for stop in option.stops
    }
    assert sorted(side.values()) == ["east", "south", "west"]
    order = [name for state in option.states for name in side if state.after_step == f"{name} in"]
    assert [side[name] for name in order] == ["south", "east", "west"]

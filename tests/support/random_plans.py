"""Random options, complete but for their steps: nothing in them is planned, only consistent by its ids."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from netplan.planfile import model as pm
from netplan.procedure import stop_in_state

KINDS = ("bag", "squeeze", "valve")
EFFECTS = ("off", "off", "off", "kept")
CAUSES = ("isolated", "stranded", "below minimum")
PRIORITIES = ("", "", "", "", "hospital", "medical", "own code")


def conditions() -> pm.Conditions:
    """Return one working day at the design weather."""
    return pm.Conditions(
        start=None, hours=9.0, air_temp_c=-8.0, ground_temp_c=10.0, demand_total_m3h=100.0, worst_hour=""
    )


def _stop(draw: Any, number: int) -> pm.Stop:
    kind = draw(st.sampled_from(KINDS))
    barriers = 1 if kind == "valve" else draw(st.sampled_from((1, 2, 2)))
    beside_station = kind == "valve" and draw(st.integers(0, 3)) == 0
    barriers = 2 if beside_station else barriers
    roles = ["zone_vent", *["barrier", "vent"][: barriers * 2 - 1], "barrier", "gauge", "bypass"]
    size = {"zone_vent": 51.0, "barrier": 51.0 if kind == "bag" else 0.0, "vent": 25.0}
    return pm.Stop(
        id=f"S{number}",
        method=kind,
        kind=kind,
        barriers=barriers,
        main_id=f"M-{draw(st.integers(1, 4))}",
        chainage_m=draw(st.floats(0, 200)),
        valve_id=f"V{number}" if kind == "valve" else None,
        x=0.0,
        y=0.0,
        lon=0.0,
        lat=0.0,
        street=draw(st.sampled_from(("", "Mill Close"))),
        od_mm=125.0,
        wall_mm=11.4,
        bore_mm=102.2,
        pressure_mbar=draw(st.none() | st.floats(19, 70)),
        fault_pressure_mbar=75.0,
        work_side="to",
        tappings=tuple(
            pm.Tapping(role=role, chainage_m=1.0 + k, size_mm=size.get(role, 25.0))
            for k, role in enumerate(roles)
        )
        if kind != "valve"
        else (),
        shuts_in=(_station(number),) if beside_station else (),
        hole_id=""
        if kind == "valve" and draw(st.booleans())
        else draw(st.sampled_from((f"H{number}", "H1"))),
        price=1000.0,
        minutes=40.0,
        reason="",
        confidence="recorded",
    )


def _station(number: int) -> pm.StationBehind:
    return pm.StationBehind(
        station_id=f"R-{number}",
        outlet_mbar=31.0,
        fault_mbar=75.0,
        inlet_valve_id=f"VI{number}",
        inlet_counts=True,
        why="recorded",
    )


def _prepared(draw: Any, number: int, stops: tuple[pm.Stop, ...]) -> pm.PreparedFallback:
    kind = draw(st.sampled_from(KINDS))
    roles = ("zone_vent", "barrier", "vent", "barrier", "gauge", "bypass")
    size = {"barrier": 51.0 if kind == "bag" else 0.0}
    return pm.PreparedFallback(
        id=f"F{number}",
        serves=(draw(st.sampled_from(stops)).id,),
        method=kind,
        kind=kind,
        main_id=f"M-F{number}",
        chainage_m=2.0,
        valve_id=f"VF{number}" if kind == "valve" else None,
        work_side="to",
        x=0.0,
        y=0.0,
        od_mm=125.0,
        tappings=tuple(
            pm.Tapping(role=role, chainage_m=1.0 + k, size_mm=size.get(role, 25.0))
            for k, role in enumerate(roles)
        )
        if kind != "valve"
        else (),
        hole_id=f"H{50 + number}" if kind != "valve" or draw(st.booleans()) else "",
        price=1000.0,
    )


def _bypass(draw: Any, number: int) -> pm.Bypass:
    def place(main: int) -> pm.Place:
        return pm.Place(main_id=f"M-{main}", chainage_m=1.0, x=0.0, y=0.0)

    return pm.Bypass(
        id=f"B{number}",
        kind=draw(st.sampled_from(("bypass", "hose"))),
        from_=place(draw(st.integers(1, 4))),
        to=place(draw(st.integers(1, 4))),
        flow_m3h=10.0,
        bore_mm=51.0,
        parallel=draw(st.integers(1, 2)),
        length_m=60.0,
        loss_coefficient=6.0,
        drop_mbar=1.0,
        velocity_m_s=2.0,
        pressure_from_mbar=25.0,
        pressure_to_mbar=24.0,
        minimum_air_temp_c=draw(st.none() | st.just(-12.0)),
    )


def _customer(draw: Any, number: int) -> pm.AffectedCustomer:
    return pm.AffectedCustomer(
        id=f"C{number:03d}",
        address=f"{draw(st.integers(1, 30))} Mill Close",
        effect=draw(st.sampled_from(EFFECTS)),
        cause=draw(st.sampled_from(CAUSES)),
        category=draw(st.sampled_from(("household", "business"))),
        priority=draw(st.sampled_from(PRIORITIES)),
        meters=draw(st.integers(0, 14)),
    )


@st.composite
def options(draw: Any) -> pm.Option:
    """Draw an option with 1 to 6 stops, up to 3 feeds of each kind, 2 fallbacks and 30 customers."""
    stops = tuple(_stop(draw, k) for k in range(1, draw(st.integers(1, 6)) + 1))
    bypasses = tuple(_bypass(draw, k) for k in range(1, draw(st.integers(0, 3)) + 1))
    customers = tuple(_customer(draw, k) for k in range(draw(st.integers(0, 30))))
    prepared = tuple(_prepared(draw, k, stops) for k in range(1, draw(st.integers(0, 2)) + 1))
    gauges = tuple(
        pm.Gauge(
            id=f"G{k}", main_id="M-9", chainage_m=1.0, normal_mbar=25.0, warning_mbar=22.0, abort_mbar=21.0
        )
        for k in range(1, draw(st.integers(0, 3)) + 1)
    )
    points = (
        pm.PurgePoint(id="P1", main_id="M-1", chainage_m=1.0, role="feed"),
        *(
            pm.PurgePoint(id=f"P{k + 1}", main_id="M-1", chainage_m=9.0, role="vent", order=k)
            for k in range(1, draw(st.integers(1, 4)) + 1)
        ),
    )
    use = pm.FallbackUse(main_id="M-5", chainage_m=3.0, method="squeeze-off", x=0.0, y=0.0)
    return pm.Option(
        rank=1,
        burden=0.0,
        burden_parts=pm.BurdenParts(stops=0.0, interruption=0.0, feeds=0.0, gas=0.0),
        currency="EUR",
        proof=pm.Proof(optimal=True, lower_bound=0.0, gap=0.0, reason=""),
        stops=stops,
        zones=(),
        customers=customers,
        bypasses=bypasses,
        prepared_fallbacks=prepared,
        opened_valves=tuple(
            pm.OpenedValve(valve_id=f"BV{k}", flow_m3h=5.0) for k in range(draw(st.integers(0, 2)))
        ),
        pressures=pm.Pressures(
            before=pm.LeastPressure(least_mbar=24.0, at="C000"),
            after=pm.LeastPressure(least_mbar=23.0, at="C000"),
        ),
        vent=pm.Vent(
            line_content_m3=1.0,
            of_which_pressure_part_m3=0.02,
            purge_m3=1.0,
            total_m3=2.0,
            methane_kg=1.3,
            co2e_kg=36.0,
            reference="15 °C, 101.325 kPa",
        ),
        purge=pm.Purge(volumes_out=2.0, volumes_in=2.0, points=points if draw(st.booleans()) else ()),
        gauges=gauges,
        fallback=tuple(
            pm.Fallback(stop_id=stop.id, failure=failure, use=(use,), minutes=30.0, standby=("C900", "C901"))
            for stop in stops
            for failure in ("will not set", "lost during open work")
        ),
        steps=(),
        states=tuple(
            pm.State(
                after_step=stop_in_state(stop.id),
                least_mbar=22.0 + k,
                at=f"C8{k:02d}",
                station_flows_m3h={"R-1": 100.0},
            )
            for k, stop in enumerate(stops)
        ),
        warnings=(),
    )

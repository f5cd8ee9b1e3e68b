"""A small order of the work, written by hand, complete and lawful: two bag stops, a valve, a bypass.

Main M1 is worked on from 90 to 110 m. S1 (bags) stands at 80 m, S2 (bags) at 120 m, S3 is valve V3 on the
branch M2; the branch M3 ends dead at P3. The bypass B1 leads round the work and keeps C4 and C5 beyond S2.
C1 to C3 are in the zone, C6 is stranded beyond S3. Fallback F1 of S2 is prepared; it shuts B1 and moves it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cache

from netplan.planfile import model as pm
from netplan.planfile.naming import (
    METERS_OFF_STATE,
    NORMAL_STATE,
    feed_open_state,
    feed_shut_state,
    purge_state,
    stop_in_state,
    stop_out_state,
)
from netplan.procedure import with_order_items
from tests.support.order_example_steps import BAGS, OFF, OrderByHand

__all__ = ["conditions", "lawful_option"]

START = "2026-05-04T08:00"
STOPS = ("S1", "S2", "S3")
STATES = (
    NORMAL_STATE,
    feed_open_state("B1"),
    METERS_OFF_STATE,
    *(stop_in_state(stop) for stop in STOPS),
    purge_state("S1"),
    *(stop_out_state(stop) for stop in reversed(STOPS)),
    feed_shut_state("B1"),
)


def conditions() -> pm.Conditions:
    """Return the window of the example."""
    return pm.Conditions(
        start=START,
        hours=12.0,
        air_temp_c=5.0,
        ground_temp_c=10.0,
        demand_total_m3h=100.0,
    )


def _bag_stop(number: int, chainage_m: float, away: float) -> pm.Stop:
    roles = ("zone_vent", "barrier", "vent", "barrier", "gauge", "bypass")
    return pm.Stop(
        id=f"S{number}",
        method="bag-stop",
        kind="bag",
        barriers=2,
        main_id="M1",
        chainage_m=chainage_m,
        x=chainage_m,
        y=0.0,
        lon=0.0,
        lat=0.0,
        od_mm=160.0,
        wall_mm=9.5,
        bore_mm=141.0,
        pressure_mbar=24.0 + number,
        fault_pressure_mbar=75.0,
        work_side="to" if away < 0 else "from",
        tappings=tuple(
            pm.Tapping(role=role, main_id="M1", chainage_m=chainage_m + away * (k - 1), size_mm=25.0)
            for k, role in enumerate(roles)
        ),
        hole_id=f"H{number}",
        price=1000.0,
        minutes=45.0,
        reason="",
        confidence="recorded",
    )


def _valve_stop() -> pm.Stop:
    return pm.Stop(
        id="S3",
        method="valve",
        kind="valve",
        barriers=1,
        main_id="M2",
        chainage_m=10.0,
        valve_id="V3",
        x=85.0,
        y=10.0,
        lon=0.0,
        lat=0.0,
        od_mm=110.0,
        wall_mm=6.6,
        bore_mm=96.8,
        pressure_mbar=26.0,
        fault_pressure_mbar=75.0,
        work_side="from",
        tappings=(
            pm.Tapping(role="zone_vent", main_id="M2", chainage_m=9.0, size_mm=25.0),
            pm.Tapping(role="gauge", main_id="M2", chainage_m=11.0, size_mm=25.0),
        ),
        hole_id="H3",
        price=500.0,
        minutes=20.0,
        reason="",
        confidence="recorded",
    )


def _prepared() -> pm.PreparedFallback:
    roles = ("barrier", "vent", "barrier", "gauge", "bypass")
    return pm.PreparedFallback(
        id="F1",
        serves=("S2",),
        method="bag-stop",
        kind="bag",
        main_id="M1",
        chainage_m=130.0,
        work_side="from",
        x=130.0,
        y=0.0,
        od_mm=160.0,
        tappings=tuple(
            pm.Tapping(role=role, main_id="M1", chainage_m=130.0 + 0.5 * k, size_mm=25.0)
            for k, role in enumerate(roles)
        ),
        hole_id="H5",
        price=900.0,
    )


def _place(chainage_m: float) -> pm.Place:
    return pm.Place(main_id="M1", chainage_m=chainage_m, x=chainage_m, y=0.0)


def _bypass() -> pm.Bypass:
    return pm.Bypass(
        id="B1",
        from_=_place(78.0),
        to=_place(122.0),
        flow_m3h=20.0,
        bore_mm=51.0,
        parallel=1,
        length_m=50.0,
        loss_coefficient=6.0,
        drop_mbar=1.0,
        velocity_m_s=3.0,
        pressure_from_mbar=26.0,
        pressure_to_mbar=25.0,
        minimum_air_temp_c=-12.0,
        customers=2,
    )


def _fallbacks() -> Iterable[pm.Fallback]:
    use = pm.FallbackUse(main_id="M1", chainage_m=130.0, method="bag-stop", x=130.0, y=0.0, prepared_id="F1")
    for failure in ("will not set", "lost during open work"):
        yield pm.Fallback(
            stop_id="S2",
            failure=failure,
            use=(use,),
            minutes=15.0,
            standby=("C4", "C5"),
            shut=(pm.FeedShut(feed_id="B1", what="bypass", main_id="M1", chainage_m=122.0, x=122.0, y=0.0),),
            prepared=True,
            moves=(
                pm.FeedMove(
                    feed_id="B1",
                    what="bypass",
                    to=_place(132.0),
                    length_m=60.0,
                    minutes=30.0,
                    off_meanwhile=("C4", "C5"),
                ),
            ),
        )


def _customer(ident: str) -> pm.AffectedCustomer:
    off = ident in OFF
    return pm.AffectedCustomer(
        id=ident,
        address=f"{ident[1:]} Mill Close",
        effect="off" if off else "kept",
        cause="stranded" if ident in ("C4", "C5", "C6") else "isolated",
        kept_by=None if off else "B1",
        category="household",
        priority="",
        meters=1,
        relit=OFF.index(ident) + 1 if off else None,
    )


def _hole(number: int, main_id: str, chainage_m: float, *serves: tuple[str, str]) -> pm.Excavation:
    return pm.Excavation(
        id=f"H{number}",
        serves=tuple(pm.Served.model_validate({"what": what, "id": ident}) for what, ident in serves),
        main_id=main_id,
        chainage_m=chainage_m,
        x=0.0,
        y=0.0,
        lon=0.0,
        lat=0.0,
        outline=((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 0.0)),
        length_m=2.0,
        width_m=1.0,
        depth_m=1.2,
        cover_recorded=True,
        surface=("verge",),
        shoring=False,
        traffic=("none",),
        locate_first="locate utilities",
        price=0.0,
    )


def _bare() -> pm.Option:
    """Return the option without items, parts, steps and times."""
    return pm.Option(
        rank=1,
        burden=0.0,
        burden_parts=pm.BurdenParts(stops=0.0, interruption=0.0, feeds=0.0, gas=0.0),
        currency="EUR",
        proof=pm.Proof(optimal=True, lower_bound=0.0, gap=0.0, reason=""),
        stops=(_bag_stop(1, 80.0, -0.4), _bag_stop(2, 120.0, 0.4), _valve_stop()),
        zones=(pm.Zone(work=(0,), pipes=(), length_m=70.0, internal_volume_m3=1.1),),
        customers=tuple(map(_customer, ("C1", "C2", "C3", "C4", "C5", "C6"))),
        bypasses=(_bypass(),),
        opened_valves=(),
        pressures=pm.Pressures(
            before=pm.LeastPressure(least_mbar=24.0, at="C4"),
            after=pm.LeastPressure(least_mbar=23.0, at="C4"),
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
        purge=pm.Purge(
            volumes_out=2.0,
            volumes_in=2.0,
            loads=(pm.PurgeLoad(draw_m3h=40.0, stops=("S1",), nodes=(1,)),),
            points=(
                pm.PurgePoint(id="P1", main_id="M1", chainage_m=80.4, role="feed"),
                pm.PurgePoint(id="P2", main_id="M1", chainage_m=119.6, role="vent", order=1),
                pm.PurgePoint(id="P3", main_id="M3", chainage_m=20.0, role="vent", order=2),
            ),
        ),
        gauges=tuple(
            pm.Gauge(
                id=ident,
                main_id=main,
                chainage_m=chainage,
                normal_mbar=27.0,
                warning_mbar=22.0,
                abort_mbar=21.0,
            )
            for ident, main, chainage in (("G1", "M1", 78.8), ("G2", "M1", 121.2), ("G3", "M2", 11.0))
        ),
        fallback=tuple(_fallbacks()),
        steps=(),
        states=tuple(
            pm.State(after_step=name, least_mbar=24.0 - 0.1 * k, at="C4", station_flows_m3h={"R-1": 100.0})
            for k, name in enumerate(STATES)
        ),
        warnings=(),
        excavations=(
            _hole(1, "M1", 80.0, ("stop", "S1"), ("bypass", "B1")),
            _hole(2, "M1", 120.0, ("stop", "S2"), ("bypass", "B1")),
            _hole(3, "M2", 10.0, ("stop", "S3")),
            _hole(4, "M3", 20.0, ("purge point", "P3")),
            _hole(5, "M1", 130.0, ("fallback", "F1")),
            _hole(6, "M1", 100.0, ("work", "M1")),
        ),
        prepared_fallbacks=(_prepared(),),
    )


@cache
def lawful_option() -> pm.Option:
    """Return the option with its items, parts, steps, times and loss sheet; it breaks no law."""
    option = with_order_items(_bare())
    tapping = {(item.of, item.role): item.id for item in option.items if item.kind == "tapping"}
    vents = {stop: tapping[stop, "zone_vent"] for stop in STOPS}
    p3 = next(item.tapping_id for item in option.items if item.kind == "vent" and item.id == "P3")
    parts = (
        pm.ZonePart(id="Z1", role="zone", zone=0, stops=STOPS, vents=(*vents.values(), p3), volume_m3=1.1),
        pm.ZonePart(
            id="Z1.1", role="cut part", zone=0, stops=("S1", "S3"), vents=(vents["S1"], vents["S3"], p3)
        ),
        pm.ZonePart(id="Z1.2", role="cut part", zone=0, stops=("S2",), vents=(vents["S2"],)),
        *(pm.ZonePart(id=f"{bag}-space", role="space", zone=0, stops=(bag,)) for bag in BAGS),
    )
    gauge = pm.ZoneGauge(id="Z1-gauge", part_id="Z1", tapping_id=vents["S2"], main_id="M1", chainage_m=119.6)
    option = with_order_items(
        option.model_copy(update={"items": (), "parts": parts, "zone_gauges": (gauge,)})
    )
    steps = OrderByHand(option).steps()
    times = _timeline(steps)
    customers = tuple(_promised(one, times, steps) for one in option.customers)
    update = {"steps": steps, "timeline": times, "loss_sheet": tuple(_loss_sheet()), "customers": customers}
    return option.model_copy(update=update)


def _promised(
    customer: pm.AffectedCustomer, times: pm.Timeline, steps: tuple[pm.Step, ...]
) -> pm.AffectedCustomer:
    """Return a customer with the times told: off rounded down, on with a quarter more rounded up."""
    if customer.effect == "kept":
        return customer
    bars, start = {bar.n: bar for bar in times.bars}, datetime.fromisoformat(START)
    lit = next(s.n for s in steps for c in s.changes if (c.id, c.to) == (customer.id, "relit"))
    off = 30 * math.floor((times.off_from_min or 0.0) / 30)
    on = 30 * math.ceil(1.25 * bars[lit].end_min / 30)
    told = [(start + timedelta(minutes=at)).isoformat(timespec="minutes") for at in (off, on)]
    return customer.model_copy(update={"off_from": told[0], "on_by": told[1]})


def _loss_sheet() -> Iterable[pm.LossRow]:
    yield pm.LossRow(
        id="L1",
        what="both bags of S2 lost",
        items=("S2-outer", "S2-inner"),
        state="main cut",
        leave=True,
        action="shut B1 at its live end",
        act_on=("B1-from", "B1-to", "F1"),
        who="bypass crew",
        customers=("C4", "C5"),
        meters=2,
        solved=True,
    )

    yield pm.LossRow(
        id="L2",
        what="bypass B1 damaged",
        items=("B1",),
        state="main cut",
        leave=True,
        action="shut B1-from, then B1-to",
        act_on=("B1-from", "B1-to"),
        who="bypass crew",
        customers=("C4", "C5"),
        meters=2,
        solved=True,
    )


def _timeline(steps: tuple[pm.Step, ...]) -> pm.Timeline:
    """Return the steps one after another, ten minutes each; the day begins with the baseline."""
    first = next(step.n for step in steps if step.readings)
    off = [step.n for step in steps for c in step.changes if c.kind == "meter" and c.from_ == "on"]
    lit = [step.n for step in steps for c in step.changes if c.to == "relit"]
    out = [step.n for step in steps for c in step.changes if c.to == "withdrawn"]
    start = {step.n: 10.0 * (step.n - first) for step in steps}
    return pm.Timeline(
        bars=tuple(
            pm.TimelineBar(
                n=step.n,
                day="before" if step.n < first else "day" if step.n <= max(lit) else "after",
                crew=step.who,
                start_min=start[step.n],
                end_min=start[step.n] + 10.0,
            )
            for step in steps
        ),
        path_min=start[max(lit)],
        gas_back_min=start[max(out)] + 20.0,
        off_from_min=start[min(off)],
        relit_min=start[max(lit)] + 10.0,
        window_min=720.0,
        day_end_min=720.0,
        slack_min=0.0,
    )

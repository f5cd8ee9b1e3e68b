"""A complete plan on the invented hamlet, with made-up flows: input for tests of what is drawn and written.

Nothing here is planned or solved; figures only have to be plausible and all different.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from pyproj import Transformer

from netplan.network.model import Network
from netplan.network.vocabulary import Category
from netplan.planfile import model as pm
from netplan.planfile.plan_json import plan_from_json, plan_to_json
from netplan.planfile.plan_result import PlanResult
from netplan.rules import default_rules
from tests.made_up_state import MadeUp, made_up_network, made_up_state
from tests.support.hamlet import CRS, HOSTILE, HOSTILE_ID, SCALE, X0, Y0, hamlet

_LON_LAT = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def _stop(id_: str, kind: str, chainage: float, side: str, **more: object) -> pm.Stop:
    x, y = X0 + 400 + chainage * SCALE, Y0 + 100
    lon, lat = _LON_LAT.transform(x, y)
    away = 1.0 if side == "from" else -1.0
    offsets = [("zone_vent", -0.4, 51.0), ("barrier", 0.0, 51.0), ("vent", 0.6, 25.0)]
    offsets += [("barrier", 1.2, 51.0), ("gauge", 1.8, 25.0), ("bypass", 2.3, 51.0)]
    tappings = [
        pm.Tapping(role=role, chainage_m=chainage + away * d, size_mm=size)
        for role, d, size in (offsets if kind != "valve" else [])
    ]
    values: dict[str, object] = {
        "id": id_,
        "method": {"bag": "bag stop", "squeeze": "squeeze-off", "valve": "valve"}[kind],
        "kind": kind,
        "barriers": 1 if kind == "valve" else 2,
        "main_id": "M-TAIL",
        "chainage_m": chainage,
        "x": x,
        "y": y,
        "lon": lon,
        "lat": lat,
        "street": "Mill Close",
        "surface": "footway",
        "od_mm": 125.0,
        "wall_mm": 7.4,
        "bore_mm": 110.2,
        "pressure_mbar": 23.71,
        "fault_pressure_mbar": 50.0,
        "work_side": side,
        "tappings": tuple(tappings),
        "hole_id": f"H{id_[1:]}",
        "price": 1800.0,
        "minutes": 35.0,
        "reason": "nearest place towards the live side with room for the whole assembly",
        "confidence": "recorded",
    }
    return pm.Stop(**{**values, **more})


def _affected(network: Network, made: MadeUp, zone_end: float, *, bypass: bool) -> list[pm.AffectedCustomer]:
    rows, customers = [], network.customers
    for k in range(len(customers)):
        x = (customers.x_m[k] - X0 - 400.0) / SCALE
        if x <= 0 or abs(customers.y_m[k] - Y0 - 100.0) > 12:
            continue
        off = bool(np.isnan(made.customer_pressure_mbar[k]))
        rows.append(
            pm.AffectedCustomer(
                id=customers.id[k],
                address=customers.address[k],
                effect="off" if off else "kept",
                cause="isolated" if x < zone_end else "stranded",
                kept_by=None if off else "B1",
                category=Category(customers.category[k]).word,
                priority=customers.priority[k],
                meters=int(customers.meters[k]),
                pressure_mbar=None if off else float(made.customer_pressure_mbar[k]),
                off_from="2026-05-12T08:00" if off else None,
                on_by="2026-05-12T17:00" if off else None,
            )
        )
    return rows


def _bypass(zone: tuple[float, float]) -> pm.Bypass:
    def place(chainage: float) -> pm.Place:
        return pm.Place(main_id="M-TAIL", chainage_m=chainage, x=X0 + 400 + chainage * SCALE, y=Y0 + 100)

    return pm.Bypass(
        id="B1",
        from_=place(zone[0] - 2.3),
        to=place(zone[1] + 2.3),
        flow_m3h=3.1,
        bore_mm=51.0,
        parallel=1,
        length_m=68.0,
        loss_coefficient=6.0,
        drop_mbar=0.42,
        velocity_m_s=0.43,
        pressure_from_mbar=23.7,
        pressure_to_mbar=23.28,
        spare_m3h=22.0,
        minimum_air_temp_c=-14.5,
        customers=12,
        price=1920.0,
    )


def _steps() -> tuple[pm.Step, ...]:
    texts = (
        (
            "prove records by trial holes at every stop",
            ("S1", "S2"),
            True,
            None,
            "plan again from what is found",
        ),
        ("fit gauges", ("G1",), False, 23.7, "look for the fault before going on"),
        ("tap, test, purge and open bypass, prove its flow", ("B1",), True, 23.3, "do not set a stop"),
        ("set stops one by one", ("S2", "S1"), True, 23.3, "withdraw and use the fallback stop"),
        ("vent the zone and prove it gas-free", ("S1",), True, 0.0, "look for let-by"),
        ("do the work, test the new pipe before tie-in", (), True, None, "mend and test again"),
        ("purge in, equalise, withdraw stops, relight", ("S1", "S2"), True, 23.7, "keep the bypass open"),
    )
    return tuple(
        pm.Step(n=n, does=does, uses=uses, who="stop crew", hold=hold, expect_mbar=expect, if_not=if_not)
        for n, (does, uses, hold, expect, if_not) in enumerate(texts, 1)
    )


def _option(
    rank: int,
    network: Network,
    made: MadeUp,
    stops: tuple[pm.Stop, ...],
    zone: tuple[float, float],
    *,
    bypass: bool,
) -> pm.Option:
    customers = _affected(network, made, zone[1], bypass=bypass)
    standby = tuple(network.customers.id[k] for k in range(40, 43))
    parts = pm.BurdenParts(
        stops=3600.0 if bypass else 250.0,
        interruption=540.0 if bypass else 7200.0,
        feeds=1920.0 if bypass else 0.0,
        gas=3.2,
    )
    burden = parts.stops + parts.interruption + parts.feeds + parts.gas
    use = pm.FallbackUse(
        main_id="M-H1", chainage_m=391.0, method="squeeze-off", x=X0 + 391 * SCALE, y=Y0 + 100
    )
    return pm.Option(
        rank=rank,
        burden=burden,
        burden_parts=parts,
        currency="EUR",
        proof=pm.Proof(
            optimal=rank == 1, lower_bound=burden, gap=0.0, reason="next bound is above this burden"
        ),
        stops=stops,
        zones=(
            pm.Zone(
                work=(0,),
                pipes=(pm.ZonePipe(layer="mains", pipe_id="M-TAIL", from_m=zone[0], to_m=zone[1]),),
                length_m=zone[1] - zone[0],
                internal_volume_m3=0.5151,
            ),
        ),
        customers=tuple(customers),
        bypasses=(_bypass(zone),) if bypass else (),
        opened_valves=(),
        pressures=pm.Pressures(
            before=pm.LeastPressure(least_mbar=22.41, at="C0131"),
            after=pm.LeastPressure(least_mbar=22.18, at="C0131"),
        ),
        vent=pm.Vent(
            line_content_m3=0.5207,
            of_which_pressure_part_m3=0.0121,
            purge_m3=1.03,
            total_m3=1.5507,
            methane_kg=0.95,
            co2e_kg=28.3,
            reference="15 °C, 101.325 kPa",
            gwp="GWP100 29.8",
        ),
        purge=pm.Purge(
            volumes_out=2.0,
            volumes_in=2.0,
            least_velocity_m_s=0.6,
            least_flow_m3h=20.6,
            minutes_out=3.0,
            minutes_in=3.0,
            points=(
                pm.PurgePoint(id="P1", main_id="M-TAIL", chainage_m=zone[0] + 0.4, role="feed"),
                pm.PurgePoint(
                    id="P2", main_id="M-TAIL", chainage_m=zone[1] - 0.4, role="vent", stack_bore_mm=25.0
                ),
            ),
            end_points=("out: below 20 % LFL at every vent", "in: above 90 % volume gas at every vent"),
        ),
        gauges=(
            pm.Gauge(
                id="G1",
                main_id="M-H1",
                chainage_m=200.0,
                normal_mbar=24.6,
                warning_mbar=22.0,
                abort_mbar=21.0,
            ),
        ),
        fallback=(
            pm.Fallback(
                stop_id=stops[0].id, failure="will not set", use=(use,), minutes=40.0, standby=standby
            ),
            pm.Fallback(
                stop_id=stops[0].id,
                failure="lost during open work",
                use=(use,),
                minutes=15.0,
                standby=standby,
            ),
        ),
        steps=_steps(),
        states=(
            pm.State(after_step="stop S1", least_mbar=22.2, at="C0131", station_flows_m3h={"R-1": 31.4}),
        ),
        warnings=() if bypass else ("a valve is one barrier: no second barrier here",),
    )


def _plan(options: tuple[pm.Option, ...]) -> pm.Plan:
    return pm.Plan(
        caution="Planning figures only: no permit, no approved procedure, no substitute for the operator's rules.",
        network=pm.NetworkFacts(
            content_sha256="0" * 64, counts={"mains": 9, "customers": 142}, crs=CRS, length_scale=SCALE
        ),
        provenance=pm.Provenance(
            source="hamlet", versions={"gas-netplan": "0.1.0"}, created="2026-04-01T09:00:00Z"
        ),
        work=(pm.WorkItem(main_id="M-TAIL", from_m=20.0, to_m=48.0),),
        conditions=pm.Conditions(
            start="2026-05-12T08:00",
            hours=9.0,
            air_temp_c=-8.0,
            ground_temp_c=10.0,
            demand_total_m3h=31.4,
            worst_hour="2026-05-12T08:00",
        ),
        rules=default_rules().values(),
        not_checked=("relighting queue",),
        findings=(
            pm.FindingRow(
                code="height-missing",
                layer="mains",
                feature_id="M-TAIL",
                severity="note",
                what="no height recorded",
                mend="take heights from the survey",
            ),
        ),
        options=options,
    )


@cache
def hamlet_result(*, hostile: bool = False) -> PlanResult:
    """Return a plan with two options on the hamlet: bag and squeeze with a bypass, or one valve.

    With `hostile`, texts of the data are those of `HOSTILE`.
    """
    network = hamlet(hostile=hostile)
    zone_1, zone_2 = (8.0, 58.0), (3.0, network.pipes.length_m[8])
    first = made_up_network(network, zone_1, bypass=True)
    second = made_up_network(network, zone_2, bypass=False)
    options = (
        _option(
            1,
            network,
            first,
            (_stop("S1", "bag", 8.0, "to"), _stop("S2", "squeeze", 58.0, "from", confidence="provisional")),
            zone_1,
            bypass=True,
        ),
        _option(
            2,
            network,
            second,
            (_stop("S1", "valve", 3.0, "to", valve_id="V-1", price=250.0),),
            zone_2,
            bypass=False,
        ),
    )
    plan = _plan(options)
    if hostile:
        plan = _hostile_plan(plan)
    states = [made_up_state(network, *pair) for pair in zip(plan.options, (first, second), strict=True)]
    return PlanResult(plan=plan, network=network, states=tuple(states))


def _hostile_plan(plan: pm.Plan) -> pm.Plan:
    first = plan.options[0]
    nearer = pm.NotNearer(
        main_id="M-TAIL", from_m=0.0, to_m=2.0, method=HOSTILE[0], code="fitting", reason=HOSTILE[8]
    )
    stops = tuple(
        stop.model_copy(
            update={
                "reason": HOSTILE[0],
                "street": HOSTILE[7],
                "confidence_note": HOSTILE[8],
                "not_nearer": (nearer,),
            }
        )
        for stop in first.stops
    )
    steps = tuple(
        step.model_copy(update={"does": text, "if_not": text})
        for step, text in zip(first.steps, HOSTILE, strict=False)
    )
    finding = plan.findings[0].model_copy(
        update={"what": HOSTILE[8], "mend": HOSTILE[7], "feature_id": HOSTILE[2]}
    )
    first = first.model_copy(update={"stops": stops, "steps": steps, "warnings": HOSTILE})
    hostile = plan.model_copy(update={"options": (first, *plan.options[1:]), "findings": (finding,)})
    return plan_from_json(plan_to_json(hostile).replace("M-TAIL", HOSTILE_ID), "hostile plan")


def without_base(result: PlanResult) -> PlanResult:
    """Return the same result on a network that records no base map."""
    return replace(result, network=replace(result.network, base={}))

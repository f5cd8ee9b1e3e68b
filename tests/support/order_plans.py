"""The made-up plan of the hamlet with everything that the order of the work holds: items, readings, failures.

Nothing here is planned or solved; figures only have to be plausible and all different.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

from netplan.planfile import model as pm
from netplan.planfile.plan_json import plan_from_json, plan_to_json
from netplan.planfile.plan_result import PlanResult
from tests.support.plans import hamlet_result

_HOURS = (8, 11, 14)
_TEMPERATURES = (-8.0, 0.0, 8.0)
_ROLES = ("zone_vent", "barrier", "vent", "barrier", "gauge", "bypass")


def _items(option: pm.Option) -> tuple[pm.OrderItem, ...]:
    found = [pm.OrderItem(id=one, kind="place", first="planned", last="filled") for one in ("H1", "H2")]
    number = 0
    for stop in option.stops:
        for tapping in stop.tappings:
            number += 1
            found.append(
                pm.OrderItem(
                    id=f"T{number}",
                    kind="tapping",
                    of=stop.id,
                    role=tapping.role,
                    first="planned",
                    last="capped",
                    main_id="M-TAIL",
                    chainage_m=tapping.chainage_m,
                    hole_id=stop.hole_id,
                )
            )
        found += [
            pm.OrderItem(
                id=f"{stop.id}-{role}", kind="barrier", of=stop.id, role=role, first="out", last="withdrawn"
            )
            for role in ("outer", "inner")
        ]
        vent = f"{stop.id}-vent"
        found.append(
            pm.OrderItem(id=vent, kind="vent", of=stop.id, role="between", first="shut", last="shut")
        )
    found += [
        pm.OrderItem(id=one, kind="vent", of=one, role="purge", first="shut", last="shut")
        for one in ("P1", "P2")
    ]
    found.append(pm.OrderItem(id="B1", kind="feed", of="B1", first="planned", last="removed"))
    found += [
        pm.OrderItem(id=f"B1-{end}", kind="valve", of="B1", role=f"feed end {end}", first="shut", last="shut")
        for end in ("from", "to")
    ]
    found += [
        pm.OrderItem(id=one.id, kind="meter", of=one.id, role="off", first="on", last="relit")
        for one in option.customers
        if one.effect == "off"
    ]
    found.append(pm.OrderItem(id="Z1", kind="part", of="0", role="zone", first="live", last="live"))
    return tuple(found)


def _changes(rows: Iterable[tuple[str, str, str, str]]) -> tuple[pm.Change, ...]:
    return tuple(
        pm.Change.model_validate({"kind": kind, "id": id_, "from": before, "to": after})
        for kind, id_, before, after in rows
    )


def reading(gauge: str, expect: float, **more: object) -> pm.Reading:
    """Return a reading with a table over three hours and three air temperatures."""
    table = tuple(
        pm.WeatherReading(air_temp_c=air, hour=hour, expect_mbar=round(expect + 0.11 * k + 0.031 * n, 3))
        for k, air in enumerate(_TEMPERATURES)
        for n, hour in enumerate(_HOURS)
    )
    values: dict[str, object] = {
        "gauge_id": gauge,
        "expect_mbar": expect,
        "band_mbar": 0.83,
        "warning_mbar": expect - 1.31,
        "abort_mbar": expect - 2.17,
        "abort_high_mbar": 74.9,
        "by_weather": table,
        "air_temp_c": -8.0,
        "hour": 8,
    }
    return pm.Reading(**{**values, **more})


def _steps(option: pm.Option) -> tuple[pm.Step, ...]:
    tappings = tuple(item.id for item in option.items if item.kind == "tapping")
    off = tuple(item.id for item in option.items if item.kind == "meter")
    test = pm.PressureTest(what="tapping", test_mbar=350.0, minutes=5.0, medium="air")
    feed = pm.PressureTest(what="feed", test_mbar=103.0, minutes=17.0, medium="air")
    needs = tuple(pm.Need(id=one, state="drilled", kind="tapping") for one in tappings[:6])
    bags = tuple(("barrier", f"S1-{role}", "proved", "set") for role in ("outer", "inner"))
    let_by = (
        pm.LetByTest(
            name="T0",
            barriers=("S1-inner", "S2-inner"),
            is_sum=True,
            across_mbar=0.0,
            limit_mbar=0.47,
            zone_mbar=22.9,
            minutes=10.0,
        ),
        pm.LetByTest(
            name="T1",
            barriers=("S1-outer",),
            meter_at="S1-vent",
            across_mbar=23.4,
            limit_l_min=5.0,
            limit_mbar=0.5,
            resolution_l_min=1.0,
            zone_mbar=0.0,
            minutes=5.0,
        ),
        pm.LetByTest(
            name="T2",
            barriers=("S1-inner",),
            meter_at="P1",
            across_mbar=23.3,
            limit_l_min=0.5,
            resolution_l_min=0.1,
            zone_mbar=0.0,
            minutes=5.5,
        ),
    )
    rows: list[dict[str, object]] = [
        {"stage": "records proved", "who": "stop crew", "changes": _dug("H1", "H2"), "hold": True},
        {
            "stage": "tappings made",
            "who": "stop crew",
            "changes": _all(tappings, "planned", "drilled"),
            "pressure_tests": (test,),
        },
        {
            "stage": "gauges on",
            "who": "pressure watch",
            "readings": (reading("G1", 24.612),),
            "state": "normal running",
        },
        {
            "stage": "feed built and tested",
            "who": "bypass crew",
            "changes": _changes([("feed", "B1", "planned", "tested")]),
            "pressure_tests": (feed,),
        },
        {
            "stage": "feed opened",
            "who": "bypass crew",
            "manned": ("B1-from", "B1-to"),
            "changes": _changes([("valve", f"B1-{one}", "shut", "open") for one in ("from", "to")]),
            "readings": (reading("G1", 24.377),),
            "state": "B1 open",
            "hold": True,
        },
        {
            "stage": "meters off",
            "who": "meter crew",
            "changes": _changes([("meter", one, "on", "sealed") for one in off]),
            "hold": True,
        },
        {
            "stage": "stop in",
            "who": "stop crew",
            "needs": needs,
            "changes": _changes(bags),
            "readings": (reading("G1", 23.718), reading("G2", 22.904, abort_high_mbar=None)),
            "state": "S1 in",
        },
        *(
            {"stage": "let-by tested", "who": "stop crew", "let_by": one, "trench": "empty", "hold": True}
            for one in let_by
        ),
        {"stage": "gas-free", "who": "competent person", "hold": True, "trench": "empty"},
        {"stage": "work", "who": "work crew", "trench": "occupied", "hold": True},
        {"stage": "stop out", "who": "stop crew", "readings": (reading("G1", 23.951),), "state": "S1 out"},
        {"stage": "tappings sealed", "who": "stop crew", "changes": _all(tappings, "drilled", "capped")},
        {
            "stage": "relight",
            "who": "meter crew",
            "changes": _changes([("meter", one, "sealed", "relit") for one in off]),
        },
        {"stage": "reinstate", "who": "reinstatement crew", "changes": _filled("H1", "H2")},
    ]
    return tuple(
        pm.Step.model_validate(
            {
                "n": n,
                "does": f"made-up words of step {n} for {row['stage']}",
                "if_not": f"made-up way out of step {n}",
                "minutes": 5.0 + n,
                **row,
            }
        )
        for n, row in enumerate(rows, 1)
    )


def _dug(*holes: str) -> tuple[pm.Change, ...]:
    return _changes([("place", one, "planned", "dug") for one in holes])


def _filled(*holes: str) -> tuple[pm.Change, ...]:
    return _changes([("place", one, "dug", "filled") for one in holes])


def _all(tappings: Iterable[str], before: str, after: str) -> tuple[pm.Change, ...]:
    return _changes([("tapping", one, before, after) for one in tappings])


def _loss_sheet(option: pm.Option) -> tuple[pm.LossRow, ...]:
    kept = tuple(one.id for one in option.customers if one.effect == "kept")
    return (
        pm.LossRow(
            id="L1",
            what="outer bag bursts",
            items=("S1-outer",),
            state="main cut",
            leave=True,
            action="shut the spare barrier",
            act_on=("S1-vent",),
            place="Mill Close",
            main_id="M-TAIL",
            chainage_m=7.31,
            who="stop crew",
            customers=kept[:5],
            meters=6,
            flow_m3h=53.7,
            least_mbar=17.853,
            seconds=0.7,
            minutes=4.0,
            solved=True,
        ),
        pm.LossRow(
            id="L2",
            what="bypass lost",
            items=("B1",),
            state="main cut",
            leave=True,
            action="shut it, live end first",
            act_on=("B1-from", "B1-to"),
            place="H1",
            main_id="M-TAIL",
            chainage_m=5.7,
            who="bypass crew",
            customers=kept,
            meters=len(kept) + 1,
            seconds=0.4,
            minutes=5.0,
            solved=True,
            note="isolate, purge and relight all of it",
        ),
        pm.LossRow(
            id="L3",
            what="gauge at abort",
            state="before the cut",
            action="undo the last step",
            who="pressure watch",
            at_once=False,
            seconds=93.0,
            minutes=3.0,
        ),
        pm.LossRow(
            id="L4", what="gauge at abort", state="gas back in", action="isolate the doors", who="meter crew"
        ),
    )


def _timeline(steps: tuple[pm.Step, ...]) -> pm.Timeline:
    day = {"records proved": "before", "tappings made": "before", "reinstate": "after"}
    bars, start = [], 0.0
    for step in steps:
        minutes = step.minutes or 0.0
        on = day.get(step.stage, "day")
        begin = start if on == "day" else 0.0
        bars.append(
            pm.TimelineBar.model_validate(
                {
                    "n": step.n,
                    "day": on,
                    "crew": step.who,
                    "start_min": begin,
                    "end_min": begin + minutes,
                    "critical": on == "day" and step.n != 4,
                }
            )
        )
        start = begin + minutes if on == "day" else start
    return pm.Timeline(
        bars=tuple(bars),
        critical=tuple(bar.n for bar in bars if bar.critical),
        path_min=start,
        gas_back_min=start - 40.0,
        off_from_min=30.0,
        relit_min=start,
        latest_cut_min=431.0,
        latest_cut="15:11",
        window_min=540.0,
        day_end_min=720.0,
        slack_min=123.0,
    )


def complete(option: pm.Option) -> pm.Option:
    """Return an option with items, steps, readings, loss sheet and timeline of its own, all made up."""
    items = _items(option)
    ids = iter([item.id for item in items if item.kind == "tapping"])
    stops = tuple(
        stop.model_copy(
            update={"tappings": tuple(t.model_copy(update={"id": next(ids)}) for t in stop.tappings)}
        )
        for stop in option.stops
    )
    gauge = option.gauges[0]
    second = gauge.model_copy(update={"id": "G2", "customer": "C0131"})
    option = option.model_copy(update={"items": items, "stops": stops, "gauges": (gauge, second)})
    steps = _steps(option)
    part = pm.ZonePart(
        id="Z1",
        role="zone",
        zone=0,
        stops=("S1", "S2"),
        vents=("T1", "T7"),
        mains=("M-TAIL",),
        volume_m3=0.515,
    )
    return option.model_copy(
        update={
            "steps": steps,
            "parts": (part,),
            "loss_sheet": _loss_sheet(option),
            "timeline": _timeline(steps),
        }
    )


@cache
def complete_result(*, hostile: bool = False) -> PlanResult:
    """Return the hamlet's plan whose first option is complete; with `hostile` texts of the data are so."""
    result = hamlet_result(hostile=hostile)
    first = complete(result.plan.options[0])
    plan = result.plan.model_copy(update={"options": (first, *result.plan.options[1:])})
    return replace(result, plan=plan_from_json(plan_to_json(plan), "made-up plan"))

"""Plans of the hamlet with a whole order of work, made up: input for tests of the page of the work's day.

Nothing here is solved; figures are round, so that what lies between them is worked out by heart.
"""

from __future__ import annotations

from functools import cache

from netplan.planfile import model as pm
from tests.support.hamlet import HOSTILE
from tests.support.plans import hamlet_result

__all__ = ["HOURS", "TEMPS", "expect_at_node", "work_day_plan"]

TEMPS = (-8.0, 0.0, 10.0)
HOURS = (8, 9, 10, 11, 12, 13, 14, 15, 16)


def expect_at_node(temp: float, hour: int) -> float:
    """Return the made-up reading at a node of the table: linear in both, so that between nodes it is too."""
    return 22.0 + 0.1 * temp + 0.05 * (hour - 8)


def _reading(gauge: str, **more: object) -> pm.Reading:
    values: dict[str, object] = {
        "gauge_id": gauge,
        "expect_mbar": expect_at_node(-8.0, 8),
        "band_mbar": 0.5,
        "warning_mbar": 20.5,
        "abort_mbar": 20.0,
        "abort_high_mbar": 75.0,
        "air_temp_c": -8.0,
        "hour": 8,
        "by_weather": tuple(
            pm.WeatherReading(air_temp_c=temp, hour=hour, expect_mbar=expect_at_node(temp, hour))
            for temp in TEMPS
            for hour in HOURS
        ),
    }
    return pm.Reading.model_validate({**values, **more})


def _changes(kind: str, ids: tuple[str, ...], before: str, after: str) -> tuple[pm.Change, ...]:
    return tuple(pm.Change.model_validate({"id": i, "from": before, "to": after, "kind": kind}) for i in ids)


def _needs(kind: str, ids: tuple[str, ...], state: str) -> tuple[pm.Need, ...]:
    return tuple(pm.Need.model_validate({"id": i, "state": state, "kind": kind}) for i in ids)


def _steps(meters: tuple[str, ...]) -> tuple[pm.Step, ...]:
    barriers = ("S1-outer", "S1-inner", "S2-outer", "S2-inner")
    made: list[dict[str, object]] = [
        {"stage": "before the day", "does": "dig H1 and H2", "who": "stop crew", "changes": _changes("place", ("H1", "H2"), "planned", "dug")},
        {"stage": "baseline", "does": "confirm stations as planned, read the gauges before any change", "who": "pressure watch", "hold": True, "readings": (_reading("G1"),)},
        {"stage": "bypass", "does": "open bypass B1, both ends manned", "who": "bypass crew", "hold": True, "manned": ("B1-from", "B1-to"), "feed_test": pm.FeedTest(feed_id="B1", flow_m3h=35.7, drop_mbar=0.7, most_mbar=1.36, air_drop_mbar=1.2, most_air_mbar=2.2, error_mbar=0.2), "readings": (_reading("G1", band_mbar=0.3),), "changes": _changes("feed", ("B1",), "purged", "open")},
        {"stage": "meters off", "does": "turn off and seal the meters of the tally", "who": "meter crew", "hold": True, "changes": _changes("meter", meters, "on", "sealed")},
        {"stage": "stops", "does": "set the outer barrier of S1", "who": "stop crew", "hold": True, "needs": (*_needs("feed", ("B1",), "open"), *_needs("meter", meters, "sealed")), "changes": _changes("barrier", barriers, "proved", "set"), "readings": (_reading("G1"),)},
        {"stage": "let-by", "does": "test T1 at S1-outer", "who": "stop crew, competent person", "hold": True, "trench": "empty", "let_by": pm.LetByTest(name="T1", barriers=("S1-outer",), meter_at="S1-vent", across_mbar=23.0, limit_l_min=5.0, limit_mbar=0.5, resolution_l_min=1.0, minutes=5.0), "changes": _changes("barrier", barriers, "set", "accepted")},
        {"stage": "purge out", "does": "purge Z1 with air from P1 to P2", "who": "stop crew", "purge": pm.PurgePath(part_id="Z1", inlet="P1", outlet="P2", medium="air", end="below 25 % LFL twice, 10 min apart"), "readings": (_reading("Z1-gauge", expect_mbar=0.0, band_mbar=0.2, warning_mbar=None, abort_mbar=None, abort_high_mbar=50.0, air_temp_c=None, hour=None, by_weather=()),), "changes": _changes("part", ("Z1",), "live", "gas-free"), "needs": _needs("barrier", barriers, "accepted")},
        {"stage": "work", "does": "cut the main, plug both ends", "who": "work crew", "trench": "occupied", "changes": _changes("part", ("Z1.1", "Z1.2"), "live", "air"), "pressure_tests": (pm.PressureTest(what="tie-in", test_mbar=20.0, minutes=10.0, medium="air", against=("S1-inner",)),)},
        {"stage": "gas back", "does": "second tally, then gas back through P1", "who": "stop crew", "hold": True, "trench": "empty", "changes": _changes("part", ("Z1.1", "Z1.2"), "air", "gas")},
        {"stage": "relight", "does": "relight", "who": "meter crew", "changes": _changes("meter", meters, "sealed", "relit")},
    ]  # fmt: skip
    return tuple(
        pm.Step.model_validate({"n": n, "minutes": 20.0, "if_not": "undo it, plan again", **values})
        for n, values in enumerate(made, 1)
    )


def _items(meters: tuple[str, ...]) -> tuple[pm.OrderItem, ...]:
    rows = [("H1", "place", "", "planned"), ("H2", "place", "", "planned"), ("B1", "feed", "", "purged")]
    rows += [(f"{s}-{r}", "barrier", r, "proved") for s in ("S1", "S2") for r in ("outer", "inner")]
    rows += [
        ("Z1", "part", "zone", "live"),
        ("Z1.1", "part", "cut part", "live"),
        ("Z1.2", "part", "cut part", "live"),
    ]
    rows += [(id_, "meter", "off", "on") for id_ in meters]
    return tuple(
        pm.OrderItem.model_validate({"id": i, "kind": k, "role": r, "first": f}) for i, k, r, f in rows
    )


def _losses(customers: tuple[str, ...]) -> tuple[pm.LossRow, ...]:
    return (
        pm.LossRow(id="L1", what="outer barrier of S1 lost", state="before the cut", action="release S1, undo the last step", who="stop crew", meters=0, solved=True, least_mbar=21.2),
        pm.LossRow(id="L2", what="both barriers of S1 lost", items=("S1-outer", "S1-inner"), state="main cut", leave=True, action="shut bypass B1 at its live end, then at its far end", act_on=("B1-from", "B1-to"), main_id="M-TAIL", chainage_m=5.7, who="bypass crew", customers=customers, meters=len(customers), flow_m3h=71.3, least_mbar=0.0, solved=True, minutes=2.0, note="isolate the doors before gas comes back"),
        pm.LossRow(id="L3", what="station R-1 fails shut", state="gas back in", action="stop the purge", who="network control", at_once=False, seconds=90.0, meters=2, customers=customers[:2], solved=False),
    )  # fmt: skip


def _timeline(steps: tuple[pm.Step, ...]) -> pm.Timeline:
    bars = tuple(
        pm.TimelineBar(
            n=step.n,
            day="before" if step.n == 1 else "day",
            crew=step.who,
            start_min=0.0 if step.n == 1 else 20.0 * (step.n - 2),
            end_min=20.0 if step.n == 1 else 20.0 * (step.n - 1),
            critical=step.n == 8,
        )
        for step in steps
    )
    return pm.Timeline(
        bars=bars,
        critical=(8,),
        path_min=180.0,
        gas_back_min=160.0,
        off_from_min=40.0,
        relit_min=180.0,
        latest_cut_min=330.0,
        latest_cut="13:30",
        window_min=540.0,
        day_end_min=600.0,
        slack_min=420.0,
    )


@cache
def work_day_plan(*, hostile: bool = False) -> pm.Plan:
    """Return the hamlet's plan with a whole order of work in its first option, that of an old plan in its second.

    With `hostile`, texts of the data are those of `HOSTILE`.
    """
    plan = hamlet_result(hostile=hostile).plan
    first = plan.options[0]
    off = tuple(customer.id for customer in first.customers if customer.effect == "off")
    kept = tuple(customer.id for customer in first.customers if customer.effect == "kept")
    steps = _steps(off)
    losses = _losses(kept)
    if hostile:
        steps = tuple(
            s.model_copy(update={"does": t, "if_not": t, "stage": t})
            for s, t in zip(steps, HOSTILE, strict=False)
        )
        losses = tuple(
            r.model_copy(update={"what": HOSTILE[0], "action": HOSTILE[10], "note": HOSTILE[6]})
            for r in losses
        )
    changed = {
        "steps": steps,
        "items": _items(off),
        "loss_sheet": losses,
        "timeline": _timeline(steps),
    }
    return plan.model_copy(update={"options": (first.model_copy(update=changed), *plan.options[1:])})

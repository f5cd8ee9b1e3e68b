"""Excavations of plans on small streets, figures by hand (own)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

from netplan.isolation import Cut
from netplan.network.work_section import WorkPart, work_section
from netplan.planfile.model import Excavation, Option
from netplan.planning.context import PlanningContext
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.make_plan import make_plan
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.own.test_pressure_areas import plan_of, two_areas
from tests.support.networks import build, customer, main, service, station, valve

STREET = [main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010, surface="footway", depth_m=0.8)]
HOUSES: dict[str, Any] = {
    "services": [service("S1", (60, 0), (60, 8)), service("S2", (200, 0), (200, 8))],
    "customers": [customer("C1", (60, 8), service_id="S1"), customer("C2", (200, 8), service_id="S2")],
}


def plan(
    work: Iterable[tuple[str, float, float]] = (("M1", 110.0, 116.0),),
    rules: dict[str, Any] | None = None,
    **layers: Any,
) -> tuple[Option, ...]:
    """Plan a street of 300 m with a station at each end and two houses; layers may be changed."""
    rows: dict[str, Any] = {"mains": STREET, **HOUSES}
    rows["regulators"] = [station("R1", (0, 0)), station("R2", (300, 0))]
    rows.update(layers)
    network = build(strict=False, **rows)
    parts = tuple(WorkPart(*part) for part in work)
    return make_plan(PlanRequest(network, parts, read_rules(None, rules or {}), weather=False)).plan.options


def best_cut() -> tuple[PlanningContext, Cut]:
    """Return the cheapest cut of the same street."""
    network = build(
        strict=False, mains=STREET, **HOUSES, regulators=[station("R1", (0, 0)), station("R2", (300, 0))]
    )
    parts = (WorkPart("M1", 110.0, 116.0),)
    context = PlanningContext.for_request(PlanRequest(network, parts, read_rules(None)))
    return context, next(context.cuts(isolation_problem(context, work_section(network, parts))))


def serving(option: Option, what: str) -> list[Excavation]:
    return [one for one in option.excavations if any(served.what == what for served in one.serves)]


def test_stops_on_both_sides_of_short_work_and_the_work_are_one() -> None:
    option = plan()[0]
    assert [one.id for one in option.excavations] == ["H1"] == sorted({s.hole_id for s in option.stops})
    (one,) = option.excavations
    assert [served.what for served in one.serves].count("stop") == 2
    # The outermost things are the bypass tees, 2.3 m beyond barriers that lie 0.9 m beyond the work.
    assert one.length_m == pytest.approx(6.0 + 2 * (0.9 + 2.3 + 0.5), abs=0.02)
    assert one.width_m == 1.2
    assert one.depth_m == pytest.approx(0.8 + 0.125 + 0.3, abs=0.006)
    assert one.shoring
    assert one.cover_recorded
    assert one.price == 600.0 + 150.0 + 3.0 * 90.0 == option.burden_parts.excavations
    assert one.included_in == ("S1", "S2")


@pytest.mark.parametrize(("merge_m", "holes"), [(0.9, 3), (1.9, 2), (2.1, 1), (8.0, 1)])
def test_pits_eight_metres_apart_are_one_by_the_rule(merge_m: float, holes: int) -> None:
    # Two valves 8 m apart, each tapped 1 m before and beyond, and the work between them: outlines from 104.5 to
    # 107.5, 109.5 to 111.5 and 112.5 to 115.5 m, so 2 m and 1 m apart.
    rules = {"excavation": {"merge_m": merge_m, "margin_m": 0.5}}
    valves = [valve("V1", (106, 0)), valve("V2", (114, 0))]
    option = plan((("M1", 110.0, 111.0),), rules, valves=valves)[0]
    assert {stop.valve_id for stop in option.stops} == {"V1", "V2"}
    assert option.holes == len(option.excavations) == holes
    assert {stop.hole_id for stop in option.stops} == ({"H1"} if holes == 1 else {"H1", "H2"})


def test_a_valve_pays_the_pit_beside_it_by_its_surface() -> None:
    valves = [valve("V1", (80, 0)), valve("V2", (150, 0))]
    option = next(o for o in plan(valves=valves) if all(stop.valve_id for stop in o.stops))
    assert [stop.price for stop in option.stops] == [250.0 + 600.0 + 150.0] * 2
    assert [one.included_in for one in option.excavations if one.included_in] == [("S1",), ("S2",)]
    # Valves, their zone vents and gauges are dug for, and counted: each its own pit, and the work.
    assert option.holes == 3


def test_a_dead_end_takes_a_purge_point_of_its_own_and_pays_for_it() -> None:
    spur = [*STREET, main("M2", (113, 0), (113, 40), od_mm=90.0, year=2010, surface="carriageway")]
    option = plan(mains=spur)[0]
    ends = [one for one in option.excavations if any(p.what == "dead end" for p in one.prices)]
    assert [(one.main_id, one.chainage_m, one.price) for one in ends] == [("M2", 40.0, 600.0 + 500.0)]
    assert [served.what for served in ends[0].serves] == ["purge point"]
    assert option.burden_parts.excavations == 1100.0 + 600.0 + 150.0 + 3.0 * 90.0
    drilled = [step for step in option.steps if step.stage == "tappings drilled" and ends[0].id in step.uses]
    assert len(drilled) == 1


def test_a_dead_end_within_reach_of_a_paid_pit_is_free() -> None:
    spur = [*STREET, main("M2", (113, 0), (113, 5), od_mm=90.0, year=2010, surface="carriageway")]
    option = plan(mains=spur)[0]
    assert not [p for one in option.excavations for p in one.prices if p.what == "dead end"]
    assert option.burden_parts.excavations == 600.0 + 150.0 + 3.0 * 90.0
    (one,) = serving(option, "work")
    (point,) = [point for point in option.purge.points if point.main_id == "M2"]
    # It shares the hole of the stops, and is tapped all the same.
    assert one.id in {stop.hole_id for stop in option.stops}
    (tapped,) = [s for s in option.steps if s.stage == "tappings drilled" and point.id in s.uses]
    assert one.id in tapped.uses
    assert one.surface == ("footway", "carriageway")
    assert len(one.traffic) == 2


def test_a_loop_in_the_zone_takes_one_purge_point_by_its_dearest_surface() -> None:
    loop = [
        *STREET,
        main("M2", (113, 0), (113, 60), od_mm=63.0, year=2010, surface="verge"),
        main("M3", (113, 60), (143, 60), od_mm=63.0, year=2010, surface="carriageway"),
        main("M4", (143, 60), (143, 90), od_mm=63.0, year=2010, surface="verge"),
        main("M5", (143, 90), (113, 60), od_mm=63.0, year=2010, surface="verge"),
    ]
    option = plan(mains=loop)[0]
    priced = [(p.what, p.surface, p.price) for one in option.excavations for p in one.prices]
    assert ("loop", "carriageway", 1100.0) in priced
    assert option.burden_parts.excavations == sum(one.price for one in option.excavations)


def test_the_worst_inlet_is_read_at_its_meter_and_nothing_is_dug_for_it() -> None:
    option = plan(regulators=[station("R1", (0, 0)), station("R2", (300, 0), outlet_mbar=26.0)])[0]
    (gauge,) = [gauge for gauge in option.gauges if gauge.customer]
    assert gauge.customer in {"C1", "C2"}
    assert all(served.id != gauge.id for one in option.excavations for served in one.serves)
    (step,) = [step for step in option.steps if step.stage == "gauges on" and gauge.id in step.uses]
    assert f"the meter of customer {gauge.customer}" in step.does
    assert {g.id for g in option.gauges if not g.customer} == {
        served.id for one in option.excavations for served in one.serves if served.what == "gauge"
    }


def test_parts_of_the_work_near_each_other_pay_for_one_excavation() -> None:
    near = plan((("M1", 110.0, 112.0), ("M1", 114.0, 116.0)))[0]
    far = plan((("M1", 110.0, 112.0), ("M1", 130.0, 132.0)))[0]
    assert near.burden_parts.excavations == 600.0 + 150.0 + (4.0 - 3.0) * 90.0
    assert far.burden_parts.excavations == 2 * (600.0 + 150.0)


def test_no_excavation_is_priced_by_rules_of_before_there_were_any() -> None:
    rules = {"excavation": {"price": 0.0, "price_per_m": 0.0, "price_surface": {"footway": 0.0}}}
    option = plan(rules=rules, valves=[valve("V1", (80, 0)), valve("V2", (150, 0))])[0]
    assert option.burden_parts.excavations == 0.0
    assert option.holes


def test_every_excavation_is_located_dug_and_reinstated_once() -> None:
    spur = [*STREET, main("M2", (113, 0), (113, 40), od_mm=90.0, year=2010, surface="carriageway")]
    option = plan(mains=spur)[0]
    assert len(option.excavations) >= 2
    for one in option.excavations:
        (step,) = [s for s in option.steps if s.stage == "records proved" and one.id in s.uses]
        assert one.locate_first in step.does
        assert all(line in step.does for line in one.traffic)
        assert ("Shore it" in step.does) == one.shoring
        assert any(one.id in s.uses for s in option.steps if s.stage == "reinstate")


def test_a_hose_tee_away_from_every_stop_is_paid_in_the_feed() -> None:
    layers = two_areas(31.0, 58.0, link="gap", mop_mbar=60.0, far_mop_mbar=60.0)
    dear = {"price": {"bypass_per_m": 9000.0}}
    found = [
        (option, bypass)
        for option in plan_of(layers, rules=dear).options
        for bypass in option.bypasses
        if bypass.kind == "hose"
    ]
    assert found
    for option, hose in found:
        own = [
            one
            for one in serving(option, "hose")
            if hose.id in one.included_in and not {"stop", "work"} & {served.what for served in one.serves}
        ]
        # One excavation for both tees, which are seven metres apart: each is paid all the same.
        assert len(own) in (1, 2)
        pits = sum(600.0 + {"unknown": 200.0, "verge": 0.0}[one.surface[0]] for one in own)
        assert hose.tees_price == pits * 2 / len(own)
        assert all(one.price == 0.0 for one in own)
        price = 900.0 + 25.0 * hose.length_m
        assert hose.price == pytest.approx(hose.parallel * price + hose.tees_price, abs=0.03)


@pytest.mark.parametrize(("at_m", "price_minor"), [(122.0, 0), (129.5, 75_000), (102.0, 0), (50.0, 75_000)])
def test_a_tee_near_a_pit_is_free(at_m: float, price_minor: int) -> None:
    # Stops and work lie between 106.3 and 119.7 m; half a metre belongs to the tee, and 5 m more are one.
    context, cut = best_cut()
    assert excavations_of_cut(context, cut).tee_minor(0, at_m) == price_minor

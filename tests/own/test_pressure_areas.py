"""Feeds join only areas of compatible pressure, and ratings hold for what arrives with the feeds in (own).

The towns are invented. What may arrive where is walked here over the raw rows with networkx, and shares nothing
with the program.
"""

from __future__ import annotations

from typing import Any

import networkx as nx
import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Plan
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, service, station, valve

WEST_FAULT_MBAR, RATING_MBAR = 60.0, {"bag stop": 69.0, "squeeze-off": 4000.0, "valve": 4000.0}


def two_areas(
    outlet_mbar: float,
    fault_mbar: float | None,
    *,
    link: str,
    mop_mbar: float | None = None,
    far_mop_mbar: float | None = None,
) -> dict[str, Any]:
    """Return a street fed from the west, which the work cuts off from a hospital, beside another area.

    The other area begins behind a closed boundary valve at the street's east end (`link` "valve"), or six metres
    beyond a cap ("gap"). Houses hang on its mains.
    """
    east = (300.0, 0.0) if link == "valve" else (306.0, 0.0)
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010, mop_mbar=mop_mbar),
            main("M2", east, (420, 0), od_mm=125.0, year=2010, mop_mbar=far_mop_mbar),
        ],
        "services": [service(f"S{k}", (x, 0), (x, 8)) for k, x in enumerate((60, 200, 240, 260, 380), 1)],
        "customers": [
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (200, 8), service_id="S2", priority="hospital"),
            customer("C3", (240, 8), service_id="S3"),
            customer("C4", (260, 8), service_id="S4"),
            customer("C5", (380, 8), service_id="S5"),
        ],
        "regulators": [
            station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=WEST_FAULT_MBAR),
            station("R2", (420, 0), outlet_mbar=outlet_mbar, max_outlet_mbar=fault_mbar),
        ],
        "valves": [valve("V1", (300, 0), "closed")] if link == "valve" else [],
    }


NO_BYPASS = {"price": {"bypass": 90000.0, "bypass_per_m": 9000.0}}
"""A bypass across the work is dear, so that any other feed wins where it is allowed."""


def plan_of(layers: dict[str, Any], rules: dict[str, Any] | None = None) -> Plan:
    network = build(strict=False, **layers)
    request = PlanRequest(network, (WorkPart("M1", 110.0, 116.0),), read_rules(None, rules or NO_BYPASS))
    return make_plan(request).plan


def side_of(place: Any) -> str:
    """Return on which main and side of the work a bypass is tapped in."""
    if place.main_id == "M2":
        return "M2"
    return "M1 west" if place.chainage_m < 113 else "M1 east"


def reached_by(layers: dict[str, Any], option: Any, *, stopped: bool) -> dict[str, set[str]]:
    """Return which stations reach each main's west and east side of the work, feeds in."""
    graph: nx.Graph[str] = nx.Graph([("R1", "M1 west"), ("R2", "M2")])
    graph.add_node("M1 east")
    if not stopped:
        graph.add_edge("M1 west", "M1 east")
    for bypass in option.bypasses:
        graph.add_edge(side_of(bypass.from_), side_of(bypass.to))
    if option.opened_valves:
        graph.add_edge("M1 east", "M2")
    return {
        side: {name for name in ("R1", "R2") if nx.has_path(graph, name, side)}
        for side in ("M1 west", "M1 east", "M2")
    }


def crosses(plan: Plan) -> bool:
    """Whether some option takes gas from the other area."""
    return any(
        option.opened_valves or any(b.from_.main_id == "M2" or b.to.main_id == "M2" for b in option.bypasses)
        for option in plan.options
    )


@pytest.mark.parametrize("link", ["valve", "gap"])
@pytest.mark.parametrize(
    ("outlet_mbar", "fault_mbar"),
    [(75.0, 100.0), (45.0, 60.0), (30.0, 100.0), (30.0, None)],
    ids=["75 beside 30", "45 beside 30", "equal outlets, fault 100", "equal outlets, fault unknown"],
)
def test_no_feed_from_an_area_that_may_bring_more(
    link: str, outlet_mbar: float, fault_mbar: float | None
) -> None:
    layers = two_areas(outlet_mbar, fault_mbar, link=link, mop_mbar=60.0, far_mop_mbar=100.0)
    plan = plan_of(layers)
    assert plan.options
    assert not crosses(plan)


@pytest.mark.parametrize("link", ["valve", "gap"])
def test_a_feed_from_an_equal_area_is_taken(link: str) -> None:
    layers = two_areas(31.0, 58.0, link=link, mop_mbar=60.0, far_mop_mbar=60.0)
    assert crosses(plan_of(layers))


def test_the_feed_must_not_bring_too_much_upon_the_giving_area() -> None:
    # Before any stop is in, the open feed lets the west station's fault pressure into the east.
    assert crosses(plan_of(two_areas(30.0, 50.0, link="valve", far_mop_mbar=60.0)))
    assert not crosses(plan_of(two_areas(30.0, 50.0, link="valve", far_mop_mbar=55.0)))


def test_a_meter_limit_in_a_fault() -> None:
    layers = two_areas(30.0, 66.0, link="valve")
    assert crosses(plan_of(layers))
    assert not crosses(plan_of(layers, {**NO_BYPASS, "pressure": {"fault_maximum_mbar": 65.0}}))


@pytest.mark.parametrize("fault_mbar", [66.0, 72.0, 95.0])
@pytest.mark.parametrize("link", ["valve", "gap"])
def test_stops_are_rated_for_what_arrives_with_the_feeds_in(link: str, fault_mbar: float) -> None:
    layers = two_areas(30.0, fault_mbar, link=link)
    plan = plan_of(layers)
    assert plan.options
    for option in plan.options:
        before = reached_by(layers, option, stopped=False)
        worst = {"R1": WEST_FAULT_MBAR, "R2": fault_mbar}
        for stop in option.stops:
            side = "M1 west" if stop.work_side == "to" else "M1 east"
            arrives = max(worst[name] for name in before[side])
            assert stop.fault_pressure_mbar == pytest.approx(arrives)
            assert arrives <= RATING_MBAR[stop.method]
            assert f"fault pressure {arrives:g} mbar" in stop.reason or stop.kind == "valve"
    if fault_mbar <= 69.0:
        assert crosses(plan)


@pytest.mark.parametrize("link", ["valve", "gap"])
def test_a_fallback_is_rated_for_what_arrives_with_the_feeds_in(link: str) -> None:
    layers = two_areas(30.0, 72.0, link=link)
    worst = {"R1": WEST_FAULT_MBAR, "R2": 72.0}
    plan, above_a_bag = plan_of(layers), 0
    assert crosses(plan)
    for option in plan.options:
        before = reached_by(layers, option, stopped=False)
        for use in (use for fallback in option.fallback for use in fallback.use):
            arrives = max(worst[name] for name in before[side_of(use)])
            assert arrives <= RATING_MBAR[use.method]
            above_a_bag += arrives > RATING_MBAR["bag stop"]
    assert above_a_bag


@pytest.mark.parametrize("link", ["valve", "gap"])
def test_the_reason_names_what_may_not_be_joined(link: str) -> None:
    layers = two_areas(75.0, 100.0, link=link)
    rules = {"bypass": {"bores_mm": [1.0]}}
    with pytest.raises(NoPlanError) as caught:
        plan_of(layers, rules)
    words = " ".join(caught.value.reasons)
    assert "30 and 75 mbar" in words
    assert "pressure.outlet_difference_mbar" in words


def test_no_inlet_above_the_highest_allowed_in_any_state() -> None:
    layers = two_areas(33.0, 58.0, link="valve")
    assert crosses(plan_of(layers, {**NO_BYPASS, "pressure": {"maximum_mbar": 33.5}}))
    # C3 and C4 lie at 30 mbar before any stop; with the valve open they would see 33.
    plan = plan_of(layers, {**NO_BYPASS, "pressure": {"maximum_mbar": 31.0}})
    assert not crosses(plan)
    assert plan.options[0].pressures.high_before == ("C5",)

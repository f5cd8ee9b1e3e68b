"""What a zone falls into at the cut, and what vents each part: on a street counted by hand and on real plans."""

from __future__ import annotations

import math
from functools import cache

import pytest

from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, ZonePart
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.procedure import Stage
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, service, station
from tests.support.order_plans_made import made_option, states_through

NAMES = ("stops of all kinds", "two valves", "squeeze alone", "two sections")


@cache
def _street(*works: tuple[str, float, float], branch_m: float = 30.0) -> Option:
    """Return the plan of a dead-end street, 63 mm, with a branch at 100 m; works by main and chainages."""
    at = (20.0, 70.0, 115.0, 150.0)
    network = build(
        mains=[
            main("M1", (0, 0), (180, 0), od_mm=63.0, year=2010),
            main("M2", (100, 0), (100, branch_m), od_mm=63.0, year=2010),
        ],
        services=[service(f"S{x:.0f}", (x, 0), (x, -8)) for x in at],
        customers=[customer(f"C{x:.0f}", (x, -8), service_id=f"S{x:.0f}") for x in at],
        regulators=[station("R1", (0, 0))],
    )
    parts = tuple(WorkPart(*one) for one in works)
    return make_plan(PlanRequest(network, parts, default_rules(), weather=False, options=1)).plan.options[0]


def _parts(option: Option, role: str) -> list[ZonePart]:
    return [part for part in option.parts if part.role == role]


def test_a_street_cut_before_its_branch_falls_into_what_lies_before_and_behind() -> None:
    option = _street(("M1", 60.0, 64.0))
    (stop,) = option.stops
    (zone,) = _parts(option, "zone")
    near, far = _parts(option, "cut part")
    assert (near.id, far.id) == ("Z1.1", "Z1.2")
    assert (near.stops, far.stops) == ((stop.id,), ())
    assert (near.mains, far.mains) == (("M1",), ("M1", "M2"))
    assert near.services == ()
    assert far.services == ("S115", "S150", "S70")
    assert {(end.main_id, end.chainage_m) for end in far.ends} == {("M1", 180.0), ("M2", 30.0)}
    assert near.ends == ()
    # Of what is cut out nothing is in a part: the rest of the zone is.
    main_area = math.pi / 4 * (stop.bore_mm / 1000.0) ** 2
    cut_out = 4.0 * main_area
    assert zone.volume_m3 is not None
    assert near.volume_m3 is not None
    assert far.volume_m3 is not None
    assert zone.volume_m3 == pytest.approx(near.volume_m3 + far.volume_m3 + cut_out, abs=2e-3)
    assert near.volume_m3 == pytest.approx((60.0 - stop.chainage_m) * main_area, abs=1e-3)


def test_a_junction_in_the_midst_of_the_work_parts_what_hung_on_it() -> None:
    option = _street(("M1", 98.0, 102.0))
    cut = _parts(option, "cut part")
    assert sorted(part.mains for part in cut) == [("M1",), ("M1",), ("M2",)]
    (branch,) = [part for part in cut if part.mains == ("M2",)]
    assert [(end.main_id, end.chainage_m) for end in branch.ends] == [("M2", 30.0)]


def test_a_part_between_two_cuts_gets_a_vent_beside_the_work_in_its_excavation() -> None:
    option = _street(("M1", 60.0, 64.0), ("M1", 84.0, 88.0))
    (middle,) = [p for p in _parts(option, "cut part") if not p.stops and not p.ends]
    assert middle.mains == ("M1",)
    (point,) = [one for one in option.purge.points if one.role == "cut part"]
    assert 64.0 < point.chainage_m < 84.0
    assert min(point.chainage_m - 64.0, 84.0 - point.chainage_m) == pytest.approx(0.5)
    tapping = next(i for i in option.items if i.kind == "tapping" and i.id in middle.vents)
    assert (tapping.of, tapping.main_id, tapping.chainage_m) == (point.id, "M1", point.chainage_m)
    hole = next(one for one in option.excavations if one.id == tapping.hole_id)
    assert any(served.what == "work" for served in hole.serves)
    assert any((served.what, served.id) == ("purge point", point.id) for served in hole.serves)


@pytest.mark.parametrize("name", NAMES)
def test_every_cut_part_keeps_an_open_vent_and_every_end_has_a_purge_point(name: str) -> None:
    option = made_option(name)
    parts = _parts(option, "cut part")
    assert len(parts) >= 2
    vents = {i.id: i.tapping_id for i in option.items if i.kind == "vent"}
    worked = 0
    for step, before, _ in states_through(option):
        if step.stage not in (Stage.WORK, Stage.TIE_IN):
            continue
        worked += 1
        open_at = {tapping for vent, tapping in vents.items() if before["vent", vent] == "open"}
        for part in parts:
            assert open_at & set(part.vents), part.id
    assert worked == 2
    points = {point.id for point in option.purge.points}
    for part in option.parts:
        assert all(end.purge_point in points for end in part.ends)


@pytest.mark.parametrize("name", NAMES)
def test_the_gauge_of_a_zone_stands_on_one_of_its_vents(name: str) -> None:
    option = made_option(name)
    zones = {part.id: part for part in _parts(option, "zone")}
    assert {gauge.part_id for gauge in option.zone_gauges} == set(zones)
    for gauge in option.zone_gauges:
        assert gauge.tapping_id in zones[gauge.part_id].vents
        tapping = next(i for i in option.items if i.kind == "tapping" and i.id == gauge.tapping_id)
        assert (tapping.role, tapping.main_id) == ("zone_vent", gauge.main_id)


def test_spaces_lie_between_the_barriers_of_double_stops_and_tails_hang_on_their_feed() -> None:
    option = made_option("stops of all kinds")
    doubles = {stop.id: stop for stop in option.stops if stop.barriers == 2}
    spaces = {part.stops[0]: part for part in _parts(option, "space")}
    assert spaces.keys() == doubles.keys()
    for ident, stop in doubles.items():
        at = [tap.chainage_m for tap in stop.tappings if tap.role == "barrier"]
        area = math.pi / 4 * (stop.bore_mm / 1000.0) ** 2
        assert spaces[ident].volume_m3 == pytest.approx((max(at) - min(at)) * area, abs=1e-3)
    (tail,) = _parts(option, "tail")
    assert tail.id == f"tail-{option.bypasses[0].id}"
    assert tail.stops
    kept = [one for one in option.customers if one.effect == "kept"]
    assert len(tail.services) >= len(kept) > 0

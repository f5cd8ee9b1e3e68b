"""Outlets by outside diameter: what a stop, a bypass and a purge are tapped through, and what that refuses."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from netplan.core.errors import BadInputError, BadRulesError, NoPlanError
from netplan.feeds import Feed, FeedKind, sizes_in_order
from netplan.feeds.feed_sizing import tees_fit
from netplan.gas.purge_equipment import fitting_bores_m
from netplan.isolation import Cut, CutTapping, IsolationProblem, Orders, cuts
from netplan.isolation.valve_tappings import with_valve_tappings
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, work_section
from netplan.planfile.model import Option
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.procedure import step_list
from netplan.reference.outlet_sizes import nominal_outlet_mm, widest_outlet_mm
from netplan.rules import Rules, checked_rules, default_rules, read_rules
from netplan.rules.outlets_by_diameter import bypass_outlet_mm, no_outlet_words, tapping_mm
from tests.support.networks import build, customer, fitting, keep_out, main, service, station, valve
from tests.support.outlets import OUTLETS, outlet_mm


def outlets(**changes: Any) -> list[dict[str, Any]]:
    """Return the shipped table of outlets with the row that holds 90 mm changed."""
    rows = default_rules().model_dump(mode="json")["outlet"]
    return [{**row, **changes} if row["od_min_mm"] <= 90.0 <= row["od_max_mm"] else row for row in rows]


def bag_from_63() -> list[dict[str, Any]]:
    """Return the shipped methods, the bag stop from 63 mm on."""
    bag, *others = default_rules().model_dump(mode="json")["method"]
    return [{**bag, "od_min_mm": 63.0}, *others]


def street(od_mm: float = 63.0, **more: Any) -> dict[str, Any]:
    """Return a street of one main fed from its one end, with a tail beyond the work."""
    at = (30, 60, 90, 150, 180)
    return {
        "mains": [main("M1", (0, 0), (200, 0), od_mm=od_mm, year=2010)],
        "services": [service(f"S{x}", (x, 0), (x, 8)) for x in at],
        "customers": [customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in at],
        "regulators": [station("R1", (0, 0))],
        **more,
    }


def search(network: Network, part: tuple[str, float, float], rules: Rules, **more: Any) -> Any:
    section = work_section(network, [WorkPart(*part)])
    return cuts(IsolationProblem(network, section, rules, 9.0, 800.0, **more))


def first(layers: dict[str, Any], part: tuple[str, float, float], **more: Any) -> Cut:
    cut: Cut = next(search(build(**layers), part, more.pop("rules", default_rules()), **more))
    return cut


def planned(layers: dict[str, Any], part: tuple[str, float, float], **more: Any) -> tuple[Option, ...]:
    rules = more.pop("rules", default_rules())
    request = PlanRequest(build(**layers), (WorkPart(*part),), rules, weather=False, **more)
    return make_plan(request).plan.options


# --- sizes -------------------------------------------------------------------------------------------------


def test_sizes_compare_by_the_name_they_go_by() -> None:
    for bore, nominal in ((25.0, 25), (25.4, 25), (38.0, 40), (51.0, 50), (50.8, 50), (63.0, 65), (63.5, 65)):
        assert nominal_outlet_mm(bore) == nominal
    for bore, nominal in ((76.0, 80), (102.0, 100), (101.6, 100), (53.0, 65), (0.0, 0), (400.0, 400)):
        assert nominal_outlet_mm(bore) == nominal
    # A limit lets through what is not wider: 53 mm holds 2 in, not 2 1/2 in.
    assert [widest_outlet_mm(limit) for limit in (53.0, 51.0, 50.0, 10.0)] == [50.0, 50.0, 50.0, 0.0]


def test_the_shipped_table_is_that_of_the_checks() -> None:
    table = [
        tuple(float(value) for value in outlet.model_dump().values()) for outlet in default_rules().outlet
    ]
    assert table == [tuple(float(value) for value in row) for row in OUTLETS]
    rules = default_rules()
    for method, od in itertools.product(rules.method, (32.0, 63.0, 90.0, 110.0, 180.0, 250.0, 315.0, 75.0)):
        for role in ("zone_vent", "barrier", "vent", "gauge", "bypass"):
            assert tapping_mm(rules, method, role, od) == outlet_mm(role, method.kind.value, od)


def test_what_the_operator_holds_limits_the_outlet_of_a_bypass() -> None:
    rules = read_rules(None, {"bypass": {"tapping_bore_mm": 51.0}})
    assert [bypass_outlet_mm(rules, od) for od in (63.0, 110.0, 250.0)] == [25.0, 50.0, 50.0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("gauge_mm = 45", "45 mm is no nominal size"),
        ("od_min_mm = 130", "od_min_mm is above od_max_mm"),
        ("od_max_mm = 300", "not in order or overlap"),
    ],
)
def test_a_wrong_table_of_outlets_is_one_line(text: str, says: str, tmp_path: Path) -> None:
    sizes: dict[str, Any] = {"od_min_mm": 100, "od_max_mm": 120, "gauge_mm": 25, "vent_mm": 25}
    sizes |= {"zone_vent_mm": '"2 in"', "bypass_mm": 51, "bag_mm": 50}
    key, value = text.split(" = ")
    rows = [{**sizes, key: value}, {**sizes, "od_min_mm": 200, "od_max_mm": 220}]
    lines = ["[[outlet]]\n" + "\n".join(f"{name} = {one}" for name, one in row.items()) for row in rows]
    path = tmp_path / "rules.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(BadRulesError, match=says) as caught:
        read_rules(path)
    assert "\n" not in str(caught.value)


def test_sizes_in_an_assembly_are_refused_with_what_to_write_instead(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(
        '[[method]]\nname = "bag"\nkind = "bag"\nmaterials = ["PE100"]\nod_min_mm = 110\nod_max_mm = 315\n'
        "rating_mbar = 69\nbarriers = 1\nprice = 1\nminutes = 5\nminutes_fast = 2\n"
        'assembly = [{ role = "barrier", offset_m = 0, size_mm = 51 }]\n',
        encoding="utf-8",
    )
    with pytest.raises(
        BadRulesError, match=r"size_mm is not read; write the size into \[\[outlet\]\]"
    ) as caught:
        read_rules(path)
    assert "\n" not in str(caught.value)


def test_rules_of_an_old_plan_are_read_without_the_table() -> None:
    values = default_rules().values()
    del values["outlet"]
    for method in values["method"]:
        method["assembly"] = [] if method["kind"] == "valve" else method["assembly"]
        for part in method["assembly"]:
            part["size_mm"] = 51.0
    assert checked_rules(values, "plan.json: rules").outlet == default_rules().outlet


# --- stops -------------------------------------------------------------------------------------------------


def test_a_63_mm_main_gets_no_tee_of_51_mm() -> None:
    stops = first(street(63.0), ("M1", 110, 120)).stops
    assert len(stops) == 1
    for stop in stops:
        sizes = {tapping.role: tapping.size_mm for tapping in stop.tappings}
        assert sizes == {"zone_vent": 25.0, "barrier": 0.0, "vent": 20.0, "gauge": 20.0, "bypass": 25.0}


def test_no_outlet_for_a_bag_refuses_it_with_its_reason() -> None:
    rules = read_rules(None, {"method": bag_from_63()})
    network = build(**street(90.0))
    found = search(network, ("M1", 110, 120), rules)
    cut = next(found)
    assert {stop.kind for stop in cut.stops} == {"squeeze"}
    (near, *_) = found.not_nearer(cut)
    (words,) = {row.words for row in near if row.method == "bag stop" and row.code == "no-outlet"}
    assert words == ("no outlet for a bag on 90 mm: the rules' table of outlets gives none from 71 to 100 mm")
    # The same main with an outlet for one takes it.
    fitting_one = read_rules(None, {"method": bag_from_63(), "outlet": outlets(bag_mm=50.0)})
    assert {stop.kind for stop in next(search(network, ("M1", 110, 120), fitting_one)).stops} == {"bag"}


def test_a_gap_in_the_table_refuses_every_method_and_says_so() -> None:
    rows = [row for row in outlets() if not row["od_min_mm"] <= 90.0 <= row["od_max_mm"]]
    rules = read_rules(None, {"outlet": rows})
    with pytest.raises(NoPlanError, match="no outlet on 90 mm") as caught:
        next(search(build(**street(90.0)), ("M1", 110, 120), rules))
    assert "an outlet for this size" in " ".join(caught.value.reasons)
    (bag, squeeze, at_valve) = rules.method
    assert all(no_outlet_words(rules, method, 90.0) for method in (bag, squeeze, at_valve))


def test_a_stop_stands_without_a_bypass_tee_but_gives_no_bypass() -> None:
    none = read_rules(None, {"outlet": outlets(bypass_mm=0.0), "bypass": {"from_other_mains": False}})
    some = read_rules(None, {"outlet": outlets(), "bypass": {"from_other_mains": False}})
    fed, unfed = (planned(street(90.0), ("M1", 110, 120), rules=rules) for rules in (some, none))
    assert any(option.bypasses for option in fed)
    assert not any(option.bypasses for option in unfed)
    assert all(tap.role != "bypass" for option in unfed for stop in option.stops for tap in stop.tappings)


# --- bypasses ------------------------------------------------------------------------------------------------


def test_no_bypass_is_wider_than_the_tee_at_either_end() -> None:
    layers = street(180.0)
    layers["mains"] = [
        main("M1", (0, 0), (112, 0), od_mm=180.0, year=2010),
        main("M2", (112, 0), (200, 0), od_mm=63.0, year=2010),
    ]
    layers["customers"][3]["priority"] = "hospital"
    options = planned(layers, ("M1", 100, 110))
    bypasses = [bypass for option in options for bypass in option.bypasses if bypass.to.main_id == "M2"]
    assert bypasses
    for bypass in bypasses:
        assert (bypass.outlet_from_mm, bypass.outlet_to_mm) == (80.0, 25.0)
        assert bypass.bore_mm == 25.0
        assert bypass.loss_coefficient == pytest.approx(6.0)


def test_each_hose_of_a_bypass_has_a_tee_of_its_own() -> None:
    layers = street(63.0, customers=[])
    layers["customers"] = [
        customer(f"C{x}", (x, 8), service_id=f"S{x}", annual_kwh=None, peak_kw=kw)
        for x, kw in ((30, 5.0), (60, 5.0), (90, 5.0), (150, 100.0), (180, 100.0))
    ]
    rules = read_rules(None, {"bypass": {"bores_mm": [25.0], "parallel_max": 3}})
    options = planned(layers, ("M1", 110, 120), rules=rules)
    several = [option for option in options for bypass in option.bypasses if bypass.parallel > 1]
    assert several
    for option in several:
        (bypass,) = option.bypasses
        assert bypass.parallel <= (bypass.most_parallel or 0)
        tees = [tap.count for stop in option.stops for tap in stop.tappings if tap.role == "bypass"]
        assert tees == [bypass.parallel] * 2


def test_two_bypasses_need_room_for_two_tees_at_one_stop() -> None:
    giving, fed = 1, (2, 3)
    feeds = [
        Feed(FeedKind.BYPASS, f"S1>S{k}", giving, node, 10.0, outlets_mm=(50.0, 50.0), tees=(most, 1))
        for k, node, most in ((2, fed[0], 1), (3, fed[1], 1))
    ]
    wide = [replace(feed, tees=(2, 1)) for feed in feeds]
    assert [tees_fit([(feed, 1) for feed in some]) for some in (feeds, wide, feeds[:1])] == [
        False,
        True,
        True,
    ]
    assert not tees_fit([(wide[0], 2)])


def test_a_hose_that_no_outlet_takes_is_refused_in_one_line() -> None:
    feed = Feed(FeedKind.BYPASS, "B1", 0, 1, 10.0, outlets_mm=(25.0, 80.0))
    assert [size.bore_m for size in sizes_in_order(feed, default_rules(), 1)] == [0.025]
    with pytest.raises(BadInputError, match=r"no bore of bypass\.bores_mm goes through its outlets of 25 mm"):
        list(sizes_in_order(feed, read_rules(None, {"bypass": {"bores_mm": [51.0]}})))


# --- valves and purging -----------------------------------------------------------------------------------


def with_valve(at_m: float = 90.0, **more: Any) -> dict[str, Any]:
    """Return a street with a valve before the work, no service near it."""
    at = (30, 60, 150, 180)
    return street(
        110.0,
        services=[service(f"S{x}", (x, 0), (x, 8)) for x in at],
        customers=[customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in at],
        valves=[valve("V1", (at_m, 0))],
        **more,
    )


def test_a_valve_is_tapped_on_both_sides_and_purged_there() -> None:
    options = planned(with_valve(), ("M1", 110, 120))
    option = next(option for option in options if any(stop.valve_id for stop in option.stops))
    (stop,) = (stop for stop in option.stops if stop.valve_id == "V1")
    taps = {tap.role: (tap.chainage_m, tap.size_mm, tap.offset_m) for tap in stop.tappings}
    # Gas for the purge is taken from an outlet of its own, a clearance beyond that of the gauge.
    assert taps == {
        "zone_vent": (91.0, 50.0, -1.0),
        "gauge": (89.0, 25.0, 1.0),
        "purge_in": (88.5, 50.0, 1.5),
    }
    # What is let in goes through the zone vent, and the pressure is read at the gauge: not at the valve itself.
    points = {(point.main_id, point.chainage_m) for point in option.purge.points}
    assert ("M1", 91.0) in points
    assert ("M1", 90.0) not in points
    assert ("M1", 89.0) in {(gauge.main_id, gauge.chainage_m) for gauge in option.gauges}
    steps = step_list(option, make_conditions(), default_rules(), work=())
    words = " ".join(step.does for step in steps)
    assert "crack valve" not in words
    assert "opened a little" not in " ".join([words, *(point.note for point in option.purge.points)])
    (drilled,) = (step for step in steps if step.stage == "tappings drilled" and stop.id in step.uses)
    assert "zone vent, " in drilled.does
    assert f"Fuse the outlets of {stop.id}" in words


def make_conditions() -> Any:
    """Return the conditions of a plan of the street."""
    request = PlanRequest(build(**with_valve()), (WorkPart("M1", 110, 120),), default_rules(), weather=False)
    return make_plan(request).plan.conditions


@pytest.mark.parametrize(
    ("layers", "side"),
    [
        # 0.8 m to the next fitting on the live side; a second valve 0.9 m behind; a keep-out over the zone's side.
        (
            {"fittings": [fitting("F1", (89.6, 0)), fitting("F2", (88.7, 0)), fitting("F3", (87.8, 0))]},
            "live",
        ),
        ({"valves": [valve("V1", (90, 0)), valve("V2", (90.9, 0), operable="no")]}, "zone's"),
        ({"keep_out": [keep_out("tree roots", (90.2, -3), (97.0, -3), (97.0, 3), (90.2, 3))]}, "zone's"),
    ],
    ids=["fittings", "second valve", "keep-out"],
)
def test_a_valve_without_room_for_its_tappings_is_no_stop(layers: dict[str, Any], side: str) -> None:
    reach = {"valve": {"tapping_reach_m": 2.5}}
    rules = read_rules(None, reach)
    with_room = first(with_valve(), ("M1", 110, 120), rules=rules)
    assert any(stop.kind == "valve" for stop in with_room.stops)
    network = build(strict=False, **{**with_valve(), **layers})
    found = search(network, ("M1", 110, 120), rules)
    cut = next(found)
    assert not any(stop.kind == "valve" for stop in cut.stops)
    with pytest.raises(NoPlanError, match="no room for the") as caught:
        next(search(network, ("M1", 110, 120), rules, orders=Orders(force_valves=(0,))))
    assert f"of valve V1: no place within 2.5 m on its {side} side" in str(caught.value)


def test_an_ordered_keep_out_beside_a_valve_bars_it_too() -> None:
    network = build(**with_valve())
    area = keep_out("tree roots", (90.2, -3), (97.0, -3), (97.0, 3), (90.2, 3))["geometry"]
    cut = next(search(network, ("M1", 110, 120), default_rules(), orders=Orders(keep_out=(area,))))
    assert len(cut.stops) == 1
    assert not any(stop.kind == "valve" for stop in cut.stops)


def test_the_work_keeps_the_zone_vent_of_a_valve_off() -> None:
    for low, is_stop in ((91.0, True), (90.9, False)):
        kinds = {stop.kind for stop in first(with_valve(), ("M1", low, 120)).stops}
        assert ("valve" in kinds) is is_stop, low


@pytest.mark.parametrize(("vent_m", "tapped_m"), [(91.3, 90.8), (90.9, 90.9)], ids=["beside it", "shared"])
def test_a_valve_shares_the_zone_vent_of_a_stop_on_the_same_short_length(
    vent_m: float, tapped_m: float
) -> None:
    found = search(build(**with_valve()), ("M1", 110, 120), default_rules())
    cut = next(cut for cut in found if any(stop.valve >= 0 for stop in cut.stops))
    (at_valve,) = (stop for stop in cut.stops if stop.valve >= 0)
    (geometry,) = (
        found.local.geometry(edge, at_u)
        for edge, at_u, _ in cut.found.stops
        if found.local.geometry(edge, at_u).length_m == 0.0
    )
    # Another stop on the length behind the valve, the zone between the two.
    taps = (("zone_vent", vent_m, -0.4), ("barrier", vent_m + 0.4, 0.0))
    tappings = tuple(CutTapping(role, at_valve.pipe, at, 50.0, offset) for role, at, offset in taps)
    other = replace(at_valve, method="bag stop", kind="bag", valve=-1, tappings=tappings)
    stops = [replace(at_valve, tappings=()), other]
    tapped, same = with_valve_tappings(found.local.placement, found.local.work, stops, [geometry, geometry])
    assert same == other
    assert [(t.role, round(t.chainage_m, 6)) for t in tapped.tappings] == [
        ("zone_vent", tapped_m),
        ("gauge", 89.0),
    ]


def test_hose_and_stack_are_no_wider_than_their_outlet() -> None:
    bores = (0.025, 0.051, 0.102)
    assert fitting_bores_m(bores, 0.050) == [0.025, 0.051]
    assert fitting_bores_m(bores, 0.020) == [0.020]
    assert fitting_bores_m(bores, float("inf")) == list(bores)
    for option in planned(street(63.0), ("M1", 110, 120)):
        assert option.purge.points
        for point in option.purge.points:
            # The hose joins the gauge's outlet of 20 mm, where a bypass hangs on the tee.
            by_gauge = "gauge" in point.note
            assert point.outlet_mm == point.stack_bore_mm == (20.0 if by_gauge else 25.0)

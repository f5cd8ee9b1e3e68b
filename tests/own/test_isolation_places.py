"""Where stops go and where not: methods, clearances, keep-outs, and the awkward places."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut, IsolationProblem, Orders, cuts
from netplan.isolation.blocked_lengths import free_intervals
from netplan.isolation.segment_geometry import segment_geometry
from netplan.isolation.segment_graph import segment_graph
from netplan.isolation.stop_exclusions import stop_exclusions
from netplan.isolation.stop_placement import StopPlacement
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, work_section
from netplan.rules.read_rules import default_rules, read_rules
from netplan.rules.rule_set import Rules
from tests.support.networks import (
    build,
    customer,
    fitting,
    injection,
    keep_out,
    main,
    sensing_point,
    service,
    station,
    valve,
)

GAS_MINOR_PER_M3 = 800.0


def problem(network: Network, *parts: tuple[str, float, float], **more: Any) -> IsolationProblem:
    section = work_section(network, [WorkPart(*part) for part in parts])
    rules: Rules = more.pop("rules", None) or default_rules()
    return IsolationProblem(network, section, rules, 9.0, GAS_MINOR_PER_M3, **more)


def best(network: Network, *parts: tuple[str, float, float], **more: Any) -> Cut:
    return next(cuts(problem(network, *parts, **more)))


def some(network: Network, *parts: tuple[str, float, float], most: int = 30, **more: Any) -> list[Cut]:
    found = list(itertools.islice(cuts(problem(network, *parts, **more)), most))
    assert found
    return found


def places(network: Network, cut: Cut) -> list[tuple[str, str, float, str]]:
    return [
        (network.pipes.id[stop.pipe], stop.method, round(stop.chainage_m, 3), stop.work_side)
        for stop in cut.stops
    ]


def street(**columns: Any) -> dict[str, Any]:
    """Return a street fed from both ends, a main of 100 m between two others."""
    columns = {"year": 2000, **columns}
    return {
        "mains": [
            main("A", (-100, 0), (0, 0), year=2000),
            main("B", (0, 0), (100, 0), **columns),
            main("C", (100, 0), (200, 0), year=2000),
        ],
        "services": [service(f"S{x}", (x, 0), (x, 8)) for x in (-60, -40, 0, 100, 140, 160)],
        "customers": [customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in (-60, -40, 0, 100, 140, 160)],
        "regulators": [station("R1", (-100, 0)), station("R2", (200, 0))],
    }


def with_rules(**method: Any) -> Rules:
    """Return the shipped rules with the bag stop changed."""
    methods = default_rules().model_dump(mode="json")["method"]
    return read_rules(None, {"method": [{**methods[0], **method}, *methods[1:]]})


def codes_on(network: Network, main_id: str, rules: Rules | None = None) -> dict[str, set[str]]:
    """Return, by method, why it cannot be used on the first run of a main, zone at its start."""
    rules = rules or default_rules()
    index = segment_graph(network)
    placement = StopPlacement(index, rules, GAS_MINOR_PER_M3, stop_exclusions(network, Orders()))
    row = network.pipes.id.find(main_id, 0, network.pipes.n_mains)
    piece = int((network.pieces.pipe == row).argmax())
    shape = segment_geometry(index, int(index.segment_of[piece]))
    found = {}
    for number, method in enumerate(rules.method):
        blocks = placement.blocks(shape, number)
        whole = not free_intervals(shape.length_m, blocks)
        found[method.name] = {block.code for block in blocks} if whole else set()
    return found


def test_stops_keep_their_clearances() -> None:
    network = build(**street())
    cut = best(network, ("B", 40, 60))
    # 0.5 m from the work to the first tapping, the zone vent 0.4 m nearer the work than the barrier.
    assert places(network, cut) == [("B", "bag stop", 39.1, "to"), ("B", "bag stop", 60.9, "from")]
    tappings = [round(tapping.chainage_m, 2) for tapping in cut.stops[1].tappings]
    assert tappings == [60.5, 60.9, 61.5, 62.1, 62.7, 63.2]
    assert cut.customers.size == 0
    (zone,) = cut.zones
    assert [(part.from_m, part.to_m) for part in zone.pieces] == [pytest.approx((39.1, 60.9))]


@pytest.mark.parametrize(
    ("columns", "method", "code"),
    [
        ({"od_mm": 63.0}, "bag stop", "size"),
        ({"od_mm": 200.0}, "squeeze-off", "size"),
        ({"material": "steel", "bore_mm": 100.0, "sdr": None}, "bag stop", "material"),
        ({"material": "PE"}, "squeeze-off", "material"),
        ({"year": 1980}, "squeeze-off", "early-pe"),
        ({"year": None}, "squeeze-off", "unknown-resin"),
        ({"host": "iron"}, "bag stop", "inserted"),
        ({"joint": "mechanical"}, "bag stop", "joint"),
        ({}, "valve", "not-a-valve"),
    ],
)
def test_methods_are_refused_by_what_is_recorded(columns: dict[str, Any], method: str, code: str) -> None:
    network = build(strict=False, **street(**columns))
    assert codes_on(network, "B")[method] == {code}
    assert code not in codes_on(network, "A")[method] or code == "not-a-valve"


def test_rating_counts_against_the_greatest_fault_pressure() -> None:
    layers = street()
    layers["regulators"] = [station("R1", (-100, 0)), station("R2", (200, 0), max_outlet_mbar=69.0)]
    assert codes_on(build(**layers), "B")["bag stop"] == set()
    assert codes_on(build(**layers), "B", with_rules(rating_margin_mbar=1.0))["bag stop"] == {"rating"}
    layers["regulators"][1]["max_outlet_mbar"] = 70.0
    assert codes_on(build(**layers), "B")["bag stop"] == {"rating"}


def test_mop_stands_in_for_an_unknown_fault_pressure() -> None:
    layers = street(mop_mbar=60.0)
    layers["regulators"] = [
        station("R1", (-100, 0), max_outlet_mbar=None),
        station("R2", (200, 0), max_outlet_mbar=None),
    ]
    network = build(strict=False, **layers)
    assert codes_on(network, "B")["bag stop"] == set()
    assert codes_on(network, "A")["bag stop"] == {"fault-pressure-unknown"}


def test_a_stop_says_when_mop_stands_in() -> None:
    layers = street(mop_mbar=60.0)
    for row in layers["mains"]:
        row["mop_mbar"] = 60.0
    told = best(build(**layers), ("B", 40, 60)).stops[0]
    assert not any("max_outlet_mbar" in note for note in told.provisional)
    assert told.fault_pressure_pa_gauge == pytest.approx(5000.0)
    layers["regulators"][1]["max_outlet_mbar"] = None
    told = best(build(strict=False, **layers), ("B", 40, 60)).stops[0]
    assert any("max_outlet_mbar" in note and "mop_mbar" in note for note in told.provisional)
    assert told.fault_pressure_pa_gauge == pytest.approx(6000.0)


def test_what_stands_in_is_never_below_the_set_pressure() -> None:
    layers = street(mop_mbar=60.0)
    for row in layers["regulators"]:
        row.update(outlet_mbar=69.5, max_outlet_mbar=None)
    assert codes_on(build(strict=False, **layers), "B")["bag stop"] == {"rating"}


def test_fittings_and_keep_outs_push_a_stop_outward() -> None:
    layers = street()
    layers["fittings"] = [fitting("F1", (62, 0))]
    layers["keep_out"] = [keep_out("river", (30, -5), (38.5, -5), (38.5, 5), (30, 5))]
    network = build(**layers)
    search = cuts(problem(network, ("B", 40, 60)))
    cut = next(search)
    # Beyond the coupler: its clearance of 0.5 m and the zone vent 0.4 m. Before the river: all of it west.
    assert [stop.chainage_m for stop in cut.stops] == pytest.approx([29.6, 62.9], abs=1e-5)
    before, beyond = ([row for row in rows if row.method == "bag stop"] for rows in search.not_nearer(cut))
    assert {row.code for row in beyond} >= {"work-clearance", "fitting"}
    assert {row.code for row in before} >= {"keep-out", "work-clearance"}
    assert all(29.5 <= row.from_m <= row.to_m <= 40.0 for row in before)
    assert all("river" in row.words for row in before if row.code == "keep-out")


def test_squeeze_marks_keep_a_second_squeeze_away() -> None:
    layers = street(od_mm=63.0)
    clean = best(build(**layers), ("B", 40, 60)).stops[1]
    layers["fittings"] = [fitting("Q", (61.0, 0), "squeeze_mark")]
    marked = best(build(**layers), ("B", 40, 60)).stops[1]
    assert clean.method == marked.method == "squeeze-off"
    assert clean.chainage_m == pytest.approx(61.1)
    # Clearance to the mark by the zone vent: 0.5 + 0.6 m; by the barrier: 0.6 m.
    assert marked.chainage_m == pytest.approx(62.1)


def row_of_short_mains() -> dict[str, Any]:
    """Return a street whose middle is ten mains of 2 m end to end, with nothing recorded at their joints."""
    short = [main(f"B{n}", (2.0 * n, 0), (2.0 * n + 2.0, 0), year=2000) for n in range(10)]
    layers = street()
    layers["mains"] = [layers["mains"][0], *short, main("C", (20, 0), (200, 0), year=2000)]
    return layers


def test_assembly_lies_within_one_main_clear_of_its_ends() -> None:
    network = build(**row_of_short_mains())
    cut = best(network, ("B4", 0.5, 1.4))
    assert [(network.pipes.id[stop.pipe], round(stop.chainage_m, 3)) for stop in cut.stops] == [
        ("A", 99.1),
        ("C", 0.9),
    ]
    assert {tapping.pipe for stop in cut.stops for tapping in stop.tappings} == {
        stop.pipe for stop in cut.stops
    }


def test_assembly_may_span_record_boundaries_by_rule() -> None:
    rules = read_rules(None, {"clearance": {"through_record_joints": True}})
    layers = row_of_short_mains()
    network = build(**layers)
    cut = best(network, ("B4", 0.5, 1.4), rules=rules)
    assert [(network.pipes.id[stop.pipe], round(stop.chainage_m, 3)) for stop in cut.stops] == [
        ("B3", 1.6),
        ("B5", 0.3),
    ]
    tapped = {network.pipes.id[tapping.pipe] for tapping in cut.stops[1].tappings}
    assert tapped == {"B4", "B5", "B6"}
    # One behind the zone vent, one between the barriers; the bypass tee is the last of them.
    assert [line[:28] for line in cut.stops[1].record_joints] == [
        "the joint between B4 and B5 ",
        "the joint between B5 and B6 ",
    ]
    layers["fittings"] = [fitting("F", (12.0, 0))]
    pushed = best(build(**layers), ("B4", 0.5, 1.4), rules=rules)
    assert pushed.stops[1].chainage_m == pytest.approx(0.9)
    assert network.pipes.id[pushed.stops[1].pipe] == "B6"


@pytest.mark.parametrize(
    ("columns", "taken"),
    [
        ({}, True),
        ({"operable": "no"}, False),
        ({"operable": "unknown"}, False),
        ({"state": "unknown"}, False),
    ],
)
def test_only_known_and_operable_valves_are_stops(columns: dict[str, Any], taken: bool) -> None:
    layers = street()
    layers["valves"] = [valve("V1", (80, 0), **columns)]
    network = build(strict=False, **layers)
    methods = {stop.method for cut in some(network, ("B", 40, 60)) for stop in cut.stops}
    assert ("valve" in methods) is taken


def test_section_across_a_tee_needs_a_stop_on_every_side() -> None:
    layers = street()
    layers["mains"].append(main("D", (100, 0), (100, 90), year=2000))
    layers["mains"].append(main("E", (100, 90), (200, 0), year=2000))
    network = build(strict=False, **layers)
    cut = best(network, ("B", 90, 100), ("C", 0, 10))
    assert sorted({network.pipes.id[stop.pipe] for stop in cut.stops}) == ["B", "C", "D"]
    assert cut.zones[0].work == (0, 1)
    assert set(cut.customers.tolist()) == {network.customers.id.find("C100")}


def test_dead_end_needs_one_stop() -> None:
    layers = street()
    layers["mains"].append(main("D", (100, 0), (100, 90), year=2000))
    network = build(**layers)
    cut = best(network, ("D", 50, 90))
    assert places(network, cut) == [("D", "bag stop", 49.1, "to")]


def test_section_over_a_closed_valve() -> None:
    layers = street()
    layers["valves"] = [valve("V1", (50, 0), "closed")]
    network = build(**layers)
    cut = best(network, ("B", 40, 60))
    assert places(network, cut) == [("B", "bag stop", 39.1, "to"), ("B", "bag stop", 60.9, "from")]
    assert len(cut.zones) == 1


def test_closed_valve_at_the_end_of_the_section_is_a_stop() -> None:
    layers = street()
    layers["valves"] = [valve("V1", (50, 0), "closed")]
    network = build(**layers)
    # Right at it there is no room for its zone vent: the work ends there.
    cut = best(network, ("B", 40, 50))
    assert places(network, cut) == [("B", "bag stop", 39.1, "to"), ("B", "bag stop", 50.9, "from")]
    cut = best(network, ("B", 40, 49))
    assert places(network, cut) == [("B", "bag stop", 39.1, "to"), ("B", "valve", 50.0, "from")]
    assert [(t.role, t.chainage_m, t.size_mm) for t in cut.stops[1].tappings] == [
        ("zone_vent", 49.5, 50.0),
        ("gauge", 51.0, 25.0),
    ]


def one_station(outlet_valve: bool, **more: Any) -> dict[str, Any]:
    layers: dict[str, Any] = {
        "mains": [main("A", (0, 0), (100, 0), year=2000)],
        "services": [service("S1", (80, 0), (80, 8))],
        "customers": [customer("C1", (80, 8), service_id="S1")],
        "regulators": [station("R1", (0, 0))],
        **more,
    }
    if outlet_valve:
        layers["valves"] = [valve("V1", (5, 0))]
    return layers


def test_only_outlet_by_its_valve_alone() -> None:
    cut = best(build(**one_station(True)), ("A", 20, 30))
    assert ("valve", 5.0) in [(stop.method, stop.chainage_m) for stop in cut.stops]
    assert cut.shut_in_stations == (0,)
    with pytest.raises(NoPlanError, match="R1 would be shut in by a stop that is not its outlet valve"):
        best(build(**one_station(False)), ("A", 20, 30))


def test_sensing_point_stays_with_its_station() -> None:
    layers = street()
    layers["sensing_points"] = [sensing_point("R1", (50, 0))]
    with pytest.raises(NoPlanError, match="sensing point is on the work section"):
        best(build(**layers), ("B", 40, 60))
    layers["sensing_points"] = [sensing_point("R1", (30, 0))]
    assert best(build(**layers), ("B", 40, 60))
    layers["sensing_points"] = [sensing_point("R1", (70, 0))]
    with pytest.raises(NoPlanError, match="sensing point of station R1 would be cut off"):
        best(build(**layers), ("B", 40, 60))


def test_station_or_injection_on_the_work_is_refused() -> None:
    with pytest.raises(NoPlanError, match="station R1 is on the work section"):
        best(build(**street()), ("A", 0, 20))
    with pytest.raises(NoPlanError, match="injection point I1 is on the work section"):
        best(build(**street(), injections=[injection("I1", (50, 0))]), ("B", 40, 60))


def test_premises_on_two_services_are_counted_once_and_severed() -> None:
    layers = street()
    layers["services"] += [service("T1", (50, 0), (50, 8)), service("T2", (20, 0), (20, 8))]
    layers["customers"].append(customer("CT", (50, 8), service_id="T1;T2"))
    network = build(**layers)
    row = network.customers.id.find("CT")
    one = best(network, ("B", 45, 55))
    assert row in one.customers
    assert one.severed.tolist() == [row]
    both = best(network, ("B", 15, 55))
    assert both.severed.size == 0
    assert both.interruption_minor == one.interruption_minor == 5400


def test_other_system_in_the_street_is_never_joined() -> None:
    layers = street()
    layers["mains"].append(main("MP", (-100, 0.0), (200, 0.0), year=2000, system="MP", od_mm=180.0))
    network = build(strict=False, **layers)
    cut = best(network, ("B", 40, 60))
    assert {network.pipes.id[part.pipe] for zone in cut.zones for part in zone.pieces} == {"B"}


def test_several_sections_apart_make_several_zones_and_near_ones_merge() -> None:
    layers = street()
    for row in layers["customers"][2:4]:
        row["category"] = "industry"
    network = build(**layers)
    apart = best(network, ("A", 65, 75), ("C", 10, 20))
    assert [zone.work for zone in apart.zones] == [(0,), (1,)]
    assert len(apart.stops) == 4
    merged = best(network, ("B", 40, 45), ("B", 50, 55))
    assert [zone.work for zone in merged.zones] == [(0, 1)]
    assert len(merged.stops) == 2


def test_parts_of_the_bound_add_up() -> None:
    network = build(**street())
    for cut in some(network, ("B", 90, 100), most=10):
        assert (
            cut.bound_minor == cut.stops_minor + cut.interruption_minor + cut.gas_minor + cut.stranded_minor
        )
        assert cut.stops_minor == sum(stop.price_minor for stop in cut.stops)
        assert cut.gas_minor == pytest.approx(GAS_MINOR_PER_M3 * cut.gas_volume_m3, abs=20)

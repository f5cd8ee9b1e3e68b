"""Ways of feeding a part: bypasses, hoses, valves; and what the stops change in live mains (own)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from netplan.core.errors import BadInputError
from netplan.feeds import (
    BoundaryValve,
    BypassEnd,
    Feed,
    FeedCase,
    FeedKind,
    FeedSize,
    Inlets,
    MainLines,
    SizedFeed,
    Tap,
    bypass_feeds,
    flow_changes,
    hose_feeds,
    hose_ways,
    station_loads,
    valve_feeds,
    with_taps,
)
from netplan.hydraulics import FlowConditions, FlowNetwork, FlowSolver
from netplan.reference.gas import named_gas
from netplan.rules import read_rules
from tests.support.feed_cases import RING_DEMAND, ring, smallest_feed
from tests.support.flow_cases import solve
from tests.support.hose_routes import routes_round

RULES = read_rules()
CONDITIONS = FlowConditions(named_gas("natural gas"))


def _mains(*lines: list[tuple[float, float]], first: int = 0) -> MainLines:
    shapes = np.empty(len(lines), dtype=object)
    shapes[:] = [shapely.LineString(line) for line in lines]
    return MainLines(np.arange(first, first + len(lines)), shapes, np.full(len(lines), 0.11))


ENDS = [
    BypassEnd("S1", 10, 0.0, 0.0, 0),
    BypassEnd("S2", 11, 40.0, 0.0, 1),
    BypassEnd("S3", 12, 0.0, 30.0, 0),
    BypassEnd("S4", 13, 90.0, 0.0, 2),
]


def test_bypasses_run_from_every_live_stop_to_the_parts_stops() -> None:
    feeds = bypass_feeds(ENDS, 1, RULES, routes=routes_round())
    assert [(feed.label, feed.from_node, feed.to_node) for feed in feeds] == [
        ("S1>S2", 10, 11),
        ("S3>S2", 12, 11),
    ]
    assert [feed.length_m for feed in feeds] == pytest.approx([1.15 * 40.0, 1.15 * 50.0])
    assert {feed.kind for feed in feeds} == {FeedKind.BYPASS}
    # A projection scale above one makes planar distances longer than true ones.
    scaled = bypass_feeds(ENDS, 1, RULES, routes=routes_round(scale=1.01))
    assert scaled[0].length_m == pytest.approx(1.15 * 40.0 / 1.01)


def test_nothing_is_laid_across_a_keep_out() -> None:
    river = routes_round([shapely.box(10, -50, 12, 20)], kind="keep-out area")
    assert [feed.label for feed in bypass_feeds(ENDS, 1, RULES, routes=river)] == ["S3>S2"]
    assert (
        river.refusal((0.0, 0.0), (40.0, 0.0), RULES) == "68.2 m by its route, beyond bypass.reach_m of 60 m"
    )


def test_a_bypass_goes_no_farther_than_the_reach() -> None:
    rules = read_rules(overrides={"bypass": {"reach_m": 46.0}})
    assert [feed.label for feed in bypass_feeds(ENDS, 1, rules, routes=routes_round())] == ["S1>S2"]
    why = routes_round().refusal((0.0, 30.0), (40.0, 0.0), rules)
    assert why == "57.5 m in a straight line, beyond bypass.reach_m of 46 m"


def test_a_straight_line_is_no_longer_than_the_route() -> None:
    house = routes_round([shapely.box(10, -5, 12, 5)])
    straight, routed = (bypass_feeds(ENDS, 1, RULES, routes=house, straight=way)[0] for way in (True, False))
    assert straight.length_m == pytest.approx(1.15 * 40.0)
    # Round corners 0.25 m off the house: 11.09 m, 2.50 m along its end, 28.24 m.
    by_hand = np.hypot(9.75, 5.25) + 2.5 + np.hypot(27.75, 5.25)
    assert routed.length_m == pytest.approx(1.15 * by_hand)


def test_hoses_are_the_shortest_within_reach_and_clear_of_tees() -> None:
    live = _mains([(0, 0), (100, 0)], [(0, 80), (100, 80)], [(0, 300), (100, 300)])
    part = _mains([(20, 20), (60, 40)], [(200, 0), (200, 40)], first=7)
    ways = hose_ways(live, part, RULES, routes=routes_round())
    assert [(way.giving.link, way.fed.link) for way in ways] == [(0, 7), (1, 7)]
    first = ways[0]
    # The nearest point of the part is its end, where a fitting may be: the hose keeps 0.5 m from it.
    along = np.hypot(first.to_x_m - 20, first.to_y_m - 20)
    assert along == pytest.approx(0.5)
    assert first.fed.share == pytest.approx(0.5 / np.hypot(40, 20))
    assert first.length_m == pytest.approx(1.15 * first.to_y_m)
    assert first.giving.share == pytest.approx(first.from_x_m / 100)
    assert len(hose_ways(live, part, RULES, routes=routes_round(), most=1)) == 1
    wall = routes_round([shapely.box(-90, 5, 300, 6)])
    assert hose_ways(live, part, RULES, routes=wall)[0].giving.link == 1
    short = read_rules(overrides={"bypass": {"reach_m": 20.0}})
    assert hose_ways(live, part, short, routes=routes_round()) == ()


def test_a_piece_too_short_for_a_tapping_takes_no_hose() -> None:
    live = _mains([(0, 0), (100, 0)])
    part = _mains([(20, 10), (20.9, 10)])
    assert hose_ways(live, part, RULES, routes=routes_round()) == ()


def test_hoses_become_feeds_with_nodes() -> None:
    live, part = _mains([(0, 0), (100, 0)]), _mains([(20, 20), (60, 40)], first=1)
    ways = hose_ways(live, part, RULES, routes=routes_round())
    feeds = hose_feeds(ways, np.array([50]), np.array([51]))
    assert [(feed.kind, feed.from_node, feed.to_node) for feed in feeds] == [(FeedKind.HOSE, 50, 51)]
    assert feeds[0].length_m == ways[0].length_m


VALVE = BoundaryValve("V1", 5, 20, 21, 0, 1, is_closed=True, is_operable=True, same_system=True)


def test_only_closed_operable_valves_of_the_system_feed_a_part() -> None:
    assert valve_feeds([VALVE], 1) == (Feed(FeedKind.VALVE, "V1", 20, 21, valve_link=5),)
    turned = replace(VALVE, from_part=1, to_part=0)
    assert valve_feeds([turned], 1) == (Feed(FeedKind.VALVE, "V1", 21, 20, valve_link=5),)
    for useless in ({"is_closed": False}, {"is_operable": False}, {"same_system": False}, {"to_part": 2}):
        assert valve_feeds([replace(VALVE, **useless)], 1) == ()


def test_opening_a_valve_feeds_without_a_hose() -> None:
    # The ring with e out, a closed valve of no length from 2 to 5 beside it.
    network = ring("e")
    valve_link = network.links.count
    links = network.links.joined_with(
        type(network.links)(
            from_node=np.array([1]),
            to_node=np.array([4]),
            length_m=np.array([0.0]),
            bore_m=np.array([0.1022]),
            roughness_m=np.array([7e-6]),
            is_open=np.array([False]),
        )
    )
    solver = FlowSolver(network.with_links(links), CONDITIONS)
    case = FeedCase(solver, RING_DEMAND, Inlets(np.arange(1, 6), np.full(5, 2000.0)))
    assert not case.judge([], RULES).holds
    sized = smallest_feed(case, Feed(FeedKind.VALVE, "V1", 1, 4, valve_link=valve_link), RULES)
    assert isinstance(sized, SizedFeed)
    assert sized.size.bore_m == 0.0
    assert sized.flow_m3_per_s_std > 0.02
    assert sized.drop_pa == pytest.approx(0.0, abs=1e-6)
    assert sized.price_minor == 15000


def test_a_tap_outside_its_link_is_one_line() -> None:
    for tap in (Tap(0, 0.0), Tap(0, 1.0), Tap(99, 0.5)):
        with pytest.raises(BadInputError, match="not inside a link"):
            with_taps(ring(), [tap])


def test_reversed_and_faster_flows_are_told() -> None:
    before = solve(ring(), RING_DEMAND, CONDITIONS)
    after = solve(ring("e"), RING_DEMAND, CONDITIONS)
    changes = flow_changes(ring(), before, after, CONDITIONS)
    # Without e the gas reaches node 5 through g and f: f turns round, g and b carry far more.
    assert np.flatnonzero(changes.is_reversed).tolist() == [5]
    assert changes.is_faster[[1, 6]].all()
    assert not (changes.is_reversed | changes.is_faster)[4]
    # 223.62 m³/h at 0 °C through 147.2 mm at 25 mbar and 10 °C: by hand 3.69 m/s.
    assert changes.velocity_before_m_per_s[0] == pytest.approx(3.69, rel=0.01)


def test_station_loads_are_flow_over_capacity() -> None:
    network = ring()
    limited = FlowNetwork(
        network.node_count,
        network.links,
        network.station_node,
        network.station_pressure_pa_gauge,
        station_capacity_m3_per_s_std=np.array([2.0 * RING_DEMAND.sum()]),
    )
    state = solve(limited, RING_DEMAND, CONDITIONS)
    assert station_loads(limited, state) == pytest.approx([0.5])
    assert np.isnan(station_loads(network, state)).all()


def test_a_hose_into_nowhere_has_no_supply() -> None:
    # Neither end of the hose has gas: the part stays without numbers, and that is no pressure that holds.
    network = ring("eg")
    case = FeedCase(FlowSolver(network, CONDITIONS), RING_DEMAND, Inlets(np.arange(1, 6), np.full(5, 1900.0)))
    verdict = case.judge([FeedSize(Feed(FeedKind.HOSE, "x", 4, 5, 5.0), 0.05)], RULES)
    assert not verdict.holds
    assert np.isnan(verdict.least_pa_gauge)
    assert verdict.reason == "a kept meter inlet has no solved pressure"

"""Where hoses lie, what they cross, and what is said of it (own)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from netplan.feeds.possible_feeds import hose_ways
from netplan.feeds.tappable_lengths import MainLines
from netplan.rules import read_rules
from tests.support.hose_routes import routes_round

RULES = read_rules()
STREET = shapely.LineString([(0, 0), (100, 0)])


def _mains(*lines: list[tuple[float, float]], first: int = 0) -> MainLines:
    shapes = np.empty(len(lines), dtype=object)
    shapes[:] = [shapely.LineString(line) for line in lines]
    return MainLines(np.arange(first, first + len(lines)), shapes, np.full(len(lines), 0.11))


def test_no_hose_goes_through_two_houses() -> None:
    # Tees 148 m of hose apart, two houses straight between: too far. Nearer, it goes round them.
    houses = [shapely.box(40, -30, 52, 30), shapely.box(70, -25, 82, 25)]
    routes = routes_round(houses)
    assert routes.route((0.0, 0.0), (128.7, 0.0), RULES) is None
    assert (
        routes.refusal((0.0, 0.0), (128.7, 0.0), RULES)
        == "148.0 m in a straight line, beyond bypass.reach_m of 60 m"
    )
    far = read_rules(overrides={"bypass": {"reach_m": 200.0}})
    route = routes.route((0.0, 0.0), (128.7, 0.0), far)
    assert route is not None
    line = shapely.LineString(route.xy)
    assert not any(line.intersects(house) for house in houses)
    # Over the corners 0.25 m off both houses, on one side of them.
    assert route.length_m == pytest.approx(
        np.hypot(39.75, 30.25) + 12.5 + np.hypot(30.0 - 0.0, 5.0) + np.hypot(128.7 - 82.25, 25.25), abs=0.2
    )


def test_the_reach_counts_the_route_with_its_slack() -> None:
    routes = routes_round([shapely.box(20, -18, 22, 18)])
    route = routes.route((0.0, 0.0), (42.0, 0.0), read_rules(overrides={"bypass": {"reach_m": 65.0}}))
    assert route is not None
    assert route.length_m == pytest.approx(2 * np.hypot(19.75, 18.25) + 2.5)  # 56.3 m: 64.7 m of hose
    assert routes.route((0.0, 0.0), (42.0, 0.0), RULES) is None


def test_a_gap_between_houses_that_touch_is_none() -> None:
    routes = routes_round([shapely.box(10, -15, 20, 0), shapely.box(10, 0, 20, 15)])
    route = routes.route((0.0, 0.0), (30.0, 0.0), RULES)
    assert route is not None
    assert route.length_m == pytest.approx(2 * np.hypot(9.75, 15.25) + 10.5)


@pytest.mark.parametrize("kind", ["rail", "water"])
def test_a_line_of_rail_or_water_is_crossed_nowhere(kind: str) -> None:
    line = shapely.LineString([(20, -500), (20, 3), (20, 500)])
    routes = routes_round([line], kind=kind)
    assert routes.route((0.0, 0.0), (40.0, 0.0), RULES) is None
    assert routes.refusal((0.0, 0.0), (40.0, 0.0), RULES) == (
        "no way round the obstacles within 2 × bypass.reach_m of 60 m"
    )


def test_a_tee_that_is_recorded_inside_a_building_is_said() -> None:
    routes = routes_round([shapely.box(-5, -5, 5, 5), shapely.box(15, -5, 20, 5)])
    route = routes.route((0.0, 0.0), (30.0, 0.0), RULES)
    assert route is not None
    assert "a tee is recorded inside a building" in route.note
    assert len(route.xy) == 4  # straight out of the one, round the other


@pytest.mark.parametrize("kind", ["water", "rail", "keep-out area"])
def test_a_tee_in_water_or_where_nobody_may_dig_takes_no_hose(kind: str) -> None:
    routes = routes_round([shapely.box(-5, -5, 5, 5)], kind=kind)
    assert routes.route((0.0, 0.0), (30.0, 0.0), RULES) is None
    assert routes.refusal((0.0, 0.0), (30.0, 0.0), RULES) == f"a tee lies in {kind}, which no hose may cross"


@pytest.mark.parametrize("off_m", [0.0, 0.05, 0.2, 0.5])
def test_a_tee_at_a_wall_leads_away_from_it(off_m: float) -> None:
    routes = routes_round([shapely.box(0, 0, 10, 10)])
    away = routes.route((5.0, -off_m), (5.0, -20.0), RULES)
    assert away is not None
    assert away.length_m == pytest.approx(20.0 - off_m)
    round_it = routes.route((5.0, -off_m), (5.0, 20.0), RULES)
    assert round_it is not None
    assert not shapely.LineString(round_it.xy).crosses(shapely.box(0.02, 0.02, 9.98, 9.98))


CROSSED = [
    ("across", (50.0, -5.0), (50.0, 5.0), 1),
    ("askew", (40.0, -4.0), (60.0, 4.0), 1),
    ("along one side", (10.0, -3.0), (50.0, -3.0), 0),
    ("from the middle", (10.0, 0.0), (10.0, 6.0), 0),
    ("within the middle", (10.0, -0.9), (45.0, 0.9), 0),
    ("beside its end", (102.0, -4.0), (102.0, 4.0), 0),
]


@pytest.mark.parametrize(
    ("start", "stop", "count"), [case[1:] for case in CROSSED], ids=[c[0] for c in CROSSED]
)
def test_carriageways_are_crossed_from_side_to_side(
    start: tuple[float, float], stop: tuple[float, float], count: int
) -> None:
    route = routes_round(streets=[STREET]).route(start, stop, RULES)
    assert route is not None
    assert route.crossings == count


def test_the_mouth_of_a_side_street_is_crossed_and_a_street_in_parts_once() -> None:
    streets = [
        shapely.LineString([(0, 0), (50, 0)]),
        shapely.LineString([(50, 0), (100, 0)]),
        shapely.LineString([(50, 0), (50, 60)]),
    ]
    routes = routes_round(streets=streets)
    along = routes.route((40.0, 3.0), (60.0, 3.0), RULES)
    across = routes.route((40.0, 3.0), (60.0, -3.0), RULES)
    both = routes.route((53.0, 20.0), (44.0, -4.0), RULES)
    assert along is not None
    assert across is not None
    assert both is not None
    assert along.crossings == 1
    assert across.crossings == 1  # right through where they meet
    assert both.crossings == 2


def test_over_open_ground_only_where_no_street_leads_there() -> None:
    round_the_block = shapely.LineString([(0, 0), (0, 30), (30, 30), (30, 0)])
    streets = routes_round(streets=[round_the_block])
    near = read_rules(overrides={"bypass": {"reach_m": 60.0}})
    far = read_rules(overrides={"bypass": {"reach_m": 120.0}})
    short, long = (streets.route((0.0, 5.0), (30.0, 5.0), rules) for rules in (near, far))
    assert short is not None
    assert long is not None
    assert short.length_m == pytest.approx(30.0)
    assert short.note == "over open ground: no way along the streets is within reach"
    # Along the inner edges of the streets, 7 m off their middle.
    assert long.length_m == pytest.approx(2 * np.hypot(7.0, 18.0) + 16.0, abs=0.05)
    assert long.note == ""


def test_of_all_hoses_one_along_streets_goes_before_one_over_open_ground() -> None:
    streets = [shapely.LineString([(0, 0), (0, 100)]), shapely.LineString([(0, 90), (80, 90)])]
    routes = routes_round(streets=streets)
    live = _mains([(0, 0), (0, 100)])
    part = _mains([(20, 0), (20, 40)], [(30, 90), (60, 90)], first=5)
    ways = hose_ways(live, part, RULES, routes=routes)
    assert [way.fed.link for way in ways] == [6]
    # Nothing along streets is left: then over open ground, and it says so.
    (other,) = hose_ways(live, _mains([(20, 0), (20, 40)], first=5), RULES, routes=routes)
    assert other.is_over_open_ground
    assert other.route is not None
    assert "over open ground" in other.route.note


def test_the_hose_is_the_cheapest_by_its_route_not_by_the_straight_line() -> None:
    # The part's near main lies behind a long house; the far one is reached straight.
    house = shapely.box(-30, 4, 130, 6)
    live = _mains([(0, 0), (100, 0)])
    part = _mains([(0, 10), (100, 10)], [(0, -25), (100, -25)], first=1)
    ways = hose_ways(live, part, RULES, routes=routes_round([house]))
    assert [way.fed.link for way in ways] == [2]
    assert ways[0].length_m == pytest.approx(1.15 * 25.0)


def test_a_ramp_may_make_the_longer_hose_the_cheaper_one() -> None:
    live = _mains([(0, -1.5), (100, -1.5)])
    part = _mains([(0, 1.5), (100, 1.5)], [(0, -6.5), (100, -6.5)], first=1)
    routes = routes_round(streets=[STREET])
    dear, cheap = (read_rules(overrides={"price": {"ramp": price}}) for price in (500.0, 0.0))
    assert [way.fed.link for way in hose_ways(live, part, dear, routes=routes)] == [2, 1]
    assert [way.fed.link for way in hose_ways(live, part, cheap, routes=routes)] == [1, 2]


def test_streets_drawn_as_areas_are_kept_to() -> None:
    area = shapely.box(0, -4, 60, 4).union(shapely.box(52, -4, 60, 40))
    routes = routes_round(streets=[area])
    route = routes.route((30.0, 0.0), (56.0, 20.0), RULES)
    assert route is not None
    assert area.buffer(0.02).covers(shapely.LineString(route.xy))
    assert route.length_m == pytest.approx(np.hypot(22.0, 4.0) + np.hypot(4.0, 16.0))

"""Routes of hoses: the shortest that a brute-force visibility graph knows, and what holds for every route."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
import shapely

from netplan.feeds.hose_routes import HoseRoute
from netplan.rules import Rules, read_rules
from tests.support.hose_routes import routes_round
from tests.support.route_oracle import MITRE, XY, grown, shortest_way

SLACK = 1.15


def _rules(reach_m: float) -> Rules:
    return read_rules(None, {"bypass": {"reach_m": reach_m, "slack": SLACK, "street_half_width_m": 6.0}})


def _obstacles(rng: random.Random, count: int) -> list[Any]:
    """Houses that may touch, overlap or stand askew, triangles, and a length of rail now and then."""
    found = []
    for _ in range(count):
        x, y, wide, deep = (rng.uniform(*span) for span in ((4, 56), (4, 56), (2, 12), (2, 12)))
        house = shapely.box(x, y, x + wide, y + deep)
        kind = rng.randrange(8)
        if kind == 0:
            found.append(shapely.LineString([(x, y), (x + 2 * wide, y + deep), (x + 3 * wide, y)]))
        elif kind == 1:
            found.append(shapely.Polygon([(x, y), (x + wide, y + 1), (x + 2, y + deep)]))
        elif kind == 2:
            # Next door, wall on wall.
            found += [house, shapely.box(x + wide, y, x + 2 * wide, y + deep)]
        elif kind == 3:
            found.append(shapely.affinity.rotate(house, rng.uniform(0, 90)))
        elif kind == 4:
            yard = shapely.box(x + wide / 3, y + deep / 3, x + wide, y + 2 * deep / 3)
            found.append(house.difference(yard))
        else:
            found.append(house)
    return [shape for shape in found if shape.geom_type in ("Polygon", "LineString")]


def _free_place(rng: random.Random, obstacles: list[Any]) -> XY:
    near = shapely.union_all(grown(obstacles, 0.3)) if obstacles else shapely.Point()
    while True:
        place = rng.uniform(0, 60), rng.uniform(0, 60)
        if not near.intersects(shapely.Point(place)):
            return place


def _case(seed: int) -> tuple[list[Any], XY, XY]:
    rng = random.Random(f"routes {seed}")  # noqa: S311
    obstacles = _obstacles(rng, rng.randint(2, 9))
    return obstacles, _free_place(rng, obstacles), _free_place(rng, obstacles)


def _length(route: HoseRoute | None) -> float:
    return math.inf if route is None else route.length_m


@pytest.mark.parametrize("seed", range(60))
def test_the_route_is_the_shortest_of_a_brute_force_visibility_graph(seed: int) -> None:
    obstacles, start, stop = _case(seed)
    reach = (45.0, 70.0, 150.0)[seed % 3]
    route = routes_round(obstacles).route(start, stop, _rules(reach))
    known = shortest_way(start, stop, obstacles)
    assert _length(route) == pytest.approx(known if SLACK * known <= reach else math.inf, abs=1e-6)


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_the_route_lies_between_the_shortest_of_a_little_less_and_a_little_more_room(seed: int) -> None:
    # The exact shortest way with all of one clearance: bends and barriers alike.
    obstacles, start, stop = _case(seed)
    route = routes_round(obstacles).route(start, stop, _rules(400.0))
    near, far = (
        shortest_way(start, stop, obstacles, bends_m=clear, least_m=clear - 1e-7) for clear in (0.14, 0.25)
    )
    assert near - 1e-6 <= _length(route) <= far + 1e-6


STREETS = {
    "bend": [shapely.LineString([(0, 10), (45, 10), (45, 60)])],
    "junction": [shapely.LineString([(0, 30), (60, 30)]), shapely.LineString([(20, 30), (20, 60)])],
    "crossing": [
        shapely.LineString([(0, 30), (60, 34)]),
        shapely.LineString([(30, 0), (26, 60)]),
        shapely.box(40, 40, 60, 60),
    ],
}


@pytest.mark.parametrize("name", STREETS)
@pytest.mark.parametrize("seed", range(8))
def test_along_streets_it_is_the_shortest_within_them(seed: int, name: str) -> None:
    rng = random.Random(f"streets {seed} {name}")  # noqa: S311
    streets = STREETS[name]
    wide = [s.buffer(6.0, **MITRE) if s.geom_type == "LineString" else s for s in streets]
    street = shapely.union_all(wide)
    obstacles = _obstacles(rng, 4)
    blocked = shapely.union_all(grown(obstacles, 0.3))
    start, stop = _in_street(rng, street, blocked), _in_street(rng, street, blocked)
    reach = 60.0
    along, anywhere = (shortest_way(start, stop, obstacles, within) for within in (street, None))
    route = routes_round(obstacles, streets).route(start, stop, _rules(reach))
    keeps = SLACK * along <= reach
    known = along if keeps else anywhere if SLACK * anywhere <= reach else math.inf
    assert _length(route) == pytest.approx(known, abs=1e-6)
    if route is not None:
        assert route.along_streets is keeps
        assert ("over open ground" in route.note) is not keeps


def _in_street(rng: random.Random, street: Any, blocked: Any) -> XY:
    while True:
        place = rng.uniform(0, 60), rng.uniform(0, 60)
        if street.contains(shapely.Point(place)) and not blocked.intersects(shapely.Point(place)):
            return place


@pytest.mark.parametrize("seed", range(100, 130))
def test_every_route_is_no_shorter_than_straight_and_clear_of_obstacles(seed: int) -> None:
    obstacles, start, stop = _case(seed)
    routes, rules = routes_round(obstacles), _rules(400.0)
    route = routes.route(start, stop, rules)
    back = routes.route(stop, start, rules)
    fresh = routes_round(obstacles[::-1]).route(stop, start, rules)
    assert (route is None) == (back is None) == (fresh is None)
    if route is not None and back is not None and fresh is not None:
        assert route.xy[0] == start
        assert route.xy[-1] == stop
        assert route.length_m >= math.dist(start, stop) - 1e-9
        line = shapely.LineString(route.xy)
        assert line.length == pytest.approx(route.length_m)
        assert not any(line.intersects(shape) for shape in obstacles)
        assert back.xy == route.xy[::-1]
        assert fresh == back


@pytest.mark.parametrize("seed", range(200, 230))
def test_one_obstacle_more_never_shortens_a_route(seed: int) -> None:
    obstacles, start, stop = _case(seed)
    rules, length = _rules(400.0), 0.0
    lengths = []
    for count in range(len(obstacles) + 1):
        longer = _length(routes_round(obstacles[:count]).route(start, stop, rules))
        lengths.append(longer - length)
        length = longer
    assert min(step for step in lengths if not math.isnan(step)) >= -1e-9


def test_lengths_are_true_ones() -> None:
    house = shapely.box(20, -5, 30, 5)
    plain = routes_round([house]).route((0.0, 0.0), (50.0, 0.0), _rules(60.0))
    scaled = routes_round([house], scale=1.001).route((0.0, 0.0), (50.0, 0.0), _rules(60.0))
    assert plain is not None
    assert scaled is not None
    assert scaled.length_m == pytest.approx(plain.length_m / 1.001)


@pytest.mark.parametrize("reach_m", [30.0, 60.0, 90.0])
def test_what_is_found_does_not_depend_on_what_was_asked_before(reach_m: float) -> None:
    obstacles, start, stop = _case(7)
    rules, used = _rules(reach_m), routes_round(obstacles)
    wanted = routes_round(obstacles).route(start, stop, rules)
    for most in (5.0, 20.0, 35.0, reach_m):
        used.along_streets(start, stop, rules, most)
    assert used.route(start, stop, rules) == wanted

"""Work sections, places on pipes, and the graph view."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from netplan.core.errors import BadWorkError
from netplan.network.linear_reference import (
    from_lon_lat,
    lines_between,
    lon_lat,
    nearest_chainage,
    piece_at,
    points_at,
    volumes_m3,
)
from netplan.network.model import Network
from netplan.network.topology import (
    adjacency,
    components,
    fed_nodes,
    neighbourhood,
    to_networkx,
)
from netplan.network.work_section import WorkPart, parts_at, parts_in_area, work_section
from tests.support.networks import (
    EAST_M,
    NORTH_M,
    build,
    customer,
    customers_cut_off,
    main,
    node_at,
    service,
    station,
    valve,
)


@pytest.fixture(scope="module")
def town() -> Network:
    return build(
        mains=[
            main("M-101", (0, 0), (60, 0), (60, 40)),
            main("M-102", (60, 40), (160, 40), od_mm=63),
            main("M-103", (30, 0), (30, -50)),
            main("M-104", (0, 90), (50, 90), status="abandoned"),
        ],
        services=[service("S1", (30, -40), (38, -40)), service("S2", (100, 40), (100, 48))],
        customers=[customer("C1", (38, -40), service_id="S1"), customer("C2", (100, 48), service_id="S2")],
        regulators=[station("R1", (0, 0))],
        valves=[valve("V1", (30, -10)), valve("V2", (130, 40), "closed")],
    )


def test_sections_are_sorted_and_overlaps_are_one(town: Network) -> None:
    parts = [WorkPart("M-102", 5, 9), WorkPart("M-101", 20, 40), WorkPart("M-101", 10, 25)]
    section = work_section(town, parts)
    assert section.pipe.tolist() == [0, 1]
    assert section.from_m.tolist() == [10, 5]
    assert section.to_m.tolist() == [40, 9]
    assert section.length_m == pytest.approx(34)
    # One length within another.
    inner = work_section(town, [WorkPart("M-101", 10, 40), WorkPart("M-101", 20, 25)])
    assert (inner.from_m.tolist(), inner.to_m.tolist()) == ([10], [40])


@pytest.mark.parametrize(
    ("part", "match"),
    [
        (WorkPart("M-201", 1, 2), r"no main 'M-201'; did you mean M-10"),
        (WorkPart("zzz", 1, 2), r"no main 'zzz'; name a main by its id"),
        (WorkPart("S1", 1, 2), "S1 is a service, not a main"),
        (WorkPart("M-104", 1, 2), "M-104 is recorded as abandoned or proposed"),
        (WorkPart("M-101", 90, 120), "chainage 120 m is beyond its end at 100.00 m"),
        (WorkPart("M-101", -1, 20), "chainage -1 m is below zero"),
        (WorkPart("M-101", 20, 20), "has no length"),
        (WorkPart("M-101", 30, 20), "has no length"),
        (WorkPart("M-101", float("nan"), 20), "not finite"),
    ],
)
def test_sections_that_cannot_be(town: Network, part: WorkPart, match: str) -> None:
    with pytest.raises(BadWorkError, match=match) as caught:
        work_section(town, [part])
    assert "\n" not in str(caught.value)


def test_an_empty_section_is_refused(town: Network) -> None:
    with pytest.raises(BadWorkError, match="is empty"):
        work_section(town, [])


def test_parts_in_an_area(town: Network) -> None:
    area = shapely.box(EAST_M + 40, NORTH_M - 10, EAST_M + 80, NORTH_M + 50)
    assert parts_in_area(town, area) == (WorkPart("M-101", 40, 100), WorkPart("M-102", 0, 20))
    with pytest.raises(BadWorkError, match="no live main lies inside"):
        parts_in_area(town, shapely.box(0, 0, 1, 1))


def test_parts_at_a_place(town: Network) -> None:
    lon, lat = lon_lat(town, points_at(town, np.array([1, 1]), np.array([50.0, 3.0]))).T
    assert parts_at(town, lon[0], lat[0], 20) == (WorkPart("M-102", 40, 60),)
    assert parts_at(town, lon[1], lat[1], 20) == (WorkPart("M-102", 0, 20),)
    assert parts_at(town, lon[1], lat[1], 900) == (WorkPart("M-102", 0, 100),)
    with pytest.raises(BadWorkError, match="no live main lies within 10 m"):
        parts_at(town, 9.5, 48.0, 20)
    with pytest.raises(BadWorkError, match="not above zero"):
        parts_at(town, lon[0], lat[0], 0)
    with pytest.raises(BadWorkError, match="no longitude and latitude"):
        parts_at(town, float("nan"), 48.0, 20)


def test_places_and_lines(town: Network) -> None:
    xy = points_at(town, np.array([0, 0, 1, 0]), np.array([0.0, 80.0, 30.0, 999.0]))
    assert (xy - (EAST_M, NORTH_M)).tolist() == [[0, 0], [60, 20], [90, 40], [60, 40]]
    many = points_at(town, np.zeros(1500, dtype=int), np.linspace(0, 100, 1500))
    assert np.allclose(many[:600], points_at(town, np.zeros(600, dtype=int), np.linspace(0, 100, 1500)[:600]))
    assert np.allclose(from_lon_lat(town, lon_lat(town, xy)), xy, atol=1e-5)
    (line,) = lines_between(town, np.array([0]), np.array([50.0]), np.array([70.0]))
    assert line.length == pytest.approx(20)
    assert len(line.coords) == 3
    pair = lines_between(town, np.array([0, 1]), np.array([0.0, 1.0]), np.array([100.0, 3.0]))
    assert [shape.length for shape in pair] == pytest.approx([100, 2])


def test_volumes_are_bore_area_times_length(town: Network) -> None:
    volume = volumes_m3(town, np.array([0]), np.array([0.0]), np.array([100.0]))
    # 110 mm SDR 11 has a wall of 10.0 mm (MS 1058: Part 2: 2005).
    assert volume[0] == pytest.approx(np.pi / 4 * 0.09**2 * 100)


def test_piece_at_and_nearest(town: Network) -> None:
    pieces = town.pieces
    first = piece_at(town, 0, 10.0)
    assert (pieces.from_m[first], pieces.to_m[first]) == (0, 30)
    assert pieces.from_m[piece_at(town, 0, 30.0)] == 30
    assert pieces.to_m[piece_at(town, 0, 100.0)] == 100
    beside_valve = piece_at(town, 2, 10.0)
    assert pieces.valve[beside_valve] < 0
    pipe, chainage, distance = nearest_chainage(
        town, points_at(town, np.array([0]), np.array([40.0])) + np.array([0.0, 1.0]), 5
    )
    assert (pipe[0], round(chainage[0], 6), round(distance[0], 6)) == (0, 40, 1)
    assert nearest_chainage(town, np.array([[0.0, 0.0]]), 5)[0].tolist() == [-1]


def test_connectivity(town: Network) -> None:
    fed = fed_nodes(town)
    assert fed[node_at(town, (38, -40))]
    assert not fed[node_at(town, (160, 40))]
    carries = town.pieces.is_open.copy()
    carries[town.valves.piece[0]] = False
    assert customers_cut_off(town, carries).tolist() == [0]
    assert len(set(components(town).tolist())) == 2


def test_adjacency_lists_every_open_piece_twice(town: Network) -> None:
    near = adjacency(town)
    assert len(near.piece) == 2 * int(town.pieces.is_open.sum())
    node = node_at(town, (30, 0))
    assert len(near.neighbour[near.of(node)]) == 3


def test_neighbourhoods(town: Network) -> None:
    start = np.array([node_at(town, (30, 0))])
    one = neighbourhood(town, start, 30.5)
    assert len(one) == 4
    assert set(one.tolist()) <= set(neighbourhood(town, start, 61.0).tolist())
    assert node_at(town, (0, 0)) in neighbourhood(town, start, 30.5)
    assert node_at(town, (0, 0)) not in neighbourhood(town, start, 29.5)


def test_the_networkx_view(town: Network) -> None:
    graph = to_networkx(town)
    assert graph.number_of_edges() == len(town.pieces)
    assert graph.number_of_nodes() == len(town.nodes)
    assert graph.nodes[node_at(town, (0, 0))]["stations"] == ["R1"]
    assert graph.nodes[node_at(town, (38, -40))]["customers"] == ["C1"]
    ways = {data.get("valve_id") for _, _, data in graph.edges(data=True)}
    assert ways == {None, "V1", "V2"}
    part = to_networkx(town, neighbourhood(town, np.array([node_at(town, (30, 0))]), 30.5))
    assert part.number_of_edges() == 3

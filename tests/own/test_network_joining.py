"""Where pipes join and where they do not."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from netplan.core.errors import BadNetworkError
from netplan.network.model import Network
from netplan.network.topology import components
from netplan.network.vocabulary import ValveState
from tests.support.networks import (
    build,
    codes,
    customer,
    fitting,
    injection,
    main,
    node_at,
    sensing_point,
    service,
    station,
    valve,
)

R1 = station("R1", (0, 0))


def joined(network: Network, one: tuple[float, float], other: tuple[float, float]) -> bool:
    part = components(network)
    return bool(part[node_at(network, one)] == part[node_at(network, other)])


def pieces_of(network: Network, pipe_id: str) -> list[tuple[float, float]]:
    row = network.pipes.id.find(pipe_id)
    own = network.pieces.pipe == row
    return [
        (round(a, 6), round(b, 6))
        for a, b in zip(network.pieces.from_m[own], network.pieces.to_m[own], strict=True)
    ]


@pytest.mark.parametrize(("gap", "meets"), [(0.0, True), (0.049, True), (0.051, False)])
def test_ends_join_within_the_snap_distance(gap: float, meets: bool) -> None:
    network = build(mains=[main("A", (0, 0), (100, 0)), main("B", (100 + gap, 0), (200, 0))], regulators=[R1])
    assert joined(network, (0, 0), (200, 0)) is meets


@pytest.mark.parametrize(("gap", "meets"), [(0.0, True), (0.049, True), (0.051, False)])
def test_an_end_on_the_interior_of_a_main_is_a_tee(gap: float, meets: bool) -> None:
    network = build(mains=[main("A", (0, 0), (100, 0)), main("B", (40, gap), (40, 50))], regulators=[R1])
    assert joined(network, (0, 0), (40, 50)) is meets
    assert pieces_of(network, "A") == ([(0, 40), (40, 100)] if meets else [(0, 100)])


def test_lines_that_only_cross_do_not_join() -> None:
    network = build(mains=[main("A", (0, 0), (100, 0)), main("B", (50, -50), (50, 50))], regulators=[R1])
    assert not joined(network, (0, 0), (50, 50))
    assert len(network.pieces) == 2


def test_a_vertex_on_another_main_is_no_joint() -> None:
    network = build(
        mains=[main("A", (0, 0), (50, 0), (100, 0)), main("B", (50, -50), (50, 0), (50, 50))], regulators=[R1]
    )
    assert not joined(network, (0, 0), (50, 50))


def test_systems_in_one_street_never_join() -> None:
    mains = [main("A", (0, 0), (100, 0)), main("B", (100, 0), (200, 0), system="MP")]
    network = build(mains=mains, regulators=[R1])
    assert network.systems == ("LP", "MP")
    assert len(network.nodes) == 4
    assert set(components(network).tolist()) == {0, 1}


def test_two_services_on_one_tap() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))],
        services=[service("S1", (30, 0), (30, 8)), service("S2", (30, 0), (30, -8))],
        regulators=[R1],
    )
    assert pieces_of(network, "A") == [(0, 30), (30, 100)]
    assert joined(network, (30, 8), (30, -8))
    assert "services-touch" not in codes(network)


def test_a_service_on_a_crossing_joins_both_mains_and_is_noticed() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0)), main("B", (50, -50), (50, 50))],
        services=[service("S1", (50, 0), (55, 5))],
        regulators=[R1],
    )
    assert joined(network, (0, 0), (50, 50))
    assert "service-on-crossing" in codes(network)


def test_services_that_touch_away_from_mains_are_noticed() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))],
        services=[service("S1", (30, 0), (30, 8)), service("S2", (30, 8), (35, 8))],
        regulators=[R1],
    )
    assert "services-touch" in codes(network)
    assert joined(network, (0, 0), (35, 8))


def test_abandoned_and_proposed_pipes_are_left_out() -> None:
    mains = [
        main("A", (0, 0), (100, 0), status="live"),
        main("B", (100, 0), (200, 0), status="abandoned"),
        main("C", (100, 0), (100, 90), status="proposed"),
    ]
    network = build(mains=mains, regulators=[R1])
    assert list(network.pipes.id) == ["A"]
    assert list(network.not_live) == ["B", "C"]


def test_multi_part_lines_chain_or_split() -> None:
    from shapely.geometry import MultiLineString

    from tests.support.networks import line

    chained = MultiLineString([line((0, 0), (40, 0)), line((100, 0), (40, 0))])
    split = MultiLineString([line((100, 0), (100, 50)), line((0, 90), (50, 90))])
    network = build(
        mains=[
            {**main("A", (0, 0), (1, 0)), "geometry": chained},
            {**main("B", (0, 0), (1, 0)), "geometry": split},
        ],
        regulators=[R1],
    )
    assert list(network.pipes.id) == ["A", "B/1", "B/2"]
    assert network.pipes.length_m.tolist() == pytest.approx([100, 50, 50])
    assert "split-line" in codes(network)
    # Chainage starts at the first vertex of the first part.
    first = network.pipes.coords_m[network.pipes.coord_start[0]]
    assert first.tolist() == [3_500_000.0, 5_400_000.0]


def test_a_valve_is_a_piece_of_its_own() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))],
        regulators=[R1],
        valves=[valve("V1", (60, 0.4), "closed"), valve("V2", (20, 0), "unknown"), valve("V3", (10, 0.6))],
    )
    assert pieces_of(network, "A") == [(0, 20), (20, 20), (20, 60), (60, 60), (60, 100)]
    assert network.pieces.is_open.tolist() == [True, True, True, False, True]
    assert network.pieces.valve.tolist() == [-1, 1, -1, 0, -1]
    assert network.valves.piece.tolist() == [3, 1, -1]
    assert network.valves.state.tolist()[:2] == [ValveState.CLOSED, ValveState.UNKNOWN]
    assert not joined(network, (0, 0), (100, 0))
    assert {"valve-state-unknown", "valve-on-no-main"} <= set(codes(network))


def test_a_valve_near_a_tee_closes_the_main_it_lies_along() -> None:
    mains = [main("A", (0, 0), (100, 0)), main("B", (50, 0), (50, 40))]
    network = build(mains=mains, regulators=[R1], valves=[valve("V1", (50, 0.3), "closed")])
    assert network.pipes.id[network.valves.pipe[0]] == "B"
    assert joined(network, (0, 0), (100, 0))
    assert not joined(network, (0, 0), (50, 40))
    assert "valve-main-unclear" not in codes(network)


def test_a_valve_on_a_tee_is_unclear() -> None:
    mains = [main("A", (0, 0), (100, 0)), main("B", (50, 0), (50, 40))]
    network = build(mains=mains, regulators=[R1], valves=[valve("V1", (50, 0))])
    assert "valve-main-unclear" in codes(network)


def test_a_valve_on_a_plain_joint_is_clear() -> None:
    mains = [main("A", (0, 0), (50, 0)), main("B", (50, 0), (100, 0))]
    network = build(mains=mains, regulators=[R1], valves=[valve("V1", (50, 0), "closed")])
    assert "valve-main-unclear" not in codes(network)
    assert not joined(network, (0, 0), (100, 0))


def test_valves_at_both_ends_and_two_at_one_place() -> None:
    valves = [valve("V1", (0, 0), "closed"), valve("V2", (0, 0)), valve("V3", (100, 0), "closed")]
    network = build(mains=[main("A", (0, 0), (100, 0))], regulators=[R1], valves=valves)
    own = network.pieces
    assert own.valve.tolist() == [0, 1, -1, 2]
    assert own.from_m.tolist() == [0, 0, 0, 100]
    # One after the other, not side by side.
    assert own.to_node[0] == own.from_node[1]
    assert own.from_node[0] == network.stations.node[0]


def test_a_station_behind_its_outlet_valve() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))], regulators=[R1], valves=[valve("V1", (0, 0), "closed")]
    )
    part = components(network)
    assert part[network.stations.node[0]] != part[node_at(network, (100, 0))]


def test_points_of_another_system_find_no_main() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0)), main("B", (0, 0.3), (100, 0.3), system="MP")],
        regulators=[R1],
        valves=[valve("V1", (50, 0.3), system="LP"), valve("V2", (50, 0), system="MP")],
    )
    assert [network.pipes.id[row] for row in network.valves.pipe] == ["A", "B"]


def test_stations_sensing_points_and_injections_get_nodes() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))],
        regulators=[R1, station("R2", (0, 30))],
        sensing_points=[sensing_point("R1", (70, 0.2)), sensing_point("RX", (10, 0))],
        injections=[injection("I1", (100, 0))],
        fittings=[fitting("F2", (30, 0)), fitting("F1", (30, 40))],
    )
    assert network.stations.node[1] == -1
    assert network.nodes.x_m[network.stations.sensing_node[0]] == pytest.approx(3_500_070)
    assert network.sensing.station.tolist() == [0, -1]
    assert network.injections.node[0] == node_at(network, (100, 0))
    assert list(network.fittings.id) == ["F1", "F2"]
    assert network.fittings.pipe.tolist() == [-1, 0]
    assert network.fittings.chainage_m[1] == pytest.approx(30)
    assert {"regulator-on-no-main", "fitting-on-no-main"} <= set(codes(network))


def test_heights_come_from_z() -> None:
    mains = [main("A", (0, 0, 100.0), (100, 0, 110.0)), main("B", (50, 0), (50, 40))]
    network = build(mains=mains, regulators=[R1])
    height = network.nodes.height_m
    assert height[node_at(network, (0, 0))] == pytest.approx(100)
    assert height[node_at(network, (50, 0))] == pytest.approx(105)
    assert np.isnan(height[node_at(network, (50, 40))])


def test_customers_by_service_then_nearest_service_end() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0))],
        services=[service("S1", (30, 0), (30, 8)), service("S2", (60, 8), (60, 0))],
        customers=[
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (62, 8)),
            customer("C3", (30, 8), service_id="S1; S2"),
            customer("C4", (90, 30)),
            customer("C5", (31, 8), service_id="S9"),
        ],
        regulators=[R1],
    )
    start, node = network.customers.attach_start, network.customers.attach_node
    s1, s2 = node_at(network, (30, 8)), node_at(network, (60, 8))
    held = [set(node[a:b].tolist()) for a, b in pairwise(start.tolist())]
    assert held == [{s1}, {s2}, {s1, s2}, set(), {s1}]
    assert {"customer-on-no-pipe", "unknown-service"} <= set(codes(network))


def test_customers_without_services_layer_hang_on_the_nearest_main() -> None:
    network = build(
        mains=[main("A", (0, 0), (100, 0)), main("B", (0, 20), (100, 20))],
        customers=[customer("C1", (40, 5)), customer("C2", (40, 9.7)), customer("C3", (40, 80))],
        regulators=[R1],
    )
    assert network.customers.attach_start.tolist() == [0, 1, 3, 3]
    assert codes(network).count("two-mains") == 1
    assert pieces_of(network, "A") == [(0, 40), (40, 100)]


def test_no_station_is_an_error_in_one_line() -> None:
    with pytest.raises(BadNetworkError, match=r"regulators: no live regulator station") as caught:
        build(mains=[main("A", (0, 0), (100, 0))], regulators=[])
    assert "\n" not in str(caught.value)


def test_lengths_are_divided_by_the_scale_of_the_projection() -> None:
    from tests.support.networks import layers

    rows = layers(mains=[main("A", (0, 0), (1000, 0))], customers=[], regulators=[R1])
    from netplan.network.build import build_network

    plain = build_network(rows)
    # The same line in UTM 33, some 440 km from that zone's central meridian.
    moved = build_network({name: frame.to_crs(25833) for name, frame in rows.items()})
    assert plain.scale == 1.0
    assert moved.scale > 1.001
    assert moved.pipes.length_m[0] == pytest.approx(plain.pipes.length_m[0], rel=5e-4)


def test_chainages_along_a_pipe_are_true_lengths() -> None:
    from netplan.network.build import build_network
    from tests.support.networks import layers

    rows = layers(
        mains=[main("A", (0, 0), (1000, 0)), main("B", (400, 0), (400, 300))], customers=[], regulators=[R1]
    )
    # In UTM 33, far from that zone's central meridian, a metre is longer on the map.
    network = build_network({name: frame.to_crs(25833) for name, frame in rows.items()})
    assert network.scale > 1.001
    (start, tee), (again, end) = pieces_of(network, "A")
    assert start == 0.0
    assert tee == again == pytest.approx(400.0, rel=5e-4)
    assert end == pytest.approx(1000.0, rel=5e-4)

"""Faults in the data, each planted once in a sound network."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.network.checks import check_network
from tests.support.networks import build, customer, line, main, sensing_point, service, station, valve

Rows = dict[str, Any]


def sound() -> Rows:
    return {
        "mains": [
            main("M1", (0, 0), (100, 0), street="High Row", mop_mbar=75),
            main("M2", (100, 0), (200, 0), street="High Row", mop_mbar=75),
            main("M3", (50, 0), (50, 80), street="Low Row", mop_mbar=75),
        ],
        "services": [service("S1", (20, 0), (20, 8)), service("S2", (50, 60), (58, 60))],
        "customers": [customer("C1", (20, 8), service_id="S1"), customer("C2", (58, 60), service_id="S2")],
        "regulators": [station("R1", (0, 0), capacity_m3h=800)],
        "sensing_points": [sensing_point("R1", (60, 0))],
        "valves": [valve("V1", (120, 0))],
    }


def found(rows: Rows) -> set[tuple[str, str]]:
    return {(finding.code, finding.feature_id) for finding in check_network(build(strict=False, **rows))}


def test_a_sound_network_has_no_findings() -> None:
    assert found(sound()) == set()


def planted(layer: str, row: dict[str, Any]) -> Rows:
    rows = sound()
    rows[layer] = [other for other in rows[layer] if other.get("id") != row.get("id")] + [row]
    return rows


@pytest.mark.parametrize(
    ("layer", "row", "code", "feature_id"),
    [
        ("mains", main("M4", (200, 1), (300, 1)), "near-miss", "M4"),
        ("mains", main("M4", (200, 1), (300, 1)), "part-without-station", "M4"),
        ("mains", main("M4", (150, -20), (150, 20)), "crossing", "M2"),
        ("mains", main("M4", (200, 0), (260, 0), (230, 20), (230, -20)), "self-crossing", "M4"),
        ("mains", main("M4", (100, 0), (0, 0)), "on-top", "M4"),
        ("mains", main("M2", (100, 0), (200, 0), street="High Row", od_mm=315), "size-jump", "M1"),
        ("mains", main("M2", (100, 0), (200, 0), year=198), "odd-year", "M2"),
        ("mains", main("M2", (100, 0), (200, 0), depth_m=90), "odd-depth", "M2"),
        ("mains", main("M2", (100, 0), (200, 0), mop_mbar=25), "pressure-above-mop", "M2"),
        ("mains", main("M2", (100, 0), (200, 0), mop_mbar=45), "fault-pressure-above-mop", "M2"),
        ("mains", main("M2", (100, 0, 30.0), (200, 0, 430.0)), "odd-height", "M2"),
        ("mains", main("M2", (100, 0, 30.0), (200, 0, 9000.0)), "odd-height", "M2"),
        ("mains", main("M4", (900_000, 0), (900_100, 0)), "far-off", "M4"),
        ("mains", main("M4", (200, 0), (200, 0)), "zero-length", "M4"),
        ("services", service("S3", (70, 0), (70, 9)), "service-without-customer", "S3"),
        ("services", service("S3", (70, 10), (70, 19)), "service-on-no-main", "S3"),
        ("services", service("S3", (50, 20), (50, 40)), "service-between-mains", "S3"),
        ("customers", customer("C3", (300, 300)), "customer-on-no-pipe", "C3"),
        ("customers", customer("C3", (20, 8), annual_kwh=None), "no-demand", "C3"),
        ("customers", customer("C3", (20, 8), annual_kwh=-4), "odd-demand", "C3"),
        ("customers", customer("C3", (20, 100), service_id="S1"), "far-from-service", "C3"),
        ("customers", customer("C3", (20, 8), service_id="S7"), "unknown-service", "C3"),
        ("customers", customer("C3", (20, 8), address=""), "missing-address", "C3"),
        ("regulators", station("R2", (300, 300)), "regulator-on-no-main", "R2"),
        ("regulators", station("R2", (100, 0), max_outlet_mbar=None), "no-fault-pressure", "R2"),
        ("regulators", station("R2", (100, 0), max_outlet_mbar=9), "odd-fault-pressure", "R2"),
        ("regulators", station("R2", (100, 0)), "no-sensing-point", "R2"),
        ("valves", valve("V1", (120, 0), "closed"), "closed-valve-cuts-off", "V1"),
        ("valves", valve("V1", (120, 0), "stuck"), "unknown-state", "V1"),
        ("valves", valve("V1", (120, 0), "unknown"), "valve-state-unknown", "V1"),
        ("valves", valve("V1", (120, 0), operable="unknown"), "valve-operability-unknown", "V1"),
        ("valves", valve("V1", (20, 0)), "valve-side-unclear", "V1"),
    ],
)
def test_each_fault_is_found(layer: str, row: dict[str, Any], code: str, feature_id: str) -> None:
    assert (code, feature_id) in found(planted(layer, row))


def test_a_dead_customer_behind_a_closed_valve() -> None:
    rows = planted("valves", valve("V1", (50, 30), "closed"))
    assert ("dead-customer", "C2") in found(rows)
    assert ("dead-customer", "C1") not in found(rows)


def test_a_boundary_valve_between_two_fed_areas_is_a_note() -> None:
    rows = planted("valves", valve("V1", (120, 0), "closed"))
    rows["regulators"].append(station("R2", (200, 0), capacity_m3h=500))
    rows["sensing_points"].append(sensing_point("R2", (200, 0)))
    assert found(rows) == {("boundary-valve", "V1")}


def test_a_crossing_with_a_joint_is_none() -> None:
    rows = sound()
    rows["mains"] += [main("M4", (150, -20), (150, 0)), main("M5", (150, 0), (150, 20))]
    assert found(rows) == set()


def test_no_sensing_points_at_all_is_said_once() -> None:
    rows = sound()
    del rows["sensing_points"]
    assert found(rows) == {("no-sensing-points", "")}


def test_a_branching_service_serves_through_its_branches() -> None:
    from shapely.geometry import MultiLineString

    rows = sound()
    forked = MultiLineString([line((70, 0), (70, 9)), line((70, 9), (66, 9)), line((70, 9), (74, 9))])
    rows["services"].append({**service("S3", (0, 0), (1, 1)), "geometry": forked})
    rows["customers"] += [
        customer("C3", (66, 9), service_id="S3"),
        customer("C4", (74.5, 9), service_id="S3"),
    ]
    network = build(**rows)
    codes = {finding.code for finding in check_network(network)}
    assert codes == {"split-line"}
    start, node = network.customers.attach_start, network.customers.attach_node
    assert [round(float(network.nodes.x_m[node[k]]) - 3_500_000, 3) for k in start[2:4]] == [66, 74]

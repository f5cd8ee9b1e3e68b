"""The curb valve of a service that is hit: found on the service, and kept away from like any stop."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_at, hits_on_main
from netplan.emergency.next_rings import EmergencyRequest
from netplan.network.linear_reference import lon_lat
from netplan.network.model import Network
from netplan.outputs.emergency.answer_words import service_lines
from netplan.outputs.number_format import METRIC
from netplan.planfile.emergency_answer import EmergencyAnswer
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, service, station, valve


def _street(**more: Any) -> Network:
    rows: dict[str, Any] = {
        "mains": [main("M1", (0, 0), (200, 0))],
        "regulators": [station("R1", (0, 0))],
        "services": [service("S1", (100, 0), (100, 60)), service("S2", (140, 60), (140, 0))],
        "customers": [customer("C1", (100, 60), service_id="S1"), customer("C2", (140, 60), service_id="S2")],
        "valves": [
            valve("V1", (30, 0)),
            valve("far", (100, 50)),
            valve("near", (100, 3)),
            valve("other", (140, 3)),
            valve("other far", (140, 50)),
        ],
    }
    return build(**(rows | more))


def _answer(network: Network, name: str, at_m: float, *failed: str) -> EmergencyAnswer:
    tables = EmergencyTables(network, default_rules())
    return first_answer(tables, hits_on_main(network, name, at_m), EmergencyRequest(name, 1, 10.0, failed))


@pytest.mark.parametrize(("name", "at_m", "curb"), [("S1", 55.0, "near"), ("S2", 5.0, "other")])
def test_the_valve_nearest_to_the_main_is_the_one(name: str, at_m: float, curb: str) -> None:
    (one,) = _answer(_street(), name, at_m).services
    assert one.curb_valve == curb
    assert one.curb_valve_usable
    assert one.curb_valve_distance_m == 52.0
    assert one.customers == ({"S1": "C1", "S2": "C2"}[name],)


def test_within_the_keep_away_distance_nobody_approaches_it() -> None:
    answer = _answer(_street(), "S1", 10.0)
    (one,) = answer.services
    assert one.curb_valve == "near"
    assert one.curb_valve_distance_m == 7.0
    assert not one.curb_valve_usable
    (line,) = service_lines(answer, METRIC)
    assert "do not approach it until the competent person permits" in line


def test_one_that_failed_or_is_not_known_to_be_operable_is_not_used() -> None:
    (one,) = _answer(_street(), "S1", 55.0, "near").services
    assert (one.curb_valve, one.curb_valve_usable) == ("near", False)
    doubtful = [valve("near", (100, 3), operable="unknown")]
    (one,) = _answer(_street(valves=doubtful), "S1", 55.0).services
    assert (one.curb_valve, one.curb_valve_usable) == ("near", False)
    (one,) = _answer(_street(valves=[valve("V1", (30, 0))]), "S1", 55.0).services
    assert (one.curb_valve, one.curb_valve_usable, one.curb_valve_distance_m) == ("", False, None)


def test_a_place_among_meter_points_is_answered_however_far_the_mains_are_drawn() -> None:
    network = _street()
    network.customers.x_m[:] += 30_000.0
    x_m, y_m = network.customers.x_m[0], network.customers.y_m[0]
    lon, lat = lon_lat(network, [[x_m, y_m]])[0].tolist()  # type: ignore[arg-type]
    hits = hits_at(EmergencyTables(network, default_rules()).boxes, lon, lat, 10.0)
    assert hits.mains
    assert "the nearest is" in hits.doubts[0]

"""Pressures of an emergency: several hits, no station, a sensing point parted off, ways to feed in words (own)."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

import pytest

from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits, hits_near, hits_on_main
from netplan.emergency.next_rings import EmergencyRequest
from netplan.emergency.solved_rings import solved_answer
from netplan.emergency.solved_states import MOST_HITS
from netplan.network.model import Network
from netplan.outputs.number_format import figures_of
from netplan.outputs.terminal.emergency_pressures import pressure_lines
from netplan.planfile.emergency_answer import EmergencyAnswer
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, sensing_point, service, station, valve
from tests.support.ring_towns import ring_town

AT = datetime(2027, 1, 12, 8, 40)
REQUEST = EmergencyRequest("place", 1, 10.0)


def _solved(
    network: Network, hits: Hits | None = None, main_id: str = "B", at_m: float = 30.0
) -> EmergencyAnswer:
    tables = EmergencyTables(network, read_rules(None))
    found = hits_on_main(network, main_id, at_m) if hits is None else hits
    first = first_answer(tables, found, REQUEST)
    return solved_answer(tables, found, REQUEST, first, at=AT, air_temp_c=2.0)


def _street(**more: Any) -> Network:
    """Return a street of three mains from a station, valves on both sides of the middle one, a closed one beyond."""
    houses = {"A": 40.0, "B": 150.0, "C": 240.0, "D": 340.0}
    rows: dict[str, Any] = {
        "mains": [
            main("A", (0, 0), (100, 0), street="Low Row"),
            main("B", (100, 0), (200, 0), street="Low Row"),
            main("C", (200, 0), (300, 0), street="High Row"),
            main("D", (300, 0), (400, 0), street="Far Row"),
        ],
        "services": [service(f"S{name}", (x, 0), (x, 8)) for name, x in houses.items()],
        "customers": [
            customer(f"C{name}", (x, 8), service_id=f"S{name}", street=f"{name} Row")
            for name, x in houses.items()
        ],
        "valves": [
            valve("V1", (104, 0)),
            valve("V2", (196, 0)),
            valve("V3", (296, 0), "closed"),
        ],
        "regulators": [
            station("R1", (0, 0)),
            station("R2", (400, 0), outlet_mbar=30.0),
            station("R3", (280, 0), outlet_mbar=22.0),
        ],
    }
    return build(strict=False, **{**rows, **more})


def test_who_is_weak_is_told_the_closed_valve_or_the_nearest_main_of_another_area() -> None:
    answer = _solved(_street(), at_m=50.0)
    assert answer.solved is not None
    one, other = sorted(next(one for one in answer.solved if one.kind == "valves").may_be_fed)
    for line, row, own in ((one, "A", "B"), (other, "C", "C")):
        assert line.startswith(
            f"1 meter, weak while the ring closes, round {row} Row: by opening valve V3 on main C, "
        )
        assert (
            " m away (recorded as closed, operable; set outlet 30.0 mbar); or from main C in High Row" in line
        )
        assert line.endswith(f" m straight from main {own}; not sized, not promised")
    metres = [float(word) for word in re.findall(r"([0-9]+) m ", one)]
    assert 190.0 <= min(metres) <= max(metres) <= 200.0, "from the valve V1 to the closed one, V3"
    said = "\n".join(pressure_lines(answer, figures_of("us")))
    assert "in. w.c." in said
    assert "set outlet 12.04 in. w.c." in said
    assert "mbar" not in said
    assert "35.6 °F" in said


def test_the_escape_ends_with_the_ring_and_is_what_the_range_reaches() -> None:
    answer = _solved(_street(), at_m=50.0)
    states = (answer.solved or ())[0].states
    assert [state.name for state in states] == ["before any stop", "after stop 1 (V1)", "ring shut"]
    assert states[0].escape_m3h == answer.escape[0].flows[-1].most_m3h
    assert states[-1].escape_m3h is None
    assert answer.escape[0].pressure_mbar <= 27.0
    assert answer.conditions is not None
    assert answer.conditions.hour == "2027-01-12 08:00–09:00"
    assert answer.conditions.required_mbar == 21.0


def test_of_several_hits_each_is_opened_by_itself() -> None:
    network = ring_town(6)
    x_m, y_m = network.nodes.x_m.mean(), network.nodes.y_m.mean()
    tables = EmergencyTables(network, read_rules(None))
    hits = hits_near(tables.boxes, float(x_m), float(y_m), 60.0, "there")
    assert len(hits.mains) > MOST_HITS
    answer = _solved(network, hits)
    for solved in answer.solved or ():
        open_at = {state.name.partition("gas escaping at ")[2] for state in solved.states[:-1]}
        assert open_at == {network.pipes.id[hit.pipe] for hit in hits.mains[:MOST_HITS]}
        assert f"only the nearest {MOST_HITS} are solved" in solved.not_solved
        assert solved.states[-1].name.startswith("ring shut")


def test_without_a_station_it_says_so() -> None:
    answer = _solved(_street(regulators=[station("R1", (0, 500))]), at_m=50.0)
    assert answer.solved is not None
    assert len(answer.solved) == 2
    assert all("no station lies on a live main" in one.not_solved for one in answer.solved)
    assert "no pressures" in answer.log[-1].what


def test_a_station_parted_from_where_it_senses_is_at_full_flow() -> None:
    answer = _solved(_street(sensing_points=[sensing_point("R1", (220, 0))]), at_m=50.0)
    valves = next(one for one in answer.solved or () if one.kind == "valves")
    assert valves.states[-1].stations_full_flow == ("R1",)
    assert "opens fully" in valves.not_solved


@pytest.mark.parametrize("at_m", [0.0, 100.0])
def test_a_hit_at_the_end_of_a_main_is_solved(at_m: float) -> None:
    answer = _solved(_street(), at_m=at_m)
    solved = answer.solved or ()
    assert len(solved) == 2
    assert all(one.states and not one.not_solved for one in solved)

"""What stages share, and what an earlier stage has laid (own)."""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace
from typing import Any, cast

from netplan.isolation.segment_graph import segment_graph
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Bypass, Option, Stop
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from netplan.staging import SharedPlaces, renewal_of_mains, stage_renewal
from netplan.staging.new_pipe import stops_in_new_pipe
from netplan.staging.stage_days import stage_starts
from tests.support.networks import EAST_M, NORTH_M, build, customer, main, service, station
from tests.support.streets import long_row

SHARE_M, MOVE = 4.0, 400.0


def _stop(name: str, x: float, price: float, main_id: str, chainage_m: float, **other: Any) -> Stop:
    of = {"id": name, "valve_id": None, "method": "bag stop", "x": EAST_M + x, "y": NORTH_M, "price": price}
    return cast(Stop, SimpleNamespace(**(of | {"main_id": main_id, "chainage_m": chainage_m} | other)))


def _option(*stops: Stop, hoses: tuple[tuple[float, int], ...] = ()) -> Option:
    lines = tuple(cast(Bypass, SimpleNamespace(bore_mm=bore, parallel=count)) for bore, count in hoses)
    return cast(Option, SimpleNamespace(stops=stops, bypasses=lines))


def _places() -> SharedPlaces:
    """Return the places of a street whose mains A (0 to 60 m), B (110 back to 60 m) and C meet X at 60 m alone."""
    network = long_row(())
    rules = read_rules(None, {"staging": {"share_m": SHARE_M, "bypass_move": MOVE}})
    return SharedPlaces(network, segment_graph(network), rules)


def test_one_stop_is_shared_with_one_of_the_next_stage() -> None:
    places = _places()
    left = _option(_stop("S1", 50.0, 900.0, "A", 50.0))
    right = _option(_stop("S1", 48.0, 700.0, "A", 48.0), _stop("S2", 52.0, 800.0, "A", 52.0))
    # The pair that saves more is taken.
    assert [(o.stop_id, o.before_id, o.saved_minor) for o in places.between(left, right).stops] == [
        ("S2", "S1", 80_000)
    ]
    assert [(o.stop_id, o.before_id, o.saved_minor) for o in places.between(right, left).stops] == [
        ("S1", "S2", 80_000)
    ]


def test_a_joint_between_two_mains_parts_no_place_but_a_junction_does() -> None:
    places = _places()
    # B ends and C begins at 110 m, where nothing else joins: 0.9 m apart over the joint.
    over_joint = (_stop("S1", 109.5, 900.0, "B", 0.5), _stop("S2", 110.4, 900.0, "C", 0.4))
    assert places.is_one_place(*over_joint)
    over_junction = (_stop("S1", 59.5, 900.0, "A", 59.5), _stop("S2", 60.4, 900.0, "B", 49.6))
    assert not places.is_one_place(*over_junction)


def test_what_is_not_one_place_is_not_shared() -> None:
    places, one = _places(), _stop("S1", 50.0, 900.0, "A", 50.0)
    assert places.is_one_place(one, _stop("S2", 54.0, 900.0, "A", 54.0))
    for other in (
        _stop("S2", 54.1, 900.0, "A", 54.1),
        _stop("S2", 50.0, 900.0, "A", 50.0, method="squeeze-off"),
        _stop("S2", 50.0, 900.0, "A", 50.0, valve_id="V7"),
    ):
        assert not places.is_one_place(one, other)
    valves = [_stop(f"S{x}", x, 200.0, "A", x, valve_id="V7") for x in (0.0, 55.0)]
    assert places.is_one_place(*valves)


def test_hoses_of_one_bore_are_moved_as_many_as_both_stages_have() -> None:
    places = _places()
    left, right = _option(hoses=((63.0, 2), (90.0, 1))), _option(hoses=((63.0, 1), (63.0, 2), (110.0, 1)))
    moved = places.between(left, right)
    rules = read_rules(None)
    each = round((rules.price.bypass - MOVE) * 100)
    assert [(one.bore_mm, one.hoses, one.saved_minor) for one in moved.hoses] == [(63.0, 2, 2 * each)]
    assert moved.saved_minor == 2 * each > 0


def test_a_move_dearer_than_a_bypass_saves_nothing() -> None:
    network = long_row(())
    rules = read_rules(None, {"staging": {"bypass_move": 5000.0}})
    places = SharedPlaces(network, segment_graph(network), rules)
    assert places.between(_option(hoses=((63.0, 1),)), _option(hoses=((63.0, 1),))).saved_minor == 0


def test_a_stop_where_an_earlier_stage_laid_new_pipe_says_which() -> None:
    stops = [_stop(f"S{k}", x, 900.0, "A", x) for k, x in enumerate((5.0, 25.0, 45.0), 1)]
    renewed = [(1, (WorkPart("A", 0.0, 10.0),)), (2, (WorkPart("B", 0.0, 60.0), WorkPart("A", 20.0, 25.0)))]
    assert stops_in_new_pipe(stops, renewed) == {"S1": 1, "S2": 2}


def test_days_leave_out_the_weekend_and_stay_open_without_a_start() -> None:
    starts = stage_starts(datetime(2026, 12, 3, 7, 30), 4, 2)
    assert [f"{day:%a %d %H:%M}" for day in starts if day] == [
        "Thu 03 07:30", "Mon 07 07:30", "Wed 09 07:30", "Fri 11 07:30"
    ]  # fmt: skip
    assert stage_starts(None, 2, 1) == (None, None)


def test_everybody_behind_a_stage_is_off_while_it_is_worked_on() -> None:
    # One station at the west end: whoever lives beyond the western stop has no gas.
    houses = (-50, 20, 60, 110, 140, 190, 230)
    network = build(
        strict=False,
        mains=[
            main("M0", (-60, 0), (0, 0), od_mm=110.0, year=2010),
            main("M1", (0, 0), (250, 0), od_mm=110.0, year=2010),
        ],
        services=[service(f"S{x}", (x, 0), (x, 8)) for x in houses],
        customers=[customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in houses],
        regulators=[station("R1", (-60, 0))],
    )
    rules = read_rules(None, {"staging": {"shortest_m": 100, "longest_m": 150, "step_m": 125, "ways": 1}})
    request = PlanRequest(
        network, (), rules, air_temp_c=4.0, hours=16.0, options=2, feeds_allowed=False, weather=False
    )
    found = stage_renewal(request, renewal_of_mains(network, ["M1"]))
    assert len(found.stages) == 2
    for stage in found.stages:
        west = max(x for stop in stage.option.stops if (x := stop.x - EAST_M) <= stage.from_m)
        assert stage.meters_off == sum(x > west for x in houses)

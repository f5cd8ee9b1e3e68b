"""A stop that two stages share is shared once (own)."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from netplan.isolation import CutStop
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from netplan.staging import renewal_of_mains
from netplan.staging.renewal_stages import _Sections, shared_stops
from tests.support.networks import build, customer, main, service, station


def _stop(chainage_m: float, price_minor: int, **other: Any) -> CutStop:
    of = {"valve": -1, "pipe": 3, "method": "bag stop", "chainage_m": chainage_m, "price_minor": price_minor}
    return cast(CutStop, SimpleNamespace(**(of | other)))


def test_one_stop_is_shared_with_one_of_the_next_stage() -> None:
    left, right = [_stop(50.0, 900)], [_stop(48.0, 700), _stop(52.0, 800)]
    # The pair that saves more is taken.
    assert shared_stops(left, right, 4.0) == ((0, 1),)
    assert shared_stops(right, left, 4.0) == ((1, 0),)


def test_what_is_not_one_place_is_not_shared() -> None:
    one = _stop(50.0, 900)
    for other in (
        _stop(54.1, 900),
        _stop(50.0, 900, pipe=4),
        _stop(50.0, 900, method="squeeze-off"),
        _stop(50.0, 900, valve=7),
    ):
        assert shared_stops([one], [other], 4.0) == ()
    assert shared_stops([_stop(0.0, 200, valve=7)], [_stop(90.0, 200, valve=7)], 4.0) == ((0, 0),)


def test_everybody_behind_a_stage_is_off_while_it_is_worked_on() -> None:
    # One station at the west end: whoever lives beyond the western stop has no gas.
    houses = (20, 60, 110, 140, 190, 230)
    network = build(
        strict=False,
        mains=[main("M1", (0, 0), (250, 0), od_mm=110.0, year=2010)],
        services=[service(f"S{x}", (x, 0), (x, 8)) for x in houses],
        customers=[customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in houses],
        regulators=[station("R1", (0, 0))],
    )
    # Gas is so dear that a second stop pays: the houses behind it are not in the zone.
    rules = read_rules(None, {"staging": {"shortest_m": 10}, "price": {"gas_per_m3": 5000.0}})
    request = PlanRequest(network, (), rules, air_temp_c=4.0, options=2)
    ways = _Sections(request, renewal_of_mains(network, ["M1"]), (100.0, 150.0)).ways(0, 1)
    assert any(len(way.what.cut.stops) > 1 for way in ways)
    for way in ways:
        west = min(stop.chainage_m for stop in way.what.cut.stops)
        behind = sum(x > west for x in houses)
        assert way.off == len(way.what.off) == behind

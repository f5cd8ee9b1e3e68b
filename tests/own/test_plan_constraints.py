"""Each hard constraint: a planted violation shows when the datum that carries it is taken away (own)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.rank import Ranking, rank
from netplan.planning.request import PlanRequest
from netplan.planning.work_states import work_states
from netplan.rules import read_rules
from tests.support.networks import build, customer, injection, main, sensing_point, service, station, valve


def ranking(
    rules: dict[str, Any] | None = None, work: tuple[float, float] = (110.0, 116.0), **layers: Any
) -> Ranking:
    """Plan 6 m of a street of 300 m with a station at its west end and two houses; layers may be added."""
    rows: dict[str, Any] = {
        "mains": [main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010)],
        "services": [service("S1", (60, 0), (60, 8)), service("S2", (200, 0), (200, 8))],
        "customers": [customer("C1", (60, 8), service_id="S1"), customer("C2", (200, 8), service_id="S2")],
        "regulators": [station("R1", (0, 0))],
    }
    rows.update(layers)
    network = build(strict=False, **rows)
    parts = (WorkPart("M1", *work),)
    request = PlanRequest(network, parts, read_rules(None, rules or {}))
    return rank(PlanningContext.for_request(request), work_section(network, parts), lambda _: None)


def off(ranking: Ranking) -> list[list[int]]:
    """Return the customers off in each option."""
    return [option.off.tolist() for option in ranking.options]


@pytest.mark.parametrize("source", ["station", "injection", "sensing"])
def test_no_source_and_no_sensing_point_in_the_zone(source: str) -> None:
    # In the middle of the work: no zone can do without it.
    added: dict[str, Any] = {
        "station": {"regulators": [station("R1", (0, 0)), station("R2", (113, 0))]},
        "injection": {"injections": [injection("I1", (113, 0))]},
        "sensing": {"sensing_points": [sensing_point("R1", (113, 0))]},
    }[source]
    assert ranking().options
    with pytest.raises(NoPlanError):
        ranking(**added)


def test_rating() -> None:
    assert ranking(regulators=[station("R1", (0, 0), max_outlet_mbar=50.0)]).options
    methods = {
        option_stop.method
        for option in ranking(regulators=[station("R1", (0, 0), max_outlet_mbar=100.0)]).options
        for option_stop in option.cut.stops
    }
    assert methods == {"squeeze-off"}
    weaker = ranking(regulators=[station("R1", (0, 0), max_outlet_mbar=50.0)])
    assert "bag stop" in {stop.method for option in weaker.options for stop in option.cut.stops}


def test_priority_customer_stays_on() -> None:
    no_feed = {"bypass": {"from_other_mains": False}, "price": {"bypass": 50000.0}}
    assert off(ranking(no_feed))[0] == [1]
    care = [
        customer("C1", (60, 8), service_id="S1"),
        customer("C2", (200, 8), service_id="S2", priority="care_home"),
    ]
    kept = ranking(no_feed, customers=care)
    assert all(1 not in some for some in off(kept))
    assert all(option.feeds_minor > 0 for option in kept.options)


def test_customer_with_two_services_is_off_when_one_lies_in_the_zone() -> None:
    services = [
        service("S1", (60, 0), (60, 8)),
        service("S2", (200, 0), (200, 8)),
        service("S3", (113, 0), (113, 8)),
    ]
    one = [customer("C1", (60, 8), service_id="S1"), customer("C2", (200, 8), service_id="S2")]
    two = [customer("C1", (60, 8), service_id="S1;S3"), customer("C2", (200, 8), service_id="S2")]
    assert any(0 not in some for some in off(ranking(services=services, customers=one)))
    assert all(0 in some for some in off(ranking(services=services, customers=two)))


def test_relighting_fits_the_day() -> None:
    many = [
        customer("C1", (60, 8), service_id="S1"),
        customer("C2", (200, 8), service_id="S2", meters=30),
    ]
    dear = {"price": {"bypass": 50000.0}}
    quick = ranking({**dear, "crew": {"relights_per_hour": 12.0}}, customers=many)
    assert [1] in off(quick)
    slow = ranking({**dear, "crew": {"relights_per_hour": 5.0}}, customers=many)
    assert all(1 not in some for some in off(slow))


def test_pressure_holds_in_every_state() -> None:
    # A ring of two ways; with the wide one stopped the far customer hangs on the narrow one.
    layers: dict[str, Any] = {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (0, 0), (0, 40), (300, 40), (300, 0), od_mm=63.0, year=2010),
        ],
        "services": [
            service("S1", (60, 0), (60, 8)),
            service("S2", (200, 0), (200, 8), od_mm=110.0),
        ],
        "customers": [
            customer("C1", (60, 8), service_id="S1"),
            customer(
                "C2", (200, 8), service_id="S2", annual_kwh=5e5, category="business", priority="hospital"
            ),
        ],
    }
    strict = {"price": {"bypass": 50000.0}}
    loose = ranking({**strict, "pressure": {"minimum_mbar": 0.5, "margin_mbar": 0.0}}, **layers)
    assert any(option.feeds_minor == 0 for option in loose.options)
    try:
        held = ranking(strict, **layers).options
    except NoPlanError:
        held = ()
    assert all(option.feeds_minor > 0 for option in held)


@pytest.mark.parametrize(("mop_mbar", "opens"), [(100.0, True), (40.0, False)])
def test_boundary_valve_opens_only_between_compatible_pressures(mop_mbar: float, *, opens: bool) -> None:
    layers: dict[str, Any] = {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010, mop_mbar=mop_mbar),
            main("M2", (0, 0), (0, 40), (300, 40), (300, 0), od_mm=125.0, year=2010),
        ],
        "valves": [valve("V1", (150, 40), "closed")],
    }
    options = ranking({"price": {"open_valve": 1.0}}, **layers).options
    by_valve = [
        feed for option in options for feed in option.feeds if feed and feed.size.feed.valve_link >= 0
    ]
    assert bool(by_valve) is opens


def _parted_by_a_boundary_valve() -> dict[str, Any]:
    """Make a strong part and one with a thirsty business, beside a boundary valve.

    Behind the work the hospital may be fed through the valve. While the main is not yet stopped the open
    valve draws the business's gas down the whole main, and the house at the end of a thin branch falls short;
    with the stops in it holds again.
    """
    return {
        "mains": [
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010, mop_mbar=100.0),
            main("M2", (300, 0), (320, 0), od_mm=125.0, year=2010, mop_mbar=100.0),
            main("M3", (90, 0), (90, -120), od_mm=63.0, year=2010),
        ],
        "services": [
            service("S2", (200, 0), (200, 8)),
            service("S3", (312, 0), (312, 8), od_mm=110.0),
            service("S4", (90, -118), (98, -118), od_mm=63.0),
        ],
        "customers": [
            customer("C2", (200, 8), service_id="S2", priority="hospital"),
            customer("C3", (312, 8), service_id="S3", annual_kwh=3e6, category="business"),
            customer("C4", (98, -118), service_id="S4", annual_kwh=5.6e5, category="business"),
        ],
        "regulators": [
            station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=50.0),
            station("R2", (320, 0), outlet_mbar=24.0, max_outlet_mbar=50.0),
        ],
        "valves": [valve("V1", (300, 0), "closed")],
    }


@pytest.mark.parametrize("every_state", [True, False])
def test_pressure_holds_in_the_states_between(monkeypatch: pytest.MonkeyPatch, *, every_state: bool) -> None:
    if not every_state:  # the constraint switched off: only the last state is looked at

        def last_alone(*given: Any, **named: Any) -> Any:
            work = work_states(*given, **named)
            return replace(work, states=work.states[-1:], restoring=())

        monkeypatch.setattr("netplan.planning.cut_to_feed.work_states", last_alone)
    cheap_valve = {
        "price": {"open_valve": 1.0, "bypass": 50000.0, "hose_per_m": 5000.0},
        "pressure": {"outlet_difference_mbar": 6.0},
    }
    options = ranking(cheap_valve, **_parted_by_a_boundary_valve()).options
    assert options
    by_valve = [any(feed and feed.size.feed.valve_link >= 0 for feed in option.feeds) for option in options]
    assert any(by_valve) is not every_state

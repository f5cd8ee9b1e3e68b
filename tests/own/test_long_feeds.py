"""A long bypass or hose says which rule asks for it, and why no shorter one is taken (own)."""

from __future__ import annotations

import re
from typing import Any

import pytest
import shapely

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile import model
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.networks import build, customer, line, main, service, station

WORK = WorkPart("M1", 110.0, 140.0)
"""A bypass past it is some 40 m long."""


def _plan(
    rules: dict[str, Any] | None = None, work: WorkPart = WORK, **layers: Any
) -> tuple[model.Option, ...]:
    """Plan the renewal of 30 m of a street of 300 m, fed from its west end."""
    rows: dict[str, Any] = {
        "mains": [main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010)],
        "services": [service("S1", (60, 0), (60, 8)), service("S2", (200, 0), (200, 8))],
        "customers": [customer("C1", (60, 8), service_id="S1"), customer("C2", (200, 8), service_id="S2")],
        "regulators": [station("R1", (0, 0))],
    }
    network = build(strict=False, **(rows | layers))
    request = PlanRequest(network, (work,), read_rules(None, rules or {}), options=2, weather=False)
    return make_plan(request).plan.options


def _of_bypass(option: model.Option) -> list[str]:
    return [warning for warning in option.warnings if warning.startswith("B1 (")]


def _people(meters: int = 1, **columns: Any) -> list[Any]:
    return [
        customer("C1", (60, 8), service_id="S1"),
        customer("C2", (200, 8), service_id="S2", meters=meters, **columns),
    ]


def test_a_priority_customer_asks_for_it() -> None:
    (warning,) = _of_bypass(_plan(customers=_people(priority="care_home"))[0])
    assert warning.startswith("B1 (bypass, 4")
    assert "longer than 30 m (rules bypass.long_share, bypass.reach_m), and needed" in warning
    assert warning.endswith("because priority customer C2 (care_home) may not go off")


def test_the_crews_day_asks_for_it() -> None:
    free = {"price": {"off_per_hour": {"household": 0.0}}, "crew": {"relights_per_hour": 5.0}}
    (warning,) = _of_bypass(_plan(free, customers=_people(meters=30))[0])
    assert "because of the crew's day (rule crew.day_end): were its customers off, relighting 30" in warning


def test_nothing_is_said_of_a_short_one_or_of_one_that_is_cheaper_than_off() -> None:
    short = _plan({"bypass": {"long_share": 0.9}}, customers=_people(priority="care_home"))[0]
    cheap = _plan({"price": {"off_per_hour": {"household": 900.0}}}, customers=_people())[0]
    for option in (short, cheap):
        assert len(option.bypasses) == 1
        assert _of_bypass(option) == []


def test_a_way_round_a_house_is_said_to_be_needed_and_its_route_is_in_the_plan() -> None:
    # The main bends round a house in the corner: the bypass cannot cut through it.
    layers: dict[str, Any] = {
        "mains": [main("M1", (0, 0), (100, 0), (100, 200), od_mm=125.0, year=2010)],
        "services": [service("S1", (60, 0), (60, -8)), service("S2", (100, 150), (108, 150))],
        "customers": [
            customer("C1", (60, -8), service_id="S1"),
            customer("C2", (108, 150), service_id="S2", priority="school"),
        ],
    }
    house = line((70, 2), (98, 2), (98, 30), (70, 30), (70, 2))
    buildings: list[dict[str, Any]] = [{"name": "", "geometry": shapely.Polygon(house)}]
    work = WorkPart("M1", 90.0, 110.0)
    free = _plan(work=work, **layers)[0]
    built = _plan(work=work, **layers, buildings=buildings)[0]
    (straight,), (bent,) = free.bypasses, built.bypasses
    assert len(straight.route) == 2
    assert len(bent.route) == 3
    assert bent.length_m > straight.length_m
    assert not shapely.LineString(bent.route).intersects(buildings[0]["geometry"])
    assert bent.length_m == pytest.approx(1.15 * shapely.LineString(bent.route).length, rel=1e-3)


@pytest.mark.parametrize("reach_m", [30.0, 41.0])
def test_a_bypass_beyond_the_reach_is_refused_and_the_reason_says_so(reach_m: float) -> None:
    rules = {"bypass": {"reach_m": reach_m, "from_other_mains": False}}
    with pytest.raises(NoPlanError, match=f"a feed for it within bypass.reach_m of {reach_m:g} m"):
        _plan(rules, customers=_people(priority="care_home"))
    (bypass,) = _plan({"bypass": {"reach_m": 42.0}}, customers=_people(priority="care_home"))[0].bypasses
    assert 41.0 < bypass.length_m <= 42.0


def test_a_wall_across_the_street_is_gone_round_or_the_reason_gives_the_length() -> None:
    wall = shapely.Polygon(line((120, -2), (130, -2), (130, 12), (120, 12), (120, -2)))
    long_wall = shapely.Polygon(line((120, -30), (130, -30), (130, 30), (120, 30), (120, -30)))
    rules = {"bypass": {"from_other_mains": False}}
    people = _people(priority="care_home")
    (bypass,) = _plan(rules, customers=people, buildings=[{"name": "", "geometry": wall}])[0].bypasses
    assert len(bypass.route) == 4
    with pytest.raises(NoPlanError) as refused:
        _plan(rules, customers=people, buildings=[{"name": "", "geometry": long_wall}])
    reasons = " ".join((str(refused.value), *refused.value.reasons))
    assert re.search(r"bypass S\d>S\d: \d\d\.\d m by its route, beyond bypass.reach_m of 60 m", reasons), (
        reasons
    )

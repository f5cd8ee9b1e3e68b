"""What can be told of every zone is told before any is priced, with the order or rule that would free it (own)."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.blocking_orders import Lifted, LiftedKind
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, service, station

WORK = (WorkPart("M1", 95.0, 105.0),)


def _street(**columns: Any) -> Network:
    """Return a ring of three mains that hangs on one main of 200 m with the station at its other end."""
    at = {"C1": (40.0, 0.0), "C2": (230.0, 0.0), "C3": (200.0, 40.0)}
    return build(
        strict=False,
        mains=[
            main("M1", (0, 0), (200, 0), od_mm=125.0, year=2005),
            main("M2", (200, 0), (260, 0), od_mm=125.0, year=2005),
            main("M3", (260, 0), (200, 80), od_mm=125.0, year=2005),
            main("M4", (200, 80), (200, 0), od_mm=125.0, year=2005),
        ],
        services=[service(f"S{who[1]}", (x, y), (x + 5, y + 8)) for who, (x, y) in at.items()],
        customers=[
            customer(who, (x + 5, y + 8), service_id=f"S{who[1]}", **(columns if who == "C2" else {}))
            for who, (x, y) in at.items()
        ],
        regulators=[station("R1", (0, 0))],
    )


@pytest.mark.parametrize(
    ("columns", "said", "instead"),
    [
        ({"priority": "medical"}, "customer C2, who must stay on, loses its gas", {"own_supply": (1,)}),
        (
            {"meters": 90},
            "relighting 91 meters takes",
            {"rules": read_rules(None, {"crew": {"relights_per_hour": 60.0}})},
        ),
    ],
)
def test_the_reason_names_what_gives_a_plan_once_it_is_lifted(
    columns: dict[str, Any], said: str, instead: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, Any] = {
        "network": _street(**columns),
        "parts": WORK,
        "rules": read_rules(),
        "weather": False,
        "feeds_allowed": False,
    }
    with monkeypatch.context() as patched:
        # Of the question as it was asked no zone is priced.
        patched.setattr("netplan.planning.rank.price_cut", lambda *_: pytest.fail("a zone was priced"))
        patched.setattr("netplan.planning.make_plan.lifted_orders", lambda *_: ())
        with pytest.raises(NoPlanError, match=said) as told:
            make_plan(PlanRequest(**given))
    assert not told.value.cut_short
    assert "no feed may be used, by order" in told.value.reasons[0]
    with pytest.raises(NoPlanError, match=said) as told:
        make_plan(PlanRequest(**given))
    lifted = {one.kind for one in told.value.lifted}
    assert LiftedKind.NO_FEEDS in lifted
    for change in ({"feeds_allowed": True}, instead):
        assert make_plan(PlanRequest(**{**given, **change})).plan.options


def _told_with_feeds(**given: Any) -> NoPlanError:
    """Return the error of a question that is answered before any zone is priced."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("netplan.planning.rank.price_cut", lambda *_: pytest.fail("a zone was priced"))
        patched.setattr("netplan.planning.make_plan.lifted_orders", lambda *_: ())
        with pytest.raises(NoPlanError) as told:
            make_plan(PlanRequest(weather=False, **given))
    assert not told.value.cut_short
    return told.value


def test_a_customer_whom_no_hose_or_bypass_carries_is_named() -> None:
    thin = read_rules(None, {"bypass": {"bores_mm": [8.0, 10.0], "parallel_max": 1}})
    network = _street(priority="medical", annual_kwh=100_000.0)
    told = _told_with_feeds(network=network, parts=WORK, rules=thin)
    assert "customer C2, who must stay on, loses every station, and no hose or bypass carries the" in str(
        told
    )
    assert "--own-supply C2" in str(told)
    changes: tuple[dict[str, Any], ...] = ({"rules": read_rules()}, {"rules": thin, "own_supply": (1,)})
    for change in changes:
        given: dict[str, Any] = {"network": network, "parts": WORK, "weather": False, **change}
        assert make_plan(PlanRequest(**given)).plan.options


def test_a_customer_whom_no_feed_reaches_is_named() -> None:
    network = read_network(sample_network())
    near = read_rules(None, {"bypass": {"reach_m": 20.0}})
    parts = (WorkPart("M0183", 20.0, 26.0),)
    told = _told_with_feeds(network=network, parts=parts, rules=near)
    assert "customer C00068, who must stay on, loses every station, and no feed can reach it" in str(told)
    with pytest.raises(NoPlanError) as named:
        make_plan(PlanRequest(network, parts, near, weather=False))
    assert Lifted(LiftedKind.OWN_SUPPLY, ("C00068",)) in named.value.lifted

"""A premises with two services, one of them on the work: off, isolated, and never taken for kept (own)."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Plan
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, service, station


def _plan(**columns: Any) -> Plan:
    """Plan a street of two stations in which C2 has one service on the work and one well away from it."""
    network = build(
        strict=False,
        mains=[main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010)],
        services=[
            service("S1", (60, 0), (60, 8)),
            service("S2", (113, 0), (113, 8)),
            service("S3", (200, 0), (200, 8)),
        ],
        customers=[
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (113, 8), service_id="S2;S3", **columns),
        ],
        regulators=[station("R1", (0, 0)), station("R2", (300, 0))],
    )
    return make_plan(
        PlanRequest(network, (WorkPart("M1", 110.0, 116.0),), default_rules(), weather=False)
    ).plan


def test_it_is_off_and_isolated_in_every_option() -> None:
    plan = _plan()
    assert plan.options
    for option in plan.options:
        said = {
            customer.id: (customer.effect, customer.cause, customer.kept_by) for customer in option.customers
        }
        assert said["C2"] == ("off", "isolated", None)


def test_a_hospital_there_is_no_plan() -> None:
    with pytest.raises(NoPlanError):
        _plan(priority="hospital")

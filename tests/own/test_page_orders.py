"""What the page orders is what the command it shows orders."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from netplan.cli import app as commands
from netplan.cli import plan as plan_command
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError
from netplan.page.page_orders import PageOrders, PageWork, equal_command, request_of
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import default_rules

WORK = (PageWork(main_id="M0142", from_m=158.0, to_m=162.123), PageWork(main_id="M0147", from_m=30, to_m=34))


@pytest.fixture(scope="module")
def network() -> Any:
    return read_network(sample_network())


def test_the_equal_command_makes_the_equal_request(
    network: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    orders = PageOrders(
        work=WORK,
        force=("V011",),
        forbid=("M0147:1.1", "M0142:10:20"),
        keep_on=("C00001",),
        own_supply=("C00068",),
        max_stops=6,
        options=3,
        no_bypass=True,
        start="2027-03-09T07:00",
        hours=9.0,
        air_temp_c=4.0,
    )
    asked: list[PlanRequest] = []
    monkeypatch.setattr(plan_command, "run_plan", lambda request, *_, **__: asked.append(request()))
    line = shlex.split(equal_command(str(sample_network()), orders, str(tmp_path / "out")))
    assert line[0] == "gas-netplan"
    monkeypatch.setattr(sys, "argv", line)
    with pytest.raises(SystemExit) as left:
        commands.main()
    assert not left.value.code
    (by_command,) = asked
    by_page = request_of(orders, network, default_rules(), options=50, weather=True)
    assert by_page.parts == by_command.parts
    assert by_page.orders == by_command.orders
    for name in ("start", "hours", "air_temp_c", "feeds_allowed", "own_supply", "options", "weather"):
        assert getattr(by_page, name) == getattr(by_command, name), name


@pytest.mark.parametrize(
    "wrong",
    [
        {"work": [{"main_id": "M1", "from_m": -1, "to_m": 2}]},
        {"work": [{"main_id": "", "from_m": 1, "to_m": 2}]},
        {"work": [{"main_id": "M1", "from_m": "nan", "to_m": 2}]},
        {"keep_out": [[[0, 0], [1, 1]]]},
        {"keep_out": [[[0, 0], [181, 1], [1, 0]]]},
        {"keep_out": [[[0, 0]] * 3000]},
        {"hours": 0},
        {"air_temp_c": 100},
        {"more": 1},
    ],
)
def test_impossible_orders_are_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        PageOrders.model_validate(wrong)


def test_orders_that_the_network_does_not_know_are_refused(network: Any) -> None:
    for orders, words in (
        (PageOrders(), "point at a main"),
        (PageOrders(work=(PageWork(main_id="M0142", from_m=5, to_m=5),)), "no length"),
        (PageOrders(work=WORK, forbid=("V999",)), "V999"),
        (PageOrders(work=WORK, keep_on=("nobody",)), "nobody"),
        (
            PageOrders(work=WORK, keep_out=(((10.5, 52.9), (10.6, 53.0), (10.6, 52.9), (10.5, 53.0)),)),
            "cross",
        ),
    ):
        with pytest.raises(BadInputError, match=words):
            request_of(orders, network, default_rules(), options=1, weather=False)

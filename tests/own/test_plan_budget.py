"""A search that is cut short says so and by what; unless the clock did it, another run gives the same (own)."""

from __future__ import annotations

import itertools
import json
import sys
from pathlib import Path

import pytest

from netplan.cli import main
from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.core.errors import NoPlanError
from netplan.isolation import Orders
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules

HOPELESS = ("--main", "M0183", "--from", "72.42", "--to", "78.42")
"""A wide main whose purge takes more than the live side can give: thousands of zones, and none stands."""


def _plan(monkeypatch: pytest.MonkeyPatch, choice: dict[str, float], *, second_s: float = 1e-9) -> str:
    """Return plan.json of the demo's work by a clock that goes on by so much whenever it is read."""
    ticks = itertools.count()
    monkeypatch.setattr("netplan.planning.search_budget.time.monotonic", lambda: next(ticks) * second_s)
    request = PlanRequest(
        read_network(sample_network()),
        (WorkPart(*DEMO_WORK),),
        read_rules(None, {"choice": choice}),
        weather=False,
    )
    return plan_to_json(make_plan(request).plan, provenance=False)


def _reason(plan: str) -> str:
    """Return why the last option listed is not proven."""
    proof = json.loads(plan)["options"][-1]["proof"]
    assert not proof["optimal"]
    return str(proof["reason"])


@pytest.mark.parametrize(
    ("choice", "reason"),
    [({"max_solves": 60}, "stopped after 60 flow solutions"), ({"max_zones": 3}, "stopped after 3 zones")],
)
def test_a_spent_budget_gives_the_same_bytes_on_a_slow_machine(
    monkeypatch: pytest.MonkeyPatch, choice: dict[str, float], reason: str
) -> None:
    quick = _plan(monkeypatch, choice)
    assert reason in _reason(quick)
    # A quarter of a second for every look at the clock: three minutes, and the rules' five not yet over.
    assert _plan(monkeypatch, choice, second_s=0.25) == quick


def test_the_clock_ends_a_search_last_and_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    slow = _plan(monkeypatch, {"seconds": 30.0}, second_s=0.3)
    assert "stopped by the clock after 30 s: another run may prove more" in _reason(slow)


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("max_zones = 4", ("(4 zones, ", "stopped after 4 zones")),
        ("max_solves_without_option = 50", (" 50 flow solutions)", "stopped after 50 flow solutions")),
        ("seconds = 1e-6", ("(0 zones, 0 flow solutions)", "stopped by the clock after 1e-06 s")),
    ],
)
def test_no_plan_is_not_said_of_a_search_cut_short(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    rule: str,
    said: tuple[str, str],
) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text(f"[choice]\n{rule}\n", encoding="utf-8")
    command = [
        "plan",
        str(sample_network()),
        *HOPELESS,
        "--rules",
        str(rules),
        "--out",
        str(tmp_path / "plan"),
    ]
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *command])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 3
    printed = capsys.readouterr().err
    assert "no set of stops" not in printed
    assert "no plan found within the budget" in printed
    assert "but one may exist" in printed
    assert all(words in printed for words in said)
    # The same constraint with other figures is not said again.
    assert printed.count("with gas let in for the purge") <= 1
    assert not (tmp_path / "plan").exists()


def test_too_few_stops_allowed_is_proven() -> None:
    network, part = read_network(sample_network()), WorkPart(*DEMO_WORK)
    for most in (1, 2):
        request = PlanRequest(network, (part,), read_rules(None), orders=Orders(max_stops=most))
        with pytest.raises(NoPlanError, match="no zone has fewer than 3") as told:
            make_plan(request)
        assert not told.value.cut_short


def test_a_limit_of_stops_ends_a_search_after_so_many_families(monkeypatch: pytest.MonkeyPatch) -> None:
    # Without the proof nothing but the count of families ends it.
    monkeypatch.setattr("netplan.planning.rank.require_enough_stops", lambda *_: None)
    network, part = read_network(sample_network()), WorkPart(*DEMO_WORK)
    request = PlanRequest(network, (part,), read_rules(None), orders=Orders(max_stops=2))
    with pytest.raises(NoPlanError, match="but one may exist") as told:
        make_plan(request)
    assert told.value.cut_short

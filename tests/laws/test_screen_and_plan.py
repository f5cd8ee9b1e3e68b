"""A screen beside plans of the same mains: outcomes do not contradict them, the least burden is below theirs.

The suite takes a few mains of each of some random towns, of small networks with closed valves and of parts of the
sample town and the open town; ``NETPLAN_SCREENED=40 pytest tests/laws/test_screen_and_plan.py`` takes every main of
that many random towns and networks.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import Rules, default_rules, read_rules
from netplan.screening import ScreenSettings, screen
from netplan.screening.main_evaluator import NO_PLAN, NOT_SETTLED, STOPS_FOUND
from netplan.screening.screen_settings import span_of
from tests.aside_towns import aside_layers
from tests.fuzz.districts import district
from tests.support.networks import build, customer, main, service, station, valve
from tests.support.plan_cases import plan_case, plan_rules
from tests.whole_plan.towns import random_town

MORE = int(os.environ.get("NETPLAN_SCREENED", "0"))
TOWNS = range(MORE) if MORE else (2, 5)
CASES = range(MORE) if MORE else (277,)
AT_MOST = 10_000 if MORE else 1
"""Mains of each kind that are planned of a town."""
QUICK: dict[str, Any] = {"options": 1, "seconds": 30.0, "max_zones": 40, "max_solves_without_option": 400}


@dataclass(frozen=True)
class Asked:
    """A network with rules and the question put to its mains."""

    network: Network
    rules: Rules
    settings: ScreenSettings


def _town(seed: int) -> Asked:
    town = random_town(seed)
    rules = read_rules(None, overrides={**town.rules, "choice": QUICK})
    return Asked(
        build_network(town.layers()), rules, ScreenSettings(pressure=False, air_temp_c=town.air_temp_c)
    )


def _case(seed: int) -> Asked:
    rules = plan_rules(seed)
    quick = rules.choice.model_copy(update=QUICK)
    return Asked(
        plan_case(seed).network,
        rules.model_copy(update={"choice": quick}),
        ScreenSettings(pressure=False, hours=9.0),
    )


def _planned(asked: Asked, main_id: str, span_m: tuple[float, float]) -> tuple[str, float]:
    """Return what planning the same work says, and the burden of the best option."""
    settings = asked.settings
    request = PlanRequest(
        asked.network,
        (WorkPart(main_id, *span_m),),
        asked.rules,
        hours=settings.hours,
        air_temp_c=settings.air_temp_c,
        weather=False,
    )
    try:
        return "plan", make_plan(request).plan.options[0].burden
    except NoPlanError as error:
        return ("nothing found" if error.cut_short else "no plan"), np.nan
    except (BadInputError, NotSolvedError):
        return "refused", np.nan


def _some(rows: list[dict[str, Any]], unfed: set[str]) -> list[dict[str, Any]]:
    """Return a few mains of each kind: by outcome and whether something feeds them."""
    kinds: dict[tuple[str, bool], list[dict[str, Any]]] = {}
    for row in rows:
        kinds.setdefault((row["outcome"], row["main_id"] in unfed), []).append(row)
    return [row for _, some in sorted(kinds.items()) for row in some[:AT_MOST]]


def _beside_plans(asked: Asked, folder: Path, mains: list[str] | None = None) -> Counter[tuple[str, str]]:
    """Screen a town and plan some of its mains; return how often which outcome met which answer."""
    rows = screen(asked.network, asked.rules, asked.settings, folder=folder).table.to_pylist()
    unfed = {row["main_id"] for row in rows if row["reason"].startswith("no station and no injection")}
    met: Counter[tuple[str, str]] = Counter()
    for row in _some(rows, unfed) if mains is None else [row for row in rows if row["main_id"] in mains]:
        name = row["main_id"]
        span_m = span_of(asked.network.pipes.length_m.item(row["row"]), asked.settings)
        answer, burden = _planned(asked, name, span_m)
        met[row["outcome"], answer] += 1
        met["unfed", answer] += name in unfed
        if row["outcome"] == NO_PLAN:
            assert answer != "plan", (name, row["reason"])
        if answer == "plan" and row["outcome"] == STOPS_FOUND:
            assert row["burden_least"] <= burden + 1e-9, name
    return met


def test_no_outcome_contradicts_a_plan_and_no_plan_undercuts_the_least_burden(tmp_path: Path) -> None:
    met: Counter[tuple[str, str]] = Counter()
    for seed in TOWNS:
        met += _beside_plans(_town(seed), tmp_path / f"town {seed}")
    for seed in CASES:
        met += _beside_plans(_case(seed), tmp_path / f"case {seed}")
    assert met[STOPS_FOUND, "plan"] >= 5
    assert met["unfed", "plan"]
    assert met[NO_PLAN, "no plan"]


@pytest.mark.parametrize("name", ["close", "aside", *(["schutterwald", "lane"] if MORE else [])])
def test_the_same_in_parts_of_larger_towns(name: str, tmp_path: Path) -> None:
    layers, work = district(name) if name != "aside" else (None, WorkPart("T02", 48.0, 52.0))
    network = build_network(aside_layers() if layers is None else layers, strict=False)
    rules = read_rules(None, overrides={"choice": QUICK})
    asked = Asked(network, rules, ScreenSettings(pressure=False, air_temp_c=0.0))
    met = _beside_plans(asked, tmp_path / "blocks", None if MORE else [work.main_id])
    assert sum(met[STOPS_FOUND, answer] for answer in ("plan", "no plan", "nothing found"))


def _dead_part(*, station_beyond: bool = False) -> Network:
    """Return a street at whose end a closed valve leads to houses that nothing feeds, and a main joined to none."""
    places = [(20.0, 0.0), (40.0, 0.0), (230.0, 0.0), (250.0, 0.0), (430.0, 0.0), (450.0, 0.0), (470.0, 0.0)]
    return build(
        strict=False,
        mains=[
            main("A", (0, 0), (200, 0)),
            main("B", (200, 0), (400, 0)),
            main("C", (400, 0), (500, 0)),
            main("D", (0, 300), (100, 300)),
        ],
        services=[service(f"S{k}", at, (at[0], 8)) for k, at in enumerate(places)],
        customers=[
            customer(
                f"C{k}", (at[0], 8), service_id=f"S{k}", meters=20, priority="hospital" if k == 6 else ""
            )
            for k, at in enumerate(places)
        ],
        regulators=[station("R1", (0, 0)), *([station("R2", (500, 0))] if station_beyond else [])],
        valves=[valve("V1", (399, 0), "closed")],
    )


@pytest.mark.parametrize("station_beyond", [True, False])
def test_who_had_no_gas_before_costs_nothing_beyond_a_stop(station_beyond: bool, tmp_path: Path) -> None:
    rules = read_rules(None, overrides={"choice": QUICK})
    network, settings = (
        _dead_part(station_beyond=station_beyond),
        ScreenSettings(pressure=False, air_temp_c=4.0),
    )
    asked = Asked(network, rules, settings)
    assert _beside_plans(asked, tmp_path / "blocks", ["A", "B"])[STOPS_FOUND, "plan"] == 2
    rows = screen(network, rules, settings, folder=tmp_path / "again").table.to_pylist()
    burden = _planned(asked, "B", (99.75, 100.25))[1]
    assert rows[1]["burden_least"] == pytest.approx(burden, abs=0.005)


def test_an_outcome_says_no_more_than_the_stops_prove(tmp_path: Path) -> None:
    network, rules, quick = _dead_part(), default_rules(), ScreenSettings(pressure=False)
    rows = screen(network, rules, quick, folder=tmp_path / "blocks").table.to_pylist()
    assert [row["outcome"] for row in rows] == [STOPS_FOUND, STOPS_FOUND, STOPS_FOUND, NOT_SETTLED]
    assert not rows[0]["reason"]
    assert rows[2]["reason"] == "no station and no injection feeds it as recorded"
    assert "the cheapest zone has no stop" in rows[3]["reason"]
    # The limit of stops is the plan's.
    few = read_rules(None, overrides={"choice": {"max_stops": 1}})
    row = screen(network, few, quick, folder=tmp_path / "few").table.to_pylist()[0]
    assert _planned(Asked(network, few, quick), "A", (99.75, 100.25))[0] == "no plan"
    assert (row["outcome"], row["burden_least"]) == (NO_PLAN, None)
    assert "more than 1 stops are needed" in row["reason"]

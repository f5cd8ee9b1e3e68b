"""A plan with a pipe taken as not live has the lists, stops and feeds of the plan with the true pipe live.

In a random town the size of one random main or service is spoilt. Either the plan is refused, or it is the plan
of the sound town: customers off and kept, on standby, in doubt and failing when something is lost, stops and
feeds are compared as they stand in plan.json. Customers whom the plan names as without gas by the records may
be in doubt besides, and in no other list.

More towns: ``NETPLAN_SET_ASIDE=110 python -m pytest tests/laws/test_set_aside.py -s``.
"""

from __future__ import annotations

import json
import os
import sys
from collections import Counter
from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pytest

from netplan.core.errors import BadNetworkError, NetplanError, NoPlanError, NotSolvedError
from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning import pipes_set_aside as proof
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import read_rules
from tests.support.networks import Row, layers
from tests.whole_plan.towns import Town, random_town

Plan = dict[str, Any]
Rows = dict[str, list[Row]]

TOWNS: Final = int(os.environ.get("NETPLAN_SET_ASIDE", "8"))
SPOILT: Final[tuple[Row, ...]] = (
    {"od_mm": None},
    {"od_mm": 11_000.0},
    {"wall_mm": None, "sdr": None},
    {"wall_mm": None, "sdr": 1.2},
    {"od_mm": 32.0, "wall_mm": None, "sdr": None, "bore_mm": 60.0},
)
LIMITS: Final = {
    "choice": {"options": 2, "max_zones": 40, "max_solves": 250, "max_solves_without_option": 150},
    "bad_data": {"share": 0.34},
}


def spoilt(town: Town, seed: int) -> Rows:
    """Return the rows of a town with the size of one main or service spoilt."""
    rng = np.random.default_rng([17, seed])
    layer = "mains" if rng.random() < 0.6 else "services"
    rows = {name: [dict(row) for row in some] for name, some in town.rows.items()}
    rows[layer][int(rng.integers(len(rows[layer])))].update(SPOILT[seed % len(SPOILT)])
    return rows


def planned(town: Town, rows: Rows, *, set_aside: bool) -> Plan | NetplanError:
    try:
        filled: dict[str, Any] = {name: some for name, some in rows.items() if some}
        network = build_network(layers(**filled), set_aside=set_aside)
        own_supply = tuple(network.customers.id.find(ident) for ident in town.own_supply)
        request = PlanRequest(
            network,
            tuple(WorkPart(*part) for part in town.work),
            read_rules(None, overrides={**town.rules, **LIMITS}),
            air_temp_c=town.air_temp_c,
            own_supply=own_supply,
            weather=False,
        )
        plan: Plan = json.loads(plan_to_json(make_plan(request).plan))
    except NetplanError as error:
        return error
    return plan


def differences(plan: Plan, true: Plan) -> list[str]:
    """Return which lists, stops and feeds of a plan are not those of the sound town's plan."""
    named = {name for row in plan["set_aside"] for name in row["customers"]}
    if len(plan["options"]) != len(true["options"]):
        return ["the number of options"]
    found = []
    for mine, theirs in zip(plan["options"], true["options"], strict=True):
        found += [what for what, here in _exact(mine).items() if here != _exact(theirs)[what]]
        found += [what for what, here in _all_but(mine).items() if (here ^ _all_but(theirs)[what]) - named]
        lost, truly = _lost(mine), _lost(theirs)
        found += [f"{key} lost" for key in truly if not truly[key] <= lost.get(key, set())]
        found += [f"{key} lost" for key in lost if lost[key] - truly.get(key, set()) - named]
    return found


def _exact(option: Plan) -> dict[str, Any]:
    return {
        "stops": [
            (s["method"], s["main_id"], s["chainage_m"], s["work_side"], s["valve_id"])
            for s in option["stops"]
        ],
        "off": {(c["id"], c["cause"]) for c in option["customers"] if c["effect"] == "off"},
        "kept": {(c["id"], c["cause"], c["kept_by"]) for c in option["customers"] if c["effect"] == "kept"},
        "standby": [(f["stop_id"], f["failure"], f["use"], set(f["standby"])) for f in option["fallback"]],
        "feeds": [(b["kind"], b["from"], b["to"], b["bore_mm"], b["parallel"]) for b in option["bypasses"]],
        "opened": [valve["valve_id"] for valve in option["opened_valves"]],
        "zones": [zone["pipes"] for zone in option["zones"]],
    }


def _all_but(option: Plan) -> dict[str, set[str]]:
    return {
        "in doubt": {row["id"] for row in option["in_doubt"]},
        "weak before": set(option["pressures"]["weak_before"]),
        "high before": set(option["pressures"]["high_before"]),
    }


def _lost(option: Plan) -> dict[str, set[str]]:
    return {f"{loss['what']} {loss['id']}": set(loss["customers"]) for loss in option["losses"]}


def test_a_plan_with_a_pipe_set_aside_is_the_plan_with_the_true_pipe_or_refused() -> None:
    count: Counter[str] = Counter()
    wrong = []
    for seed in range(TOWNS):
        town = random_town(seed)
        answer, true = (planned(town, rows, set_aside=True) for rows in (spoilt(town, seed), town.rows))
        if isinstance(answer, dict):
            count["plan"] += 1
            count["plan with customers named"] += any(row["customers"] for row in answer["set_aside"])
            assert len(answer["set_aside"]) == 1
            said = (
                differences(answer, true)
                if isinstance(true, dict)
                else [f"no plan of the sound town: {true}"]
            )
            wrong += [f"town {seed}: {what}" for what in said]
        elif isinstance(answer, NoPlanError):
            count["no plan"] += 1
            wrong += [f"town {seed}: no plan with it set aside"] if isinstance(true, dict) else []
        else:
            assert not isinstance(answer, NotSolvedError)
            count["refused"] += 1
            count["refused, though a plan of the sound town"] += isinstance(true, dict)
    sys.stdout.write(f"{dict(count)}\n")
    assert not wrong
    assert count["plan"] >= TOWNS // 6
    assert count["refused"] >= TOWNS // 12


def test_without_the_proof_plans_would_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each half of the proof alone refuses these; without either the lists of the plan would be wrong."""
    for seed in (7, 22):
        town = random_town(seed)
        true = planned(town, town.rows, set_aside=False)
        assert isinstance(true, dict)
        for half in ("first_difference", "touched_pipes"):
            with monkeypatch.context() as alone:
                alone.setattr(proof, half, _finds_nothing[half])
                assert isinstance(planned(town, spoilt(town, seed), set_aside=True), BadNetworkError)
        with monkeypatch.context() as neither:
            for half, nothing in _finds_nothing.items():
                neither.setattr(proof, half, nothing)
            bare = planned(town, spoilt(town, seed), set_aside=True)
        assert isinstance(bare, dict)
        assert {"kept", "standby"} <= set(differences(bare, true))


_finds_nothing: Final[dict[str, Callable[..., Any]]] = {
    "first_difference": lambda *_: "",
    "touched_pipes": lambda _: frozenset(),
}

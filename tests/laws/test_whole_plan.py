"""Whole plans of random towns: what one part of the program proves, the next must keep.

Every option of every plan is checked from raw layers and the files of the plan folder alone (`tests.whole_plan`),
each hard constraint in every state of the work. A seeded share runs by default; all three hundred towns with
``NETPLAN_TOWNS=300 python -m pytest -n 2 tests/laws/test_whole_plan.py``.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.whole_plan.check import check_folder, read_raw
from tests.whole_plan.flow_check import apart_mbar
from tests.whole_plan.making import plan_town, write_layers
from tests.whole_plan.runs import run_seed
from tests.whole_plan.towns import random_town

TOWNS = int(os.environ.get("NETPLAN_TOWNS", "10"))
FIRST = 0 if "NETPLAN_TOWNS" in os.environ else 10
"""Towns from here on, where few are taken: these hold every kind that `LEAST_SHARE` asks for."""
BATCH = 2 if FIRST else 3
BATCHES = [range(first, min(first + BATCH, FIRST + TOWNS)) for first in range(FIRST, FIRST + TOWNS, BATCH)]
LINES = 60
"""Deviations shown at most for one batch."""

LEAST_SHARE = {
    "town: boundary valve": 0.2,
    "town: gap between areas": 0.2,
    "town: joint without fitting": 0.4,
    "town: two services": 0.4,
    "town: sensing point": 0.15,
    "town: keep-out": 0.15,
    "town: base map": 0.4,
    "town: streets": 0.2,
    "town: rail or water": 0.06,
    "town: dead tail": 0.4,
    "town: second system": 0.1,
    "answered with feeds": 0.4,
    "answered without feeds": 0.35,
    "papers": 0.05,
    "option": 1.5,
    "bag as a stop": 0.5,
    "squeeze as a stop": 0.3,
    "valve as a stop": 0.2,
    "fed by hose, bypass or valve": 0.15,
    "fallback with standby": 0.2,
    "customer stranded": 0.2,
    "two services": 0.2,
}
"""What the towns and their plans must hold, in cases per town, so that the checks are not of nothing."""

LEAST_OF_ALL = {
    "town: injection": 10,
    "town: unfed part": 20,
    "town: two mains": 20,
    "town: station without fault pressure": 10,
    "town: valve unknown, operable yes": 10,
    "town: valve open, operable no": 10,
    "bypass": 10,
    "hose": 10,
    "opened valve": 3,
    "two zones": 3,
    "customer below minimum": 3,
    "weak before": 10,
}
"""What three hundred towns must hold besides."""


def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that all workers of this run share."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "whole_plan_tally"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("seeds", BATCHES, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_every_constraint_holds_in_every_state_and_file(
    seeds: range, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    deviations, holds = [], Counter[str]()
    for seed in seeds:
        folder = tmp_path / str(seed)
        folder.mkdir()
        run = run_seed(seed, folder)
        deviations += [f"seed {seed}, {name}, {deviation}" for name, deviation in run.found]
        holds += run.holds
        holds.update(f"answered {name_of(way)}" for way, answer in run.answers.items() if answer == "plan")
    tally = shared_folder(tmp_path_factory)
    (tally / f"{seeds[0]}.json").write_text(json.dumps(holds), encoding="utf-8")
    done = sorted(tally.glob("*.json"))
    if len(done) == len(BATCHES):
        check_coverage(sum((Counter(json.loads(path.read_text())) for path in done), Counter()))
    more = "" if len(deviations) <= LINES else f"\n… {len(deviations) - LINES} more"
    assert not deviations, f"{len(deviations)} deviations\n" + "\n".join(deviations[:LINES]) + more


def name_of(way: str) -> str:
    """Return how a plan was asked for, in words."""
    return {"feeds": "with feeds", "no feeds": "without feeds"}[way]


def check_coverage(holds: Counter[str]) -> None:
    """Check that the towns, and the plans made of them, hold what is to be checked."""
    least = {name: share * TOWNS for name, share in LEAST_SHARE.items()}
    if TOWNS >= 300:
        least |= dict(LEAST_OF_ALL)
    short = {name: (holds[name], count) for name, count in least.items() if holds[name] < count}
    assert not short, f"too few (found, wanted): {short}"


@pytest.fixture(scope="module")
def one_plan(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, Path]:
    """Return the first seed whose best option has what faults are planted in, and its folder."""
    for seed in range(1029, 1129):
        folder = tmp_path_factory.mktemp("one_plan")
        town = random_town(seed)
        write_layers(town.layers(), folder / "town.gpkg")
        made = plan_town(town, folder / "town.gpkg", folder / "plan", feeds=True, papers=False)
        if made.folder is not None and _has_much(json.loads((made.folder / "plan.json").read_text())):
            return seed, folder
    raise AssertionError("no town of a hundred has such a plan")


def _has_much(plan: dict[str, Any]) -> bool:
    """Return whether the best option has several stops, customers off, and fallbacks that are not prepared."""
    best = plan["options"][0]
    return (
        len(best["stops"]) > 1
        and any(one["effect"] == "off" for one in best["customers"])
        and any(row["use"] and not row["prepared"] for row in best["fallback"])
        and best["stops"][0]["kind"] != "valve"
        and any(tapping["role"] == "bypass" for tapping in best["stops"][0]["tappings"])
        and not any(row["moves"] for row in best["fallback"])
    )


def test_the_solver_of_the_checks_agrees_with_pandapipes(one_plan: tuple[int, Path]) -> None:
    _, folder = one_plan
    apart, count = apart_mbar(read_raw(folder / "town.gpkg"), folder / "plan")
    assert count > 20
    assert apart < 0.02


def test_the_command_line_writes_the_same_plan_and_it_fits_the_schema(
    one_plan: tuple[int, Path], tmp_path: Path
) -> None:
    seed, folder = one_plan
    town = random_town(seed)
    rules = tmp_path / "rules.toml"
    rules.write_text(as_toml(town.rules), encoding="utf-8")
    first, *others = town.work
    program = [sys.executable, "-m", "netplan"]
    ends = ["--main", first[0], "--from", repr(first[1]), "--to", repr(first[2])]
    ends += [word for main, low, high in others for word in ("--and-main", f"{main}:{low!r}:{high!r}")]
    ends += [word for ident in town.own_supply for word in ("--own-supply", ident)]
    subprocess.run(  # noqa: S603 - our own program
        [
            *program,
            "plan",
            str(folder / "town.gpkg"),
            *ends,
            *("--rules", str(rules), f"--air-temp={town.air_temp_c}", "--no-weather", "--no-papers"),
            *("--out", str(tmp_path / "plan")),
        ],
        check=True,
        capture_output=True,
    )
    plans = [json.loads((where / "plan" / "plan.json").read_text()) for where in (folder, tmp_path)]
    for plan in plans:
        del plan["provenance"]
    assert plans[0] == plans[1]
    asked = [*program, "schema"]
    schema = subprocess.run(asked, check=True, capture_output=True, text=True).stdout  # noqa: S603
    whole = json.loads((folder / "plan" / "plan.json").read_text())
    jsonschema.Draft202012Validator(json.loads(schema)).validate(whole)


Option = dict[str, Any]


def lose_customer(option: Option) -> None:
    option["customers"].remove(next(c for c in option["customers"] if c["effect"] == "off"))


def list_twice(option: Option) -> None:
    option["customers"].append(option["customers"][0])


def keep_who_is_off(option: Option) -> None:
    next(c for c in option["customers"] if c["effect"] == "off").update(effect="kept", kept_by="B9")


def move_stop_into_work(option: Option) -> None:
    option["stops"][0]["chainage_m"] += 2.0 if option["stops"][0]["work_side"] == "to" else -2.0


def lose_stop(option: Option) -> None:
    option["stops"].pop()


def price_too_low(option: Option) -> None:
    option["stops"][0]["price"] -= 100.0


def fault_pressure_too_low(option: Option) -> None:
    option["stops"][0]["fault_pressure_mbar"] -= 5.0


def tapping_moved(option: Option) -> None:
    next(s for s in option["stops"] if s["tappings"])["tappings"][1]["chainage_m"] += 0.5


def pressure_stated_wrong(option: Option) -> None:
    option["pressures"]["after"]["least_mbar"] += 0.5


def standby_made_up(option: Option) -> None:
    off = next(c["id"] for c in option["customers"] if c["effect"] == "off")
    option["fallback"][0]["standby"] = [*option["fallback"][0]["standby"], off]


def bypass_tee_too_wide(option: Option) -> None:
    taps = [t for s in option["stops"] for t in s["tappings"] if t["role"] == "bypass"]
    taps[0]["size_mm"] = 125.0


def purge_point_at_the_barrier(option: Option) -> None:
    stop, point = option["stops"][0], option["purge"]["points"][0]
    point.update(main_id=stop["main_id"], chainage_m=stop["chainage_m"])


def fast_with_nothing_prepared(option: Option) -> None:
    row = next(row for row in option["fallback"] if row["use"] and not row["prepared"])
    row["minutes"] = 15.0


def prepared_for_nothing(option: Option) -> None:
    option["burden_parts"]["fallbacks"] += 250.0
    option["burden"] += 250.0


PLANTED: dict[Callable[[Option], None], str] = {
    lose_customer: "customer's cause",
    list_twice: "customer listed twice",
    keep_who_is_off: "kept customer without gas",
    move_stop_into_work: "assembly unlike the rules",
    lose_stop: "gas reaches the work",
    price_too_low: "price of another main",
    fault_pressure_too_low: "stated fault pressure too low",
    tapping_moved: "assembly unlike the rules",
    pressure_stated_wrong: "least pressure",
    standby_made_up: "standby is off already",
    bypass_tee_too_wide: "outlet unlike the table",
    purge_point_at_the_barrier: "gas let in through no tapping",
    fast_with_nothing_prepared: "minutes",
    prepared_for_nothing: "burden of fallbacks",
}


@cache
def unharmed(seed: int, folder: Path) -> frozenset[str]:
    """Return the rules that the best option deviates from before any fault is planted."""
    raw, own = read_raw(folder / "town.gpkg"), random_town(seed).own_supply
    return frozenset(d.rule for d in check_folder(raw, folder / "plan", own).found if d.rank == 1)


@pytest.mark.parametrize("plant", PLANTED, ids=lambda plant: plant.__name__)
def test_a_fault_planted_in_a_plan_is_found(
    plant: Callable[[Option], None], one_plan: tuple[int, Path], tmp_path: Path
) -> None:
    seed, folder = one_plan
    raw, own = read_raw(folder / "town.gpkg"), random_town(seed).own_supply
    shutil.copytree(folder / "plan", tmp_path / "plan")
    plan = json.loads((folder / "plan" / "plan.json").read_text())
    plan["options"] = plan["options"][:1]
    plant(plan["options"][0])
    (tmp_path / "plan" / "plan.json").write_text(json.dumps(plan))
    before = unharmed(seed, folder)
    after = {d.rule for d in check_folder(raw, tmp_path / "plan", own).found}
    assert PLANTED[plant] in after - before


def as_toml(rules: dict[str, dict[str, object]]) -> str:
    """Return rules as TOML: tables of plain values and of one level of inline tables."""

    def value(one: object) -> str:
        if isinstance(one, dict):
            return "{ " + ", ".join(f"{key} = {value(v)}" for key, v in one.items()) + " }"
        return str(one).lower() if isinstance(one, bool) else repr(one)

    return "\n".join(
        f"[{table}]\n" + "\n".join(f"{key} = {value(v)}" for key, v in keys.items())
        for table, keys in rules.items()
    )

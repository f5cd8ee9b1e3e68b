"""The recheck beside the walk and the solver of `tests.whole_plan`, on the changed layers and plan.json alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd

from netplan.outputs.layers import read_plan_layers
from netplan.planfile.model import Option
from netplan.planfile.plan_json import read_plan
from netplan.planfile.recheck_answer import RecheckAnswer
from netplan.recheck.todays_option import TodaysOption
from tests.whole_plan.case import Case
from tests.whole_plan.check import read_raw
from tests.whole_plan.people import _where, check_doubt, check_fallbacks, check_people, check_zone
from tests.whole_plan.places import check_places
from tests.whole_plan.pressure_limits import check_fault_pressures, check_feeds
from tests.whole_plan.pressures import check_pressures
from tests.whole_plan.tapped import check_tapped
from tests.whole_plan.walk import Raw
from tests.whole_recheck.changes import Changed
from tests.whole_recheck.tally import Rechecked

__all__ = ["compare_walk"]

PLACES = frozenset(
    {
        "gas reaches the work",
        "injection in the zone",
        "sensing point in the zone",
        "sensing point parted from its station",
        "customer's cause",
        "kept customer without gas",
        "customer off who has gas",
        "priority customer off",
        "standby misses customers",
        "kept inlet below minimum",
        "kept inlet above maximum",
        "state without a solution",
        "stop in a keep-out",
        "stop is a valve not known to work",
        "too near a fitting",
        "size of another main",
    }
)
"""Deviations of an issued plan on changed layers with which it cannot hold."""


def _lists(answer: RecheckAnswer, option: Option) -> dict[str, tuple[str, ...]]:
    """Return what is so today of each customer who is in a list, from the plan and the answer alone."""
    now: dict[str, tuple[str, ...]] = {}
    for c in option.customers:
        now[c.id] = ("off",) if c.effect == "off" else (f"kept by {c.kept_by or 'a feed'}",)
    if not answer.customers_unknown:
        for name in option.standby:
            now[name] = (*now.get(name, ()), "standby")
        for row in option.in_doubt:
            if "in doubt" not in now.get(row.id, ()):
                now[row.id] = (*now.get(row.id, ()), "in doubt")
    for one in answer.customers:
        now[one.id] = one.now
    return now


def compare_walk(
    run: Rechecked,
    answer: RecheckAnswer,
    single: TodaysOption,
    folder: Path,
    rank: int,
    today: Path,
    changed: Changed,
) -> None:
    """Set the recheck against the walk and the solver that know raw layers and plan.json alone."""
    raw = read_raw(today)
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    option = plan["options"][rank - 1]
    deviations = _walked(raw, plan, option, changed, folder)
    if deviations is None:
        # A main of the plan is gone: there is nothing to put its stops on.
        if answer.holds or single.is_solved:
            run.found.append("holds though a main of the plan is gone")
        run.holds["main of the plan gone"] += 1
        return
    broken = {rule for rule, _ in deviations} & PLACES
    if answer.holds and broken:
        run.found.append(f"holds, and the walk finds {[d for d in deviations if d[0] in PLACES][:3]}")
    run.holds["walk finds it broken"] += bool(broken)
    subjects = {one.subject for one in answer.against}
    reached = any(d == "gas reaches the work" and what.startswith("all stops") for d, what in deviations)
    if reached and single.is_solved:
        run.found.append("solved though gas reaches the work")
    if "priority customer off" in broken and single.is_solved and "priority" not in subjects:
        run.found.append("a priority customer is off and not said")
    if not single.is_solved:
        return
    _compare_people(run, raw, plan, option, changed, answer, rank, folder)


def _walked(
    raw: Raw, plan: dict[str, Any], option: dict[str, Any], changed: Changed, folder: Path
) -> list[tuple[str, str]] | None:
    """Return what the walk finds wrong with an issued option on raw layers; None where it cannot be laid out."""
    try:
        case = Case(raw, plan, option, changed.town.own_supply)
    except (KeyError, ValueError, IndexError, StopIteration):
        return None
    gone = {s["main_id"] for s in option["stops"]} - set(raw.mains)
    if gone:
        return None
    people = set(raw.people)
    for row in (*option["customers"], *option["in_doubt"]):
        if row["id"] not in people:
            return [("customer's cause", f"{row['id']} is no customer any more")]
    layers = read_plan_layers(folder)["customers"]
    rows: gpd.GeoDataFrame = layers[layers.customer_id.isin(people)]
    for check in (check_zone, check_people, check_fallbacks, check_doubt, check_fault_pressures):
        try:
            check(case)
        except KeyError:
            return None
    for check in (check_feeds, check_places, check_tapped):
        try:
            check(case)
        except (KeyError, IndexError, ValueError):
            case.say("place is not there", check.__name__)
    if not _demand_differs(changed):
        check_pressures(case, rows)
    return [(one.rule, one.what) for one in case.found]


def _demand_differs(changed: Changed) -> bool:
    """Return whether customers draw otherwise than plan.gpkg says, so that its demand is none to solve with."""
    return any(layer in ("customers", "services") for layer, _, _ in changed.done)


def _compare_people(
    run: Rechecked,
    raw: Raw,
    plan: dict[str, Any],
    option: dict[str, Any],
    changed: Changed,
    answer: RecheckAnswer,
    rank: int,
    folder: Path,
) -> None:
    """Who is isolated or stranded by the walk is off, kept by a feed or without gas by the recheck."""
    del rank
    case = Case(raw, plan, option, changed.town.own_supply)
    where = _where(case, case.stopped)
    lost = {ident for ident, how in where.items() if how in ("isolated", "dark", "half dark")}
    issued = next(one for one in read_plan(folder).options if one.rank == option["rank"])
    now = _lists(answer, issued)
    touched = {name for name, words in now.items() if "off" in words or any("kept by" in w for w in words)}
    weak_told = {c["id"] for c in option["customers"] if c["cause"] == "below minimum"}
    missed = lost - touched
    if missed:
        run.found.append(f"the walk has {sorted(missed)[:4]} without gas, the recheck has not")
    weak = touched - lost - weak_told
    # Whom the stops leave too little pressure is no matter of the walk; there is none without a feed.
    if weak and not (option["bypasses"] or option["opened_valves"]):
        run.found.append(f"the recheck touches {sorted(weak)[:4]}, the walk does not")
    run.holds["people compared"] += 1

"""One seed: a town, its plan, changes, the recheck, and what others who share no code with it find.

Two answers stand beside the recheck. The walk and the solver of `tests.whole_plan` take the issued plan.json
and the changed layers alone. The planner itself plans the changed town with the same stops ordered.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

from netplan.core.errors import BadInputError, BadNetworkError
from netplan.network.model import Network
from netplan.outputs.layers import read_plan_layers
from netplan.planfile import read_state
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import read_plan
from netplan.planfile.recheck_answer import RecheckAnswer
from netplan.readers import read_network
from netplan.recheck import IssuedPlan, recheck_plan, todays_request
from netplan.recheck.todays_option import TodaysOption, todays_option
from tests.whole_plan.making import plan_town, write_layers
from tests.whole_plan.towns import random_town
from tests.whole_recheck.beside_plan import compare_plan
from tests.whole_recheck.beside_walk import compare_walk
from tests.whole_recheck.changes import Changed, changed_town
from tests.whole_recheck.tally import Rechecked

__all__ = ["run_seed"]


def run_seed(seed: int, folder: Path) -> Rechecked:
    """Plan the town of a seed, change its records, recheck, and set other answers beside it."""
    run = Rechecked()
    town = random_town(seed)
    town.rules["fallback"] = {"prepared": seed % 4 == 0}
    source = folder / "town.gpkg"
    write_layers(town.layers(), source)
    made = plan_town(town, source, folder / "plan", feeds=seed % 3 != 2, papers=False)
    if made.folder is None:
        run.holds[f"no plan to recheck: {made.answer}"] += 1
        return run
    plan = read_plan(made.folder)
    option = plan.options[seed % len(plan.options)]
    raw_option = json.loads((made.folder / "plan.json").read_text(encoding="utf-8"))["options"][
        option.rank - 1
    ]
    changed = changed_town(town, raw_option, seed)
    run.changes = changed.done
    today = folder / "today.gpkg"
    write_layers(changed.town.layers(), today)
    try:
        network = read_network(today)
    except BadInputError as error:
        run.holds[f"today's network cannot be read: {str(error)[:40]}"] += 1
        return run
    issued = _issued(made.folder, plan, option)
    request = todays_request(plan, network)
    try:
        answer = recheck_plan(issued, request)
    except BadNetworkError:
        run.holds["no station on today's network"] += 1
        return run
    single = todays_option(request, plan, option, lambda _: None)
    _compare_unchanged(run, changed, answer, option, single)
    _compare_named(run, changed, answer, network)
    compare_walk(run, answer, single, made.folder, option.rank, today, changed)
    compare_plan(run, answer, single, plan, option, network, changed)
    run.holds["holds" if answer.holds else "does not hold"] += 1
    run.holds.update({f"against: {one.subject}" for one in answer.against})
    run.holds.update(f"changed: {layer}" for layer, _, _ in changed.done)
    run.holds["solved"] += single.is_solved
    run.holds["with feeds"] += bool(option.bypasses or option.opened_valves)
    return run


def _issued(folder: Path, plan: Plan, option: Option) -> IssuedPlan:
    return IssuedPlan(plan, read_state(read_plan_layers(folder), option.rank))


def _compare_unchanged(
    run: Rechecked, changed: Changed, answer: RecheckAnswer, option: Option, single: TodaysOption
) -> None:
    if changed.done:
        return
    run.holds["unchanged"] += 1
    if not answer.holds:
        run.found.append(f"unchanged town does not hold: {[one.what for one in answer.against][:3]}")
    if single.option is None or _figures(single.option) != _figures(option):
        run.found.append("unchanged town has other figures")


def _figures(option: Option) -> dict[str, Any]:
    """Return an option as it is written, but for what is proven of it and what words say of other places."""
    data = option.model_dump(mode="json", by_alias=True, exclude={"proof"})
    for stop in data["stops"]:
        del stop["not_nearer"]
    for price in (price for dug in data["excavations"] for price in dug["prices"]):
        # To six digits: finer than the millimetre to which a plan states the ends of its work.
        del price["beyond_m"]
    return data


def _compare_named(run: Rechecked, changed: Changed, answer: RecheckAnswer, network: Network) -> None:
    """Every change in what a plan folder holds is named near the work, or counted farther away."""
    named = {(one.layer, one.feature_id): one.what for one in answer.changes}
    told = 0
    times = Counter((layer, ident) for layer, ident, _ in changed.done)
    for layer, ident, words in changed.done:
        if not words or layer not in ("mains", "services", "customers", "valves", "regulators"):
            continue
        if layer == "valves" and network.valves.piece[network.valves.id.find(ident)] < 0:
            continue  # on no main: a plan folder does not hold it
        if (layer, ident) in named:
            told += 1
            if (
                times[layer, ident] == 1
                and words not in named[layer, ident]
                and "new" not in named[layer, ident]
            ):
                run.found.append(f"{layer} {ident}: says {named[layer, ident]!r}, was {words!r}")
        elif not answer.changes_elsewhere:
            run.found.append(f"{layer} {ident} ({words}) is not named")
    run.holds["changes named"] += told

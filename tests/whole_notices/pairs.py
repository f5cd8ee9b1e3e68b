"""Two plans of one work in a random town, the second after something changed, and the notices of the difference."""

from __future__ import annotations

import copy
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.network.work_section import WorkPart
from netplan.outputs.contacts.record_contacts import record_contacts
from netplan.outputs.contacts.spreadsheet_rows import sheets_of
from netplan.outputs.difference_folder import compared_plan, write_notice_differences
from netplan.outputs.output_folders import check_differences_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.letters import WORDS
from tests.whole_notices.check import check_notices
from tests.whole_notices.filled_in import fill_in
from tests.whole_plan.making import write_layers
from tests.whole_plan.towns import Town, random_town

__all__ = ["PairRun", "run_pair"]

START = datetime(2027, 3, 9, 7, 0)
CHANGES = (
    *("day", "hour", "undated", "weather", "feeds", "feeds", "section", "section", "section"),
    *("prices", "prices", "valves", "option", "option", "records", "addresses"),
)


@dataclass
class PairRun:
    """What came of a seed: what was changed, whether both were planned, what deviates, and what the pairs hold."""

    kinds: str
    compared: int = 0
    found: list[str] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)


@dataclass
class _Asked:
    """A town and how it is planned."""

    town: Town
    start: datetime | None
    hours: float = 9.0
    feeds: bool = True
    rank: int = 1


def run_pair(seed: int, folder: Path) -> PairRun:
    """Plan a town twice, log who was told of the first plan, write the notices of the difference and check them."""
    rng = np.random.default_rng([24, seed])
    town = random_town(seed)
    town.own_supply = tuple(row["id"] for row in town.rows["customers"] if row.get("priority"))
    _name_doors(town, rng)
    old = _Asked(town, START)
    new = copy.deepcopy(old)
    kinds = [str(kind) for kind in rng.choice(CHANGES, size=int(rng.integers(1, 4)), replace=False)]
    for kind in sorted(set(kinds)):
        _change(kind, old, new, rng)
    run = PairRun(" + ".join(kinds))
    for name, asked in (("old", old), ("new", new)):
        if not _plan(asked, folder / f"{name}.gpkg", folder / name):
            run.holds[f"{name}: no plan"] += 1
            return run
    told = fill_in(folder / "old" / "notices.xlsx", folder / "filled", rng) if rng.random() < 0.5 else None
    if told is not None and old.rank == 1:
        run.holds[f"log as {told.path.suffix}"] += 1
        try:
            record_contacts(folder / "old", sheets_of(told.path.read_bytes(), str(told.path)), str(told.path))
        except BadInputError as error:
            run.found.append(f"the log was not recorded: {error}")
    elif told is not None:
        told = None
    write_notice_differences(
        compared_plan(folder / "old", old.rank),
        compared_plan(folder / "new", new.rank),
        check_differences_target(folder / "notices"),
        Choices(option=new.rank, words=WORDS),
    )
    run.compared = 1
    found, holds = check_notices(folder, old.rank, new.rank, told)
    run.found += found
    run.holds += holds
    run.holds.update(f"changed: {kind}" for kind in kinds)
    return run


def _name_doors(town: Town, rng: np.random.Generator) -> None:
    """Give customers languages, a postcode and a town, and some of them one address in common."""
    for row in town.rows["customers"]:
        row["language"] = str(rng.choice(["", "en", "de", "de-AT", "pl", "Estonian"]))
        row["postcode"], row["town"] = "QX1 2AB", "Millford"


def _change(kind: str, old: _Asked, new: _Asked, rng: np.random.Generator) -> None:
    if kind == "day":
        new.start = START + timedelta(days=int(rng.integers(-3, 9)) or 1)
    elif kind == "hour":
        new.start = (new.start or START) + timedelta(minutes=30 * int(rng.integers(1, 5)))
        new.hours = float(rng.choice([7.0, 9.0, 11.0]))
    elif kind == "undated":
        (new if rng.random() < 0.5 else old).start = None
    elif kind == "feeds":
        (new if rng.random() < 0.7 else old).feeds = False
    elif kind == "option":
        old.rank = int(rng.integers(2, 4))
    elif kind in ("records", "addresses"):
        _change_records(kind, new.town.rows["customers"], rng)
    else:
        _change_town(kind, new.town, rng)


def _change_town(kind: str, town: Town, rng: np.random.Generator) -> None:
    if kind == "weather":
        town.air_temp_c = 15.0 if town.air_temp_c < 0 else -12.0
    elif kind == "section":
        first, *others = town.work
        line = next(row["geometry"] for row in town.rows["mains"] if row["id"] == first[0])
        low, high = first[1] - float(rng.uniform(1, 25)), first[2] + float(rng.uniform(0, 25))
        town.work = ((first[0], round(max(low, 0.0), 2), round(min(high, line.length) - 0.01, 2)), *others)
    elif kind == "prices":
        for category in town.rules["price"]["off_per_hour"]:
            town.rules["price"]["off_per_hour"][category] *= float(rng.choice([0.02, 50.0]))
    elif kind == "valves":
        for row in town.rows["valves"]:
            if row["state"] != "closed" and rng.random() < 0.6:
                row["state"] = str(rng.choice(["unknown", "unknown", "open"]))


def _change_records(kind: str, rows: list[dict[str, Any]], rng: np.random.Generator) -> None:
    for row in rows:
        if rng.random() > 0.15:
            continue
        if kind == "addresses":
            row["address"], row["number"] = f"{row['address']} A", f"{row['number']} A"
        else:
            row["language"] = str(rng.choice(["en", "de"]))
            row["meters"] = int(row["meters"]) + 1


def _plan(asked: _Asked, source: Path, folder: Path) -> bool:
    write_layers(asked.town.layers(), source)
    try:
        network = read_network(source)
        rows = tuple(network.customers.id.find(ident) for ident in asked.town.own_supply)
        request = PlanRequest(
            network,
            tuple(WorkPart(*part) for part in asked.town.work),
            read_rules(None, overrides=asked.town.rules),
            start=asked.start,
            hours=asked.hours,
            air_temp_c=asked.town.air_temp_c,
            feeds_allowed=asked.feeds,
            own_supply=rows,
            weather=False,
        )
        result = make_plan(request)
    except (BadInputError, NoPlanError, NotSolvedError):
        return False
    asked.rank = min(asked.rank, len(result.plan.options))
    write_plan_folder(result, folder, choices=Choices(papers=False))
    return True

"""What the notices of a difference must hold: set arithmetic on two plan.json, and the letters that follow."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pyogrio

from tests.whole_notices.filled_in import Filled

__all__ = ["Expected", "Told", "expected_between", "expected_of", "told_by"]

Door = tuple[str, str, str]


@dataclass(frozen=True)
class Told:
    """What a plan tells everybody, by meter point."""

    off: dict[str, tuple[str | None, str | None]]
    kept: set[str]
    standby: set[str]
    in_doubt: set[str]
    door: dict[str, Door]
    language: dict[str, str]
    days: tuple[str, ...]

    @property
    def listed(self) -> set[str]:
        """Who gets a letter."""
        return {*self.off, *self.kept, *self.standby}

    def letter(self, ident: str) -> str:
        """Return the section of somebody's letter; empty without one."""
        if ident in self.off:
            return "off"
        if ident in self.kept:
            return "kept_standby" if ident in self.standby else "kept"
        return "standby" if ident in self.standby else ""


@dataclass(frozen=True)
class Expected:
    """The lists, and how the letter of each begins and which section it holds; (``""``, ``""``) for none."""

    lists: dict[str, set[str]]
    letters: dict[str, tuple[str, str]]
    old: Told
    new: Told

    @property
    def everybody(self) -> set[str]:
        """Whoever is on any list."""
        return set().union(*self.lists.values())


def _read(folder: Path, rank: int) -> Told:
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    frame = pyogrio.read_dataframe(folder / "plan.gpkg", layer="customers", read_geometry=False)
    frame = frame[frame.option == rank].fillna("")
    doors = {r.customer_id: (r.address, r.postcode, r.town) for r in frame.itertuples()}
    return told_by(plan, rank, doors, {r.customer_id: r.language for r in frame.itertuples()})


def told_by(plan: dict[str, Any], rank: int, door: dict[str, Door], language: dict[str, str]) -> Told:
    """Return what a plan.json tells everybody."""
    option = next(one for one in plan["options"] if one["rank"] == rank)
    rows = option["customers"]
    off = {c["id"]: (c["off_from"], c["on_by"]) for c in rows if c["effect"] == "off"}
    start, days = plan["conditions"]["start"], ("", "")
    if start:
        end = datetime.fromisoformat(start) + timedelta(hours=plan["conditions"]["hours"])
        days = (start[:10], end.date().isoformat())
    return Told(
        off=off,
        kept={c["id"] for c in rows if c["effect"] == "kept"},
        standby={c for row in option["fallback"] for c in row["standby"]} - off.keys(),
        in_doubt={row["id"] for row in option["in_doubt"]},
        door=door,
        language=language,
        days=days,
    )


def expected_of(
    old_folder: Path, old_rank: int, new_folder: Path, new_rank: int, log: Filled | None
) -> Expected:
    """Return what the notices must hold; whoever a log has on its list and nobody told has no earlier letter."""
    untold = (
        {i for i, (day, no_access) in log.told.items() if day is None and not no_access} if log else set()
    )
    return expected_between(_read(old_folder, old_rank), _read(new_folder, new_rank), untold)


def expected_between(old: Told, new: Told, untold: set[str]) -> Expected:
    """Return what the notices between two plans must hold; `untold` certainly have no earlier letter."""
    both = old.listed & new.listed
    lists = {
        "goes off": new.off.keys() - old.off.keys(),
        "no longer off": old.off.keys() - new.off.keys(),
        "times changed": {i for i in old.off.keys() & new.off.keys() if old.off[i] != new.off[i]},
        "now kept": new.kept - old.kept,
        "no longer kept": old.kept - new.kept,
        "now standby": new.standby - old.standby,
        "no longer standby": old.standby - new.standby,
        "now in doubt": new.in_doubt - old.in_doubt,
        "no longer in doubt": old.in_doubt - new.in_doubt,
        "day moved": both if old.days != new.days else set(),
        "address changed": {i for i in both if old.door[i] != new.door[i]},
    }
    everybody: set[str] = set().union(*lists.values())
    letters = {i: _letter(i, old, new, lists, i in untold) for i in everybody}
    return Expected({name: set(ids) for name, ids in lists.items()}, letters, old, new)


def _letter(ident: str, old: Told, new: Told, lists: dict[str, Any], untold: bool) -> tuple[str, str]:
    was, now = "" if untold else old.letter(ident), new.letter(ident)
    if not was or ident in lists["address changed"]:
        return "", now
    body = now or ("standby" if ident in new.in_doubt else "not_affected")
    if (was == "off") != (body == "off"):
        return "taken_back" if was == "off" else "now_off", body
    if was != body:
        return "replaces", body
    if old.days != new.days:
        return "new_day", body
    return ("new_times", body) if ident in lists["times changed"] else ("", "")

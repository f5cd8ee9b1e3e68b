"""The loss sheet: what to do when something fails, and the doors that follow from it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from netplan.outputs.item_words import joined_ids
from netplan.outputs.number_format import Figures
from netplan.planfile import StateCustomers
from netplan.planfile.model import LossRow, Option

__all__ = ["LEAVE", "loss_sheet_part"]

LEAVE: Final = "Leave; the competent person counts people."
"""First line of every failure while the pipe is open."""
_CUT: Final = "main cut"
_STATES: Final = (_CUT, "before the cut", "gas back in")
"""States in the order of the sheet: with the main cut there is the least time to look."""
_BY_STATE: Final = ("state", "id", "leave", "note", "flow_m3h", "least_mbar", "barrier_mbar", "seconds")
"""Fields in which the same failure with the same way out may differ from state to state."""
_NUMBERED_DOORS: Final = 400
"""Longer lists of doors are not printed: nobody walks them one by one (own)."""
_ITEMS_NAMED: Final = 6


def loss_sheet_part(option: Option, customers: StateCustomers, units: Figures) -> dict[str, Any]:
    """Return the failures of the loss sheet with their rows, and the lists of doors that they name.

    Rows of one failure that ask for the same in several states stand once, with all of them.

    Parameters
    ----------
    option : Option
    customers : StateCustomers
        Those of the option: addresses of the doors.
    units : Figures
    """
    doors = _door_lists(option.loss_sheet)
    failures: dict[tuple[str, tuple[str, ...]], list[LossRow]] = {}
    for row in option.loss_sheet:
        failures.setdefault(_failure(row), []).append(row)
    return {
        "loss-sheet": [_rows_of(rows, doors, units) for rows in failures.values()],
        "leave": LEAVE,
        "doors": [_doors(name, ids, customers) for ids, name in doors.items()],
    }


def _failure(row: LossRow) -> tuple[str, tuple[str, ...]]:
    return row.what, row.items


def _door_lists(rows: Sequence[LossRow]) -> dict[tuple[str, ...], str]:
    """Return a name for each list of customers that rows name."""
    lists = dict.fromkeys(row.customers for row in rows if row.customers)
    return {ids: f"D{number}" for number, ids in enumerate(lists, 1)}


def _rows_of(rows: Sequence[LossRow], doors: Mapping[tuple[str, ...], str], units: Figures) -> dict[str, Any]:
    """Return one failure with its rows, the cut main first."""
    merged: dict[str, list[LossRow]] = {}
    for row in sorted(rows, key=lambda one: _STATES.index(one.state)):
        merged.setdefault(row.model_dump_json(exclude=set(_BY_STATE)), []).append(row)
    return {
        "what": rows[0].what,
        "items": _items(rows[0].items, rows[0].what),
        "rows": [_row(same, doors, units) for same in merged.values()],
    }


def _items(ids: Sequence[str], words: str) -> str:
    """Return the ids that words do not name already; many of them are counted."""
    if all(re.search(rf"(?<![\w-]){re.escape(id_)}(?![\w-])", words) for id_ in ids):
        return ""
    return joined_ids(ids) if len(ids) <= _ITEMS_NAMED else f"any of {len(ids)}"


def _row(same: Sequence[LossRow], doors: Mapping[tuple[str, ...], str], units: Figures) -> dict[str, Any]:
    row = same[0]
    at = f"{row.main_id} at {units.chainage(row.chainage_m)}" if row.chainage_m is not None else row.main_id
    return {
        "state": "; ".join(one.state for one in same),
        "cut": any(one.state == _CUT for one in same),
        "leave": any(one.leave for one in same) and not row.action.lower().startswith("leave,"),
        "leave-if": "" if all(one.leave for one in same) else f"{_CUT}: ",
        "action": units.sentence(row.action),
        "act-on": "" if row.act_on == row.items else _items(row.act_on, row.action),
        "where": ", ".join(part for part in (row.place, at) if part),
        "who": row.who + ("" if row.minutes is None else f", {row.minutes:.0f} min"),
        "soon": _soon(row),
        "then": _then(row, doors),
        "figures": _figures(same, units),
        "note": units.sentence("; ".join(_notes(same))),
    }


def _notes(same: Sequence[LossRow]) -> Iterable[str]:
    """Return what is to be said; what holds in some of the states only names them."""
    said = [[part for part in one.note.split("; ") if part] for one in same]
    for part in dict.fromkeys(part for parts in said for part in parts):
        states = [one.state for one, parts in zip(same, said, strict=True) if part in parts]
        yield part if len(states) == len(same) else f"{', '.join(states)}: {part}"


def _soon(row: LossRow) -> str:
    """Return how long the gas left in the pipes lasts; only where it is more than a minute."""
    if not row.customers:
        return ""
    if row.at_once or row.seconds is None:
        return "at once"
    return f"after {row.seconds / 60.0:.1f} min"


def _then(row: LossRow, doors: Mapping[tuple[str, ...], str]) -> str:
    if row.customers:
        points = "1 meter point" if len(row.customers) == 1 else f"{len(row.customers)} meter points"
        meters = "1 meter" if row.meters == 1 else f"{row.meters} meters"
        return f"{points}, {meters}: {doors[row.customers]}"
    return "nobody" if row.solved else ""


def _figures(same: Sequence[LossRow], units: Figures) -> str:
    """Return what escapes at most and the least kept inlet, over the states of a row."""
    parts = []
    flows = [one.flow_m3h for one in same if one.flow_m3h is not None]
    if flows:
        parts.append(f"escapes {units.load(max(flows))}")
    least = [one.least_mbar for one in same if one.least_mbar is not None]
    if least:
        parts.append(f"least kept inlet {units.held(min(least))}")
    barrier = [one.barrier_mbar for one in same if one.barrier_mbar is not None]
    if barrier:
        parts.append(f"on the barriers {units.against(max(barrier))}")
    return "; ".join(parts)


def _doors(name: str, ids: Sequence[str], customers: StateCustomers) -> dict[str, str]:
    """Return a list of doors by street, with the numbers of the houses."""
    place = {id_: row for row, id_ in enumerate(customers.customer_id)}
    streets: dict[str, list[str]] = {}
    for id_ in ids:
        row = place.get(id_)
        street = "" if row is None else customers.street[row]
        number = "" if row is None else customers.number[row]
        if not street:
            number = id_ if row is None else customers.address[row] or id_
        streets.setdefault(street, []).append(number or id_)
    if len(ids) > _NUMBERED_DOORS:
        words = f"in {len(streets)} streets: see loss_sheet in plan.json"
    else:
        words = "; ".join(
            f"{street} {_house_numbers(numbers)}".strip() for street, numbers in sorted(streets.items())
        )
    return {"name": name, "count": str(len(ids)), "doors": words}


def _house_numbers(numbers: Sequence[str]) -> str:
    """Return house numbers in order, each once, those that follow each other as a range."""
    return joined_ids(sorted(set(numbers), key=lambda one: (int(re.match(r"\d*", one)[0] or 0), one)))  # type: ignore[index]

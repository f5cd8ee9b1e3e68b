"""The loss sheet: what to do when something fails, on one page, and the doors that follow from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from netplan.outputs.number_format import Figures
from netplan.planfile import StateCustomers
from netplan.planfile.model import LossRow, Option

__all__ = ["LEAVE", "loss_sheet_part"]

LEAVE: Final = "Leave; the competent person counts people."
"""First line of every failure while the pipe is open."""
_STATES: Final = ("before the cut", "main cut", "gas back in")
_CUT: Final = "main cut"
_NAMED_DOORS: Final = 80
"""Longer lists of doors are given by street (own)."""


def loss_sheet_part(option: Option, customers: StateCustomers, units: Figures) -> dict[str, Any]:
    """Return the rows of the loss sheet by state, and the lists of doors that they name.

    Rows that say the same in several states stand once, with all of them.

    Parameters
    ----------
    option : Option
    customers : StateCustomers
        Those of the option: addresses of the doors.
    units : Figures
    """
    doors = _door_lists(option.loss_sheet)
    merged: dict[LossRow, list[LossRow]] = {}
    for row in option.loss_sheet:
        merged.setdefault(row.model_copy(update={"state": _STATES[0], "id": ""}), []).append(row)
    # The cut main first: there is the least time to look.
    rows = sorted(merged.values(), key=lambda same: not any(row.state == _CUT for row in same))
    return {
        "loss-sheet": [_row(same, doors, units) for same in rows],
        "leave": LEAVE,
        "doors": [_doors(name, ids, customers) for ids, name in doors.items()],
    }


def _door_lists(rows: Sequence[LossRow]) -> dict[tuple[str, ...], str]:
    """Return a name for each list of customers that rows name."""
    lists = dict.fromkeys(row.customers for row in rows if row.customers)
    return {ids: f"D{number}" for number, ids in enumerate(lists, 1)}


def _row(same: Sequence[LossRow], doors: Mapping[tuple[str, ...], str], units: Figures) -> dict[str, Any]:
    row = same[0]
    at = f"{row.main_id} at {units.chainage(row.chainage_m)}" if row.chainage_m is not None else row.main_id
    states = [state for state in _STATES if any(one.state == state for one in same)]
    return {
        "what": row.what,
        "items": ", ".join(row.items),
        "state": "; ".join(states),
        "leave": row.leave and not row.action.lower().startswith("leave"),
        "action": units.sentence(row.action),
        "act-on": ", then ".join(row.act_on),
        "where": ", ".join(part for part in (row.place, at) if part),
        "who": row.who,
        "minutes": "" if row.minutes is None else f"{row.minutes:.0f}",
        "soon": _soon(row),
        "then": _then(row, doors),
        "figures": _figures(row, units),
        "note": units.sentence(row.note),
    }


def _soon(row: LossRow) -> str:
    """Return how long the gas left in the pipes lasts; only where it is more than a minute."""
    if not row.customers:
        return ""
    if row.at_once or row.seconds is None:
        return "at once"
    return f"after {row.seconds / 60.0:.1f} min"


def _then(row: LossRow, doors: Mapping[tuple[str, ...], str]) -> str:
    if row.customers:
        return f"{len(row.customers)} meter points, {row.meters} meters: {doors[row.customers]}"
    return "nobody" if row.solved else ""


def _figures(row: LossRow, units: Figures) -> str:
    parts = []
    if row.flow_m3h is not None:
        parts.append(f"escapes {units.load(row.flow_m3h)}")
    if row.least_mbar is not None:
        parts.append(f"least kept inlet {units.held(row.least_mbar)}")
    return "; ".join(parts)


def _doors(name: str, ids: Sequence[str], customers: StateCustomers) -> dict[str, str]:
    place = {id_: row for row, id_ in enumerate(customers.customer_id)}
    rows = [(id_, place.get(id_)) for id_ in ids]
    if len(ids) <= _NAMED_DOORS:
        words = [id_ if row is None else customers.address[row] or id_ for id_, row in rows]
        return {"name": name, "count": str(len(ids)), "doors": "; ".join(dict.fromkeys(words))}
    streets: dict[str, int] = {}
    for _, row in rows:
        street = "" if row is None else customers.street[row]
        streets[street] = streets.get(street, 0) + 1
    named = (f"{street or 'street not recorded'}: {count}" for street, count in sorted(streets.items()))
    return {"name": name, "count": str(len(ids)), "doors": "by street: " + "; ".join(named)}

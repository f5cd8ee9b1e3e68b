"""Addresses that do not go with the street and number beside them, or with those of the neighbours."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray
from scipy.spatial import KDTree

from netplan.core.errors import shown
from netplan.core.findings import Severity
from netplan.network.checks.doubles import plain_addresses
from netplan.network.finding_log import Notes, listed
from netplan.network.model import Network
from netplan.network.text_column import Text

__all__ = ["check_addresses", "check_strangers"]

_LETTERS: Final = 5
"""So many letters of a street are looked for in the address: endings are often cut short (own)."""
_LONGEST: Final = 200
_AT_ONCE: Final = 50_000
"""Addresses that are looked at together, so that long ones take little memory."""
_NEIGHBOURS: Final = 6
_FARTHER: Final = 3.0
_LEAST_M: Final = 60.0
"""Whoever has so many neighbours of other streets alone, and its own so many times and so far away (own)."""


def check_addresses(network: Network, notes: Notes) -> None:
    """Notice customers whose address holds neither the street nor the number recorded beside it."""
    customers = network.customers
    for column, texts, letters in (
        ("street", customers.street, _LETTERS),
        ("number", customers.number, _LONGEST),
    ):
        rows, given = _without(customers.address, texts, letters)
        if not len(rows):
            continue
        who = customers.id.take(rows)
        notes.add(
            "address-disagrees",
            "customers",
            "",
            Severity.WARNING,
            f"address does not hold the {column} beside it for {len(rows):,} of {given:,} customers: "
            f"{listed(who)}",
            f"look whether address and {column} are those of one customer, and in the right columns",
        )


def _without(address: Text, beside: Text, letters: int) -> tuple[NDArray[np.int64], int]:
    """Return the rows whose address does not hold the first letters of a text, and how many have both."""
    rows, count = [np.zeros(0, dtype=np.int64)], 0
    for low in range(0, len(address), _AT_ONCE):
        some = np.arange(low, min(low + _AT_ONCE, len(address)))
        whole, part = _words(address, some, _LONGEST), _words(beside, some, letters)
        given = (part != "") & (whole != "")
        count += int(given.sum())
        rows.append(some[given & (np.char.find(whole, part) < 0)])
    return np.concatenate(rows), count


def _words(column: Text, rows: NDArray[np.int64], letters: int) -> NDArray[np.str_]:
    short = pc.utf8_slice_codeunits(column.take(rows).arrow, 0, _LONGEST)
    plain = pc.utf8_slice_codeunits(plain_addresses(Text(short)), 0, letters)
    return np.array(plain.to_pylist(), dtype=np.str_)


def _shown(street: str) -> str:
    return shown(" ".join(street.split()))


def check_strangers(network: Network, notes: Notes) -> None:
    """Notice customers that stand among those of another street, far from all others of their own."""
    customers = network.customers
    xy = np.column_stack([customers.x_m, customers.y_m])
    code: Any = pc.dictionary_encode(plain_addresses(customers.street))
    names = code.dictionary if hasattr(code, "dictionary") else code.chunk(0).dictionary
    street = np.asarray(code.indices if hasattr(code, "indices") else code.chunk(0).indices)
    known = np.asarray(pc.not_equal(names, ""), dtype=bool)[street] if len(names) else np.zeros(0, dtype=bool)
    rows = np.flatnonzero(known & np.isfinite(xy).all(axis=1))
    if len(rows) <= _NEIGHBOURS:
        return
    place, street = xy[rows], street[rows]
    gap, near = (np.asarray(found) for found in KDTree(place).query(place, k=_NEIGHBOURS + 1))
    stranger = np.flatnonzero((street[near[:, 1:]] != street[:, None]).all(axis=1))
    order = np.argsort(street, kind="stable")
    sorted_street = street[order]
    found: dict[int, tuple[int, float]] = {}
    for row in stranger.tolist():
        own = order[slice(*np.searchsorted(sorted_street, [street[row], street[row] + 1]))]
        others = own[own != row]
        if len(others) < 2:
            continue
        away = float(np.hypot(*(place[others] - place[row]).T).min())
        if away > max(_LEAST_M, _FARTHER * float(gap[row, -1])):
            found[int(rows[row])] = int(rows[near[row, 1]]), away
    notes.add_each(
        "address-among-others",
        "customers",
        customers.id,
        np.array(sorted(found), dtype=np.int64),
        Severity.WARNING,
        lambda row: (
            f"of {_shown(customers.street[row])} stands beside customer {customers.id[found[row][0]]} of "
            f"{_shown(customers.street[found[row][0]])}, {found[row][1]:.0f} m from the nearest one of its "
            "own street"
        ),
        "check its place and its address",
        xy,
    )

"""Customers, their services, their demand and their addresses."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.errors import shown
from netplan.core.findings import Severity
from netplan.network.checks.duplicates import plain_addresses
from netplan.network.checks.pipe_views import middle_of
from netplan.network.finding_log import FindingLog, listed
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.topology import fed_nodes
from netplan.network.vocabulary import Category

__all__ = [
    "check_address_outliers",
    "check_addresses",
    "check_dead_customers",
    "check_demand",
    "check_far_from_service",
    "check_services_without_customer",
    "services_without_customer",
]

_FAR_M: Final = 50.0
_MOST_KWH: Final = 1e9
_MOST_KW: Final = 1e6
_MOST_HOUSEHOLD_KWH: Final = 300_000.0
"""More than this for one household meter is no household's yearly use (own) [kWh]."""
_LETTERS: Final = 5
"""So many letters of a street are looked for in the address: endings are often cut short (own)."""
_LONGEST: Final = 200
_AT_ONCE: Final = 50_000
"""Addresses that are looked at together, so that long ones take little memory."""
_NEIGHBOURS: Final = 6
_FARTHER: Final = 3.0
_LEAST_M: Final = 60.0
"""Whoever has so many neighbours of other streets alone, and its own so many times and so far away (own)."""


def check_dead_customers(network: Network, notes: FindingLog) -> None:
    """Notice customers that hang on pipes no station or injection feeds."""
    customers = network.customers
    who = _who(network)
    n = len(customers)
    fed = (
        np.bincount(who, weights=fed_nodes(network, injections=True)[customers.attach_node], minlength=n) > 0
    )
    attached = np.bincount(who, minlength=n) > 0
    notes.add_each(
        "dead-customer",
        "customers",
        customers.id,
        attached & ~fed,
        Severity.WARNING,
        "is fed by no station as recorded",
        "look for a missing main, station or valve state",
        _places(network),
    )


def check_services_without_customer(network: Network, notes: FindingLog) -> None:
    """Notice services at neither end of which a customer hangs."""
    n = network.pipes.n_mains
    notes.add_each(
        "service-without-customer",
        "services",
        TextColumn(network.pipes.id.arrow.slice(n)),
        services_without_customer(network),
        Severity.WARNING,
        "feeds no recorded customer: nobody on it is on any list",
        "check whether a meter point is missing, or the service is dead",
        middle_of(network)[n:],
    )


def services_without_customer(network: Network) -> NDArray[np.bool_]:
    """Return which services feed no recorded customer, in the order of `Network.pipes`."""
    pipes, pieces = network.pipes, network.pieces
    if pipes.n_mains == len(pipes):
        return np.zeros(0, dtype=bool)
    has = np.zeros(len(network.nodes), dtype=bool)
    has[network.customers.attach_node] = True
    # A service that others branch off has its customers on those.
    service_piece = pieces.pipe >= pipes.n_mains
    ends = np.concatenate([pieces.from_node[service_piece], pieces.to_node[service_piece]])
    main_piece = ~service_piece
    on_main = np.zeros(len(has), dtype=bool)
    on_main[np.concatenate([pieces.from_node[main_piece], pieces.to_node[main_piece]])] = True
    useful = has | (~on_main & (np.bincount(ends, minlength=len(has)) > 1))
    of_pipe = np.bincount(
        pieces.pipe, weights=useful[pieces.from_node] | useful[pieces.to_node], minlength=len(pipes)
    )
    return np.asarray(of_pipe[pipes.n_mains :] == 0)


def check_demand(network: Network, notes: FindingLog) -> None:
    """Notice missing and absurd demand."""
    customers = network.customers
    xy = _places(network)
    kwh, kw = customers.annual_kwh, customers.peak_kw
    notes.add_each(
        "no-demand",
        "customers",
        customers.id,
        np.isnan(kwh) & np.isnan(kw),
        Severity.WARNING,
        "has neither yearly energy nor peak power",
        "give annual_kwh or peak_kw",
        xy,
    )
    notes.add_each(
        "odd-demand",
        "customers",
        customers.id,
        (kwh < 0) | (kwh > _MOST_KWH) | (kw < 0) | (kw > _MOST_KW),
        Severity.WARNING,
        "has an impossible demand",
        "correct annual_kwh [kWh] and peak_kw [kW]",
        xy,
    )
    per_meter = kwh / np.maximum(customers.meters, 1)
    notes.add_each(
        "large-household",
        "customers",
        customers.id,
        (customers.category == Category.HOUSEHOLD) & (per_meter > _MOST_HOUSEHOLD_KWH) & (kwh <= _MOST_KWH),
        Severity.WARNING,
        lambda row: f"{per_meter[row]:,.0f} kWh a year is too much for a household",
        "correct annual_kwh or the category",
        xy,
    )


def check_far_from_service(network: Network, notes: FindingLog) -> None:
    """Notice customers that lie far from where they are attached."""
    customers, nodes = network.customers, network.nodes
    who, node = _who(network), customers.attach_node
    gap = np.hypot(customers.x_m[who] - nodes.x_m[node], customers.y_m[who] - nodes.y_m[node])
    most = np.zeros(len(customers))
    np.fmax.at(most, who, gap)
    notes.add_each(
        "far-from-service",
        "customers",
        customers.id,
        most > _FAR_M,
        Severity.WARNING,
        lambda row: f"lies {most[row]:.0f} m from the end of its service",
        "check its place and its service_id",
        _places(network),
    )


def _who(network: Network) -> NDArray[np.int64]:
    return np.repeat(np.arange(len(network.customers)), np.diff(network.customers.attach_start))


def _places(network: Network) -> NDArray[np.float64]:
    return np.column_stack([network.customers.x_m, network.customers.y_m])


def check_addresses(network: Network, notes: FindingLog) -> None:
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
            f"address does not hold the recorded {column} for {len(rows):,} of {given:,} customers: "
            f"{listed(who)}",
            f"check that address and {column} are those of one customer, and in the right columns",
        )


def _without(address: TextColumn, beside: TextColumn, letters: int) -> tuple[NDArray[np.int64], int]:
    """Return the rows whose address does not hold the first letters of a text, and how many have both."""
    rows, count = [np.zeros(0, dtype=np.int64)], 0
    for low in range(0, len(address), _AT_ONCE):
        some = np.arange(low, min(low + _AT_ONCE, len(address)))
        whole, part = _words(address, some, _LONGEST), _words(beside, some, letters)
        given = (part != "") & (whole != "")
        count += int(given.sum())
        rows.append(some[given & (np.char.find(whole, part) < 0)])
    return np.concatenate(rows), count


def _words(column: TextColumn, rows: NDArray[np.int64], letters: int) -> NDArray[np.str_]:
    short = pc.utf8_slice_codeunits(column.take(rows).arrow, 0, _LONGEST)
    plain = pc.utf8_slice_codeunits(plain_addresses(TextColumn(short)), 0, letters)
    return np.array(plain.to_pylist(), dtype=np.str_)


def _shown(street: str) -> str:
    return shown(" ".join(street.split()))


def check_address_outliers(network: Network, notes: FindingLog) -> None:
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
    from scipy.spatial import KDTree  # a network that is kept needs none

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

"""The planner's orders, from words on the command line to rows of the network."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from netplan.cli.quantities import metres
from netplan.core.errors import BadWorkError, quoted
from netplan.isolation import Orders, Stretch
from netplan.network.model import Network
from netplan.readers import read_polygons

__all__ = ["FORBIDDEN_M", "customer_rows", "read_orders"]

FORBIDDEN_M: Final = 0.5
"""How far on each side of a forbidden chainage no barrier nearest the work may be [m] (source: own)."""


def read_orders(
    network: Network,
    *,
    force: list[str],
    forbid: list[str],
    keep_out: Path | None,
    max_stops: int | None,
    keep_on: list[str],
) -> Orders:
    """Return the orders.

    Raises
    ------
    BadWorkError
        When a main, chainage, valve or customer is not in the network.
    """
    force_places, force_valves = _places(network, force, "--force")
    forbid_places, forbid_valves = _places(network, forbid, "--forbid", FORBIDDEN_M)
    return Orders(
        force=force_places,
        force_valves=force_valves,
        forbid=forbid_places,
        forbid_valves=forbid_valves,
        keep_out=() if keep_out is None else read_polygons(keep_out, network.crs),
        max_stops=max_stops or 0,
        keep_customers=customer_rows(network, keep_on, "--keep-on"),
    )


def customer_rows(network: Network, ids: list[str], option: str) -> tuple[int, ...]:
    """Return the rows of customers named on the command line, ascending."""
    rows = set()
    for ident in ids:
        row = network.customers.id.find(ident)
        if row < 0:
            raise BadWorkError(
                f"{option}: the network has no customer {quoted(ident)}; give an id of its layer"
            )
        rows.add(row)
    return tuple(sorted(rows))


def _places(
    network: Network, texts: list[str], option: str, around_m: float = 0.0
) -> tuple[tuple[Stretch, ...], tuple[int, ...]]:
    places, valves = set(), set()
    for text in texts:
        main_id, colon, chainage = text.rpartition(":")
        if not colon:
            row = network.valves.id.find(text)
            if row < 0 or network.valves.piece[row] < 0:
                raise BadWorkError(
                    f"{option}: no valve {quoted(text)} lies on a main; give MAIN:CHAINAGE or a valve id"
                )
            valves.add(row)
            continue
        pipe = network.pipes.id.find(main_id, 0, network.pipes.n_mains)
        if pipe < 0:
            raise BadWorkError(f"{option}: the network has no main {quoted(main_id)}; give MAIN:CHAINAGE")
        at = metres(chainage, option)
        length = float(network.pipes.length_m[pipe])
        if not 0 <= at <= length:
            raise BadWorkError(f"{option}: main {main_id} is {length:.2f} m long, {at:g} m is beyond it")
        places.add(Stretch(pipe, max(at - around_m, 0.0), min(at + around_m, length)))
    return tuple(sorted(places)), tuple(sorted(valves))

"""Mains by street, id or valve: what somebody types into the page's search."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow.compute as pc

from netplan.network.linear_reference import points_at
from netplan.network.model import Network

__all__ = ["found_by_name"]

MOST_STREETS: Final = 5
"""Streets that a search answers at most (own) [-]."""
MOST_LOOKED_AT: Final = 2_000
"""Mains that streets are gathered from at most (own) [-]."""
MOST_FOUND: Final = 20
"""Rows that a search answers at most (own) [-]."""


def found_by_name(network: Network, text: str) -> list[dict[str, Any]]:
    """Return streets, mains whose id or street holds a text, valves and meter points, a few of each.

    Parameters
    ----------
    network : Network
    text : str
        At least two characters; case does not count.
    """
    asked = text.strip()
    if len(asked) < 2:
        return []
    pipes, valves, customers = network.pipes, network.valves, network.customers
    found: list[dict[str, Any]] = []
    found += _streets(network, asked)
    ids, streets = (column.arrow.slice(0, pipes.n_mains) for column in (pipes.id, pipes.street))
    holds = pc.or_(
        pc.match_substring(ids, asked, ignore_case=True), pc.match_substring(streets, asked, ignore_case=True)
    )
    for row in np.flatnonzero(np.asarray(holds))[:MOST_FOUND].tolist():
        middle_m = float(pipes.length_m[row]) / 2.0
        found.append(_row(network, "main", pipes.id[row], pipes.street[row], row, middle_m))
    holds = pc.match_substring(valves.id.arrow, asked, ignore_case=True)
    for row in np.flatnonzero(np.asarray(holds))[:MOST_FOUND].tolist():
        if valves.pipe[row] >= 0:
            pipe, at_m = int(valves.pipe[row]), float(valves.chainage_m[row])
            found.append(_row(network, "valve", valves.id[row], pipes.street[pipe], pipe, at_m))
    holds = pc.or_(
        pc.match_substring(customers.address.arrow, asked, ignore_case=True),
        pc.match_substring(customers.id.arrow, asked, ignore_case=True),
    )
    for row in np.flatnonzero(np.asarray(holds))[:MOST_FOUND].tolist():
        place = {"x": float(customers.x_m[row]), "y": float(customers.y_m[row])}
        found.append(
            {"kind": "meter point", "id": customers.id[row], "where": customers.address[row], **place}
        )
    return found[: 2 * MOST_FOUND]


def _streets(network: Network, asked: str) -> list[dict[str, Any]]:
    """Return the streets whose name holds a text, each with how many mains it has."""
    pipes = network.pipes
    names = pipes.street.arrow.slice(0, pipes.n_mains)
    holds = np.flatnonzero(np.asarray(pc.match_substring(names, asked, ignore_case=True)))
    first: dict[str, int] = {}
    count: dict[str, int] = {}
    for row in holds[:MOST_LOOKED_AT].tolist():
        name = pipes.street[row]
        first.setdefault(name, row)
        count[name] = count.get(name, 0) + 1
    found = []
    for name, row in list(first.items())[:MOST_STREETS]:
        place = _row(network, "street", name, "", row, float(pipes.length_m[row]) / 2.0)
        found.append({**place, "where": f"{count[name]} main{'s' if count[name] > 1 else ''}"})
    return found


def _row(network: Network, kind: str, name: str, where: str, pipe: int, at_m: float) -> dict[str, Any]:
    x, y = points_at(network, np.array([pipe]), np.array([at_m]))[0].tolist()
    main = network.pipes.id[pipe]
    return {
        "kind": kind,
        "id": name,
        "where": where,
        "x": x,
        "y": y,
        "main_id": main,
        "chainage_m": round(at_m, 3),
    }

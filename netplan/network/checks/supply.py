"""Who is fed: parts without a station, and valves that part the network."""

from __future__ import annotations

import numpy as np

from netplan.core.findings import Severity
from netplan.network.checks.shapes import ids_of_mains, middle_of
from netplan.network.finding_log import Notes
from netplan.network.model import Network
from netplan.network.topology import components, fed_nodes
from netplan.network.vocabulary import Operable, ValveState

__all__ = ["check_parts_without_station", "check_splitting_valves", "check_valve_operability"]


def check_parts_without_station(network: Network, notes: Notes) -> None:
    """Notice each connected part that holds mains but is reached by no station and no injection."""
    pieces = network.pieces
    part = components(network)
    fed = fed_nodes(network, injections=True)
    main = (pieces.pipe < network.pipes.n_mains) & ~fed[pieces.from_node]
    dead = np.flatnonzero(main)
    _, first = np.unique(part[pieces.from_node[dead]], return_index=True)
    count = np.bincount(part[pieces.from_node[dead]])
    where = {int(pieces.pipe[dead[place]]): int(part[pieces.from_node[dead[place]]]) for place in first}
    length = np.bincount(
        part[pieces.from_node[dead]], weights=(pieces.to_m - pieces.from_m)[dead], minlength=len(count)
    )
    notes.add_each(
        "part-without-station",
        "mains",
        ids_of_mains(network),
        np.array(sorted(where), dtype=np.int64),
        Severity.WARNING,
        lambda row: f"lies in a part of {length[where[row]]:.0f} m of main that no station feeds",
        "look for a missing link, station or valve state",
        middle_of(network),
    )


def check_splitting_valves(network: Network, notes: Notes) -> None:
    """Notice closed valves that part two fed areas: they are boundaries of districts."""
    valves, pieces = network.valves, network.pieces
    part = components(network)
    placed = np.flatnonzero(valves.piece >= 0)
    piece = valves.piece[placed]
    one, other = part[pieces.from_node[piece]], part[pieces.to_node[piece]]
    splitting = placed[(one != other) & (valves.state[placed] == ValveState.CLOSED)]
    fed = fed_nodes(network, injections=True)
    both = fed[pieces.from_node[valves.piece[splitting]]] & fed[pieces.to_node[valves.piece[splitting]]]
    notes.add_each(
        "boundary-valve",
        "valves",
        valves.id,
        splitting[both],
        Severity.NOTE,
        "is closed and parts two areas that are both fed",
        "make sure that it is meant as a boundary",
        _valve_places(network),
    )
    notes.add_each(
        "closed-valve-cuts-off",
        "valves",
        valves.id,
        splitting[~both],
        Severity.WARNING,
        "is closed and leaves mains behind it without any station",
        "check its recorded state",
        _valve_places(network),
    )


def check_valve_operability(network: Network, notes: Notes) -> None:
    """Notice placed valves of known state that may not be operable: none of them can be a stop."""
    valves = network.valves
    xy = _valve_places(network)
    placed = valves.piece >= 0
    notes.add_each(
        "valve-operability-unknown",
        "valves",
        valves.id,
        placed & (valves.operable == Operable.UNKNOWN) & (valves.state != ValveState.UNKNOWN),
        Severity.NOTE,
        "may not be operable; it is never a stop",
        "record whether it can be worked",
        xy,
    )


def _valve_places(network: Network) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    xy = np.full((len(network.valves), 2), np.nan)
    placed = np.flatnonzero(network.valves.piece >= 0)
    node = network.pieces.from_node[network.valves.piece[placed]]
    xy[placed] = np.column_stack([network.nodes.x_m[node], network.nodes.y_m[node]])
    return xy

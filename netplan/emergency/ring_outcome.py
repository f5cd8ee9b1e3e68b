"""Who loses gas once a ring is shut, which stations have to be shut with it, and what must be done first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Ints, Ints32
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.ring_search import RingCut
from netplan.network.model import Network
from netplan.network.topology import components_without
from netplan.network.vocabulary import ValveState

__all__ = ["RingOutcome", "do_first_lines", "ring_outcome"]


@dataclass(frozen=True, slots=True, eq=False)
class RingOutcome:
    """What a ring does.

    Parameters
    ----------
    in_ring, parted : bool arrays, shape (customers,)
        Any attachment inside the ring; else any attachment that is cut off from every station and injection
        left. One that nothing fed before is neither.
    severed : bool array, shape (customers,)
        Those of `in_ring` with another attachment that stays live: a second service to shut.
    stations, injections : int arrays
        Rows of those inside the ring: to be shut.
    sensing : int array
        Rows of stations outside whose sensing point lies inside the ring or is parted from them.
    fed : bool array, shape (nodes,)
        Nodes joined to a station or injection that stays on.
    length_m : float
        Length of mains inside [m], those with a stop on them counted whole.
    """

    in_ring: Flags
    parted: Flags
    severed: Flags
    stations: Ints
    injections: Ints
    sensing: Ints
    fed: Flags
    length_m: float

    @property
    def off(self) -> Flags:
        """Customers that lose gas, shape (customers,)."""
        return np.asarray(self.in_ring | self.parted, dtype=np.bool_)


def ring_outcome(tables: EmergencyTables, cut: RingCut) -> RingOutcome:
    """Return who loses gas once a ring and the stations inside it are shut."""
    network, inside = tables.network, cut.inside
    closed = np.unique(np.array([stop.piece for stop in cut.stops], dtype=np.int64))
    part = components_without(network, closed)
    stations = _inside(network.stations.node, inside)
    injections = _inside(network.injections.node, inside)
    fed = _fed(network, part, inside)
    customers, at = network.customers, network.customers.attach_node
    in_ring, parted, stays = (np.zeros(len(customers), dtype=np.bool_) for _ in range(3))
    lost = np.flatnonzero((tables.fed_before & ~fed)[at])
    owner = np.searchsorted(customers.attach_start, lost, side="right") - 1
    is_inside = inside[at[lost]]
    in_ring[owner[is_inside]] = True
    parted[owner[~is_inside]] = True
    for row in np.flatnonzero(in_ring & (np.diff(customers.attach_start) > 1)).tolist():
        stays[row] = fed[at[customers.attach_start[row] : customers.attach_start[row + 1]]].any()
    pieces = network.pieces
    mains = (pieces.pipe < network.pipes.n_mains) & (inside[pieces.from_node] | inside[pieces.to_node])
    return RingOutcome(
        in_ring=in_ring,
        parted=parted & ~in_ring,
        severed=stays,
        stations=stations,
        injections=injections,
        sensing=_parted_sensing(network, part, inside, stations),
        fed=fed,
        length_m=float((pieces.to_m - pieces.from_m)[mains].sum()),
    )


def _inside(nodes: Ints32, inside: Flags) -> Ints:
    placed = np.flatnonzero(nodes >= 0)
    return placed[inside[nodes[placed]]]


def _fed(network: Network, part: Ints32, inside: Flags) -> Flags:
    """Return which nodes are joined to a station or injection outside a ring."""
    nodes = np.concatenate([network.stations.node, network.injections.node])
    nodes = nodes[nodes >= 0]
    has_supply = np.zeros(int(part.max(initial=-1)) + 1, dtype=np.bool_)
    has_supply[part[nodes[~inside[nodes]]]] = True
    return np.asarray(has_supply[part] & ~inside, dtype=np.bool_)


def _parted_sensing(network: Network, part: Ints32, inside: Flags, shut: Ints) -> Ints:
    stations, sensing = network.stations, network.sensing
    rows = np.concatenate([np.arange(len(stations)), sensing.station]).astype(np.int64)
    points = np.concatenate([stations.sensing_node, sensing.node])
    known = (rows >= 0) & (points >= 0)
    rows, points = rows[known], points[known]
    placed = stations.node[rows] >= 0
    rows, points = rows[placed], points[placed]
    away = inside[points] | (part[points] != part[stations.node[rows]])
    return np.setdiff1d(rows[away], shut)


def do_first_lines(
    tables: EmergencyTables, hits: Hits, cut: RingCut, outcome: RingOutcome
) -> tuple[str, ...]:
    """Return what must be done before, or with, the first stop, one line each."""
    return (*_lines(tables.network, outcome), *_closed_lines(tables, hits, cut))


def _lines(network: Network, outcome: RingOutcome) -> Iterator[str]:
    for row in outcome.stations.tolist():
        name = network.stations.id[row]
        yield (
            f"Station {name} feeds the ring and no stop isolates it: network control decides to shut it; "
            "it is opened again by a written order, tested and purged."
        )
    for row in outcome.injections.tolist():
        name = network.injections.id[row]
        yield f"Injection {name} feeds the ring and no stop isolates it: network control gets it shut."
    for row in outcome.sensing.tolist():
        name = network.stations.id[row]
        yield (
            f"Station {name} senses inside the ring or beyond it: it opens fully once the ring is shut; "
            "network control has it set by hand or shut first."
        )
    for row in np.flatnonzero(outcome.severed).tolist():
        name, where = network.customers.id[row], network.customers.address[row]
        yield f"Meter point {name} ({where}) has another service from outside: shut both at the meter."


def _closed_lines(tables: EmergencyTables, hits: Hits, cut: RingCut) -> Iterator[str]:
    network = tables.network
    rows = _closed_valves(network, cut.inside).tolist()
    if not rows:
        return
    keep_away = tables.keep_away((*hits.mains, *hits.services), tables.rules.emergency.keep_away_m)
    for row in rows:
        name, pipe = network.valves.id[row], network.valves.pipe.item(row)
        place = f"on main {network.pipes.id[pipe]} at {network.valves.chainage_m.item(row):.1f} m"
        street = network.pipes.street[pipe]
        where = f"{place} in {street}" if street else place
        said = f"Valve {name}, {where}, bounds the ring and is recorded as closed"
        if keep_away.holds(pipe, network.valves.chainage_m.item(row)):
            yield (
                f"{said}, but lies within the keep-away distance: do not approach it until the competent "
                "person permits; until then gauges alone show whether it is shut."
            )
        else:
            yield f"{said}: check that it is shut."


def _closed_valves(network: Network, inside: Flags) -> Ints:
    """Return the rows of closed valves that hold the ring against gas from outside."""
    valves, pieces = network.valves, network.pieces
    placed = np.flatnonzero((valves.state == ValveState.CLOSED) & (valves.piece >= 0))
    rows = valves.piece[placed]
    bounds = inside[pieces.from_node[rows]] != inside[pieces.to_node[rows]]
    return np.asarray(placed[bounds], dtype=np.int64)

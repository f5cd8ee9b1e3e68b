"""Which mains lie inside a ring: what stays joined to the hit once every stop is shut."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags
from netplan.network.linear_reference import piece_at
from netplan.network.model import Network
from netplan.network.topology import components_without
from netplan.network.vocabulary import ValveState
from netplan.planfile.emergency_answer import HitMain, Ring

__all__ = ["InsideLengths", "inside_of"]


@dataclass(frozen=True, slots=True, eq=False)
class InsideLengths:
    """Lengths of pipes inside a ring.

    Parameters
    ----------
    whole : bool array, shape (pieces,)
        Pieces that lie inside from end to end.
    parts : tuple of (int, float, float)
        Row of a pipe and chainages from and to [m]: parts of pieces that hold a stop.
    closed_valves : tuple of int
        Rows of the valves recorded as closed that bound the ring.
    """

    whole: Flags
    parts: tuple[tuple[int, float, float], ...]
    closed_valves: tuple[int, ...]


def inside_of(network: Network, hits: tuple[HitMain, ...], ring: Ring) -> InsideLengths:
    """Return what lies inside a ring.

    Parameters
    ----------
    network : Network
        The one the answer was made from.
    hits : tuple of HitMain
    ring : Ring
    """
    pieces = network.pieces
    cuts: dict[int, list[float]] = {}
    for stop in ring.stops:
        valve = network.valves.id.find(stop.valve_id) if stop.valve_id else -1
        if valve >= 0:
            cuts.setdefault(int(network.valves.piece[valve]), []).append(stop.chainage_m)
        else:
            piece = piece_at(network, _row(network, stop.main_id), stop.chainage_m)
            cuts.setdefault(piece, []).append(stop.chainage_m)
    part = components_without(network, np.array(sorted(cuts), dtype=np.int64))
    joined: set[int] = set()
    between: set[tuple[int, int]] = set()
    for hit in hits:
        piece = piece_at(network, _row(network, hit.main_id), hit.chainage_m)
        ends = int(part[pieces.from_node[piece]]), int(part[pieces.to_node[piece]])
        at = sorted(cuts.get(piece, []))
        section = bisect_left(at, hit.chainage_m)
        between.add((piece, section))
        if section == 0:
            joined.add(ends[0])
        if section == len(at):
            joined.add(ends[1])
    inside = np.isin(part, list(joined))
    whole = np.array(pieces.is_open & inside[pieces.from_node] & inside[pieces.to_node])
    whole[list(cuts)] = False
    parts = []
    for piece, at in cuts.items():
        places = [float(pieces.from_m[piece]), *sorted(at), float(pieces.to_m[piece])]
        for section in range(len(places) - 1):
            is_in = (
                (piece, section) in between
                or (section == 0 and bool(inside[pieces.from_node[piece]]))
                or (section == len(at) and bool(inside[pieces.to_node[piece]]))
            )
            if is_in and places[section + 1] > places[section]:
                parts.append((int(pieces.pipe[piece]), places[section], places[section + 1]))
    return InsideLengths(whole, tuple(parts), _closed_valves(network, inside))


def _closed_valves(network: Network, inside: Flags) -> tuple[int, ...]:
    valves, pieces = network.valves, network.pieces
    rows = np.flatnonzero((valves.state == ValveState.CLOSED) & (valves.piece >= 0))
    own = valves.piece[rows]
    return tuple(rows[inside[pieces.from_node[own]] != inside[pieces.to_node[own]]].tolist())


def _row(network: Network, main_id: str) -> int:
    """Return the row of a main, or of a service where no main has that id."""
    row = network.pipes.id.find(main_id, 0, network.pipes.n_mains)
    return row if row >= 0 else network.pipes.id.find(main_id, network.pipes.n_mains)

"""Dead ends and loops of the mains in a zone: each takes a purge point, wherever gas is let in.

They depend on the zone alone, not on pressures, so that what is dug for them is known before any feed is.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut, CutStop, ZonePiece
from netplan.network.model import Network

__all__ = ["DeadEnd", "ZoneMainsPart", "zone_mains_parts"]

SAME_M = 1e-6
"""Chainages nearer than this are one place (own) [m]."""

_Key = tuple[str, int]


@dataclass(frozen=True, slots=True, order=True)
class DeadEnd:
    """An end of a main inside a zone that is at no stop: row of the main and chainage [m]."""

    pipe: int
    chainage_m: float


@dataclass(frozen=True, slots=True)
class ZoneMainsPart:
    """A connected part of the open mains of a cut's zones.

    Parameters
    ----------
    mains : tuple of int
        Rows of its mains, ascending.
    dead_ends : tuple of DeadEnd
        Sorted.
    loops : int
        Number of independent loops: each has one place where gas meets that comes from both sides.
    place : DeadEnd
        A place on it, for what has none of its own: the middle of its first length.
    """

    mains: tuple[int, ...]
    dead_ends: tuple[DeadEnd, ...]
    loops: int
    place: DeadEnd


def zone_mains_parts(network: Network, cut: Cut) -> tuple[ZoneMainsPart, ...]:
    """Return the connected parts of the open mains of a cut's zones, in the order of their first length.

    A stop ends a main as well, and is purged through its own tapping: it is no dead end. A main that ends at
    a shut valve does, on either side.
    """
    pieces, n_mains = network.pieces, network.pipes.n_mains
    shut = {stop.piece for stop in cut.stops if stop.valve >= 0}
    lengths = sorted(
        part
        for zone in cut.zones
        for part in zone.pieces
        if part.pipe < n_mains and pieces.is_open[part.piece] and part.piece not in shut
    )
    at_stop: set[_Key] = set()
    edges: list[tuple[_Key, _Key]] = []
    for part in lengths:
        ends = (_end(network, cut.stops, part, low=True), _end(network, cut.stops, part, low=False))
        at_stop.update(end for end in ends if end[0] == "stop")
        edges.append(ends)
    # A stop on a main that is not live ends none: gas does not come or go there.
    beside = [
        (("node", stop.zone_node), ("stop", row))
        for row, stop in enumerate(cut.stops)
        if ("stop", row) not in at_stop
        and stop.zone_node >= 0
        and (stop.valve >= 0 or pieces.is_open[stop.piece])
    ]
    degree = Counter(end for edge in (*edges, *beside) for end in edge)
    number = {key: row for row, key in enumerate(degree)}
    if not edges:
        return ()
    a, b = (np.array([number[edge[side]] for edge in edges], dtype=np.int64) for side in (0, 1))
    label, _ = component_labels(len(number), a, b)
    found = []
    for k in dict.fromkeys(label[a].tolist()):
        rows = np.flatnonzero(label[a] == k).tolist()
        dead = [
            DeadEnd(lengths[row].pipe, lengths[row].from_m if side == 0 else lengths[row].to_m)
            for row in rows
            for side in (0, 1)
            if edges[row][side][0] == "node" and degree[edges[row][side]] == 1
        ]
        nodes = {end for row in rows for end in edges[row]}
        first = lengths[rows[0]]
        found.append(
            ZoneMainsPart(
                mains=tuple(sorted({lengths[row].pipe for row in rows})),
                dead_ends=tuple(sorted(dead)),
                loops=len(rows) - len(nodes) + 1,
                place=DeadEnd(first.pipe, (first.from_m + first.to_m) / 2),
            )
        )
    return tuple(found)


def _end(network: Network, stops: tuple[CutStop, ...], part: ZonePiece, *, low: bool) -> _Key:
    """Return what the lower or upper end of a length of main in a zone is: a node or a stop."""
    pieces, at = network.pieces, part.from_m if low else part.to_m
    zone_side = "to" if low else "from"
    for row, stop in enumerate(stops):
        if (
            stop.piece == part.piece
            and stop.valve < 0
            and stop.work_side == zone_side
            and abs(stop.chainage_m - at) <= SAME_M
        ):
            return "stop", row
    return "node", int((pieces.from_node if low else pieces.to_node)[part.piece])

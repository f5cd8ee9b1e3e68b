"""Pipes that an option cuts off or keeps by a feed: their lines, and services without a recorded customer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Ints
from netplan.network.checks.customers_and_addresses import services_without_customer
from netplan.planning.context import PlanningContext
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["CutOff", "cut_off_lines", "cut_off_services_without_customer"]


@dataclass(frozen=True, slots=True, eq=False)
class CutOff:
    """Lengths of pipe inside the zones and beyond the stops.

    Parameters
    ----------
    piece, pipe : int arrays, shape (n,)
        Rows of the piece and of its pipe.
    line : object array, shape (n,)
        The lengths as shapely lines in the working CRS.
    dark : bool array, shape (n,)
        Whether they are without gas during the work; the others are kept by a feed.
    """

    piece: Ints
    pipe: Ints
    line: NDArray[np.object_]
    dark: Flags


def cut_off_lines(context: PlanningContext, option: OptionInDoubt) -> CutOff:
    """Return the lengths of pipe that are in a zone, stranded, or kept by a feed."""
    connectivity, network = option.connectivity, context.request.network
    pieces, dark_node = network.pieces, ~connectivity.fed[connectivity.part[: len(network.nodes)]]
    inside = {(part.piece, part.from_m, part.to_m) for zone in connectivity.cut.zones for part in zone.pieces}
    stopped = {stop.piece: stop.live_node for stop in connectivity.cut.stops}
    beyond = option.touched & ~connectivity.in_zone
    whole = connectivity.carries & beyond[pieces.from_node] & beyond[pieces.to_node] & (pieces.valve < 0)
    rows = [
        *((piece, low, high, True) for piece, low, high in sorted(inside) if pieces.valve[piece] < 0),
        # Of a piece with a stop towards a stranded part the rest lies in that part.
        *(
            (piece, float(pieces.from_m[piece]), float(pieces.to_m[piece]), bool(dark_node[node]))
            for piece, node in sorted(stopped.items())
            if option.touched[node] and pieces.valve[piece] < 0
        ),
        *(
            (row, float(pieces.from_m[row]), float(pieces.to_m[row]), bool(dark_node[pieces.from_node[row]]))
            for row in np.flatnonzero(whole).tolist()
        ),
    ]
    piece = np.array([row[0] for row in rows], dtype=np.int64)
    low, high = (np.array([row[k] for row in rows], dtype=float) for k in (1, 2))
    pipe = pieces.pipe[piece].astype(np.int64)
    dark = np.array([row[3] for row in rows], dtype=bool)
    return CutOff(piece, pipe, context.lines_between(pipe, low, high), dark)


def cut_off_services_without_customer(option: OptionInDoubt) -> tuple[str, ...]:
    """Return the ids of such services, ascending: somebody may live there who is on no list."""
    network = option.connectivity.network
    pipes, pieces = network.pipes, network.pieces
    nobody = services_without_customer(network)
    if not nobody.any():
        return ()
    named = np.zeros(len(pipes), dtype=bool)
    named[pieces.pipe[option.touched[pieces.from_node] | option.touched[pieces.to_node]]] = True
    rows = pipes.n_mains + np.flatnonzero(nobody & named[pipes.n_mains :])
    return tuple(sorted({pipes.id[int(row)] for row in rows}))

"""The flow network with the stops of a cut drawn in: every link wholly inside or outside the zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds import Tap, with_taps
from netplan.hydraulics import FlowLinks, FlowNetwork, FlowState
from netplan.isolation import Cut, CutStop
from netplan.network.model import Network

__all__ = [
    "StoppedNetwork",
    "at_taps",
    "draw_stops",
    "link_chainages",
    "live_tee",
    "piece_at",
    "tap_at",
    "tap_place",
]


EDGE = 1e-9
"""Least share of a piece a tap may lie from its end: a node there exists already."""


@dataclass(frozen=True, slots=True, eq=False)
class StoppedNetwork:
    """A network with a node at every barrier and bypass tee of a cut.

    Parameters
    ----------
    flow : FlowNetwork
        Nothing closed beyond what is closed already; links [0, pieces) are the pieces' first parts.
    piece : int array, shape (links,)
        Piece each link is a part of.
    from_m, to_m : float arrays, shape (links,)
        Chainages of each link on its pipe [m].
    in_zone : bool array, shape (links,)
        Inside a zone: empty of supply when all stops are in.
    tee_node : int array, shape (stops,)
        Node where a bypass is tapped at each stop, on its live side.
    barrier_node : int array, shape (stops,)
        Node at the barrier nearest the work; a valve's live end.
    closes : tuple of int
        For each stop the link whose closing sets it: the one on the zone side of its barrier.
    """

    flow: FlowNetwork
    piece: Ints
    from_m: Floats
    to_m: Floats
    in_zone: Flags
    tee_node: Ints
    barrier_node: Ints
    closes: tuple[int, ...]


def live_tee(stop: CutStop) -> tuple[int, float] | None:
    """Return pipe and chainage of the bypass tee of a stop; None for one without."""
    tees = [(tapping.pipe, tapping.chainage_m) for tapping in stop.tappings if tapping.role == "bypass"]
    return tees[0] if tees else None


def draw_stops(network: Network, base: FlowNetwork, cut: Cut) -> StoppedNetwork:
    """Put barriers and tees of a cut into the base network as nodes."""
    taps: list[Tap] = []
    barrier_tap: list[int] = []
    tee_tap: list[int] = []
    for stop in cut.stops:
        barrier_tap.append(_add(taps, network, stop.piece, stop.chainage_m) if stop.valve < 0 else -1)
        tee = live_tee(stop)
        tee_tap.append(-1 if tee is None else _add(taps, network, piece_at(network, *tee, near=stop), tee[1]))
    flow, node, link_of = with_taps(base, taps)
    from_m, to_m = link_chainages(network, taps, link_of)
    barrier_node = np.array(
        [stop.live_node if tap < 0 else node[tap] for stop, tap in zip(cut.stops, barrier_tap, strict=True)],
        dtype=np.int64,
    )
    tee_node = np.array(
        [b if tap < 0 else node[tap] for b, tap in zip(barrier_node, tee_tap, strict=True)], dtype=np.int64
    )
    in_zone = _in_zone(link_of, from_m, to_m, cut)
    closes = tuple(
        _closing_link(stop, int(b), flow.links, link_of, in_zone)
        for stop, b in zip(cut.stops, barrier_node, strict=True)
    )
    in_zone[list(closes)] = True
    return StoppedNetwork(flow, link_of, from_m, to_m, in_zone, tee_node, barrier_node, closes)


def tap_at(network: Network, piece: int, chainage_m: float) -> Tap:
    """Return a place on a piece, by its chainage [m], as one where the flow network is tapped."""
    low, high = network.pieces.from_m[piece], network.pieces.to_m[piece]
    return Tap(piece, float(min(max((chainage_m - low) / (high - low), EDGE), 1.0 - EDGE)))


def tap_place(network: Network, stopped: StoppedNetwork, tap: Tap) -> tuple[int, float]:
    """Return main and chainage [m] of a place where a stopped network is tapped."""
    low, high = stopped.from_m[tap.link], stopped.to_m[tap.link]
    return int(network.pieces.pipe[stopped.piece[tap.link]]), float(low + tap.share * (high - low))


def _add(taps: list[Tap], network: Network, piece: int, chainage_m: float) -> int:
    tap = tap_at(network, piece, chainage_m)
    if tap in taps:
        return taps.index(tap)
    taps.append(tap)
    return len(taps) - 1


def piece_at(network: Network, pipe: int, chainage_m: float, near: CutStop) -> int:
    """Return the piece of a main that a chainage [m] lies on; that of a stop where it may be."""
    pieces = network.pieces
    rows = np.array(pieces.rows_of(pipe))
    inside = rows[
        (pieces.from_m[rows] <= chainage_m)
        & (chainage_m <= pieces.to_m[rows])
        & (pieces.to_m[rows] > pieces.from_m[rows])
    ]
    if near.piece in inside:
        return near.piece
    return int(inside[0])


def link_chainages(network: Network, taps: Sequence[Tap], link_of: Ints) -> tuple[Floats, Floats]:
    """Return the chainages of each link on its pipe [m] in a flow network tapped at some places."""
    pieces = network.pieces
    from_m, to_m = pieces.from_m[link_of].copy(), pieces.to_m[link_of].copy()
    row = len(pieces)
    for link in sorted({tap.link for tap in taps}):
        low, high = pieces.from_m[link], pieces.to_m[link]
        marks = sorted(low + tap.share * (high - low) for tap in taps if tap.link == link)
        to_m[link] = marks[0]
        for k, mark in enumerate(marks):
            from_m[row] = mark
            to_m[row] = marks[k + 1] if k + 1 < len(marks) else high
            row += 1
    return from_m, to_m


def _in_zone(link_of: Ints, from_m: Floats, to_m: Floats, cut: Cut) -> Flags:
    inside = np.zeros(len(link_of), dtype=bool)
    parts = [part for zone in cut.zones for part in zone.pieces]
    lows: dict[int, list[tuple[float, float]]] = {}
    for part in parts:
        lows.setdefault(part.piece, []).append((part.from_m, part.to_m))
    for row in np.flatnonzero(np.isin(link_of, np.fromiter(lows, dtype=np.int64, count=len(lows)))):
        middle = (from_m[row] + to_m[row]) / 2
        inside[row] = any(low <= middle <= high for low, high in lows[int(link_of[row])])
    return inside


def _closing_link(stop: CutStop, barrier: int, links: FlowLinks, link_of: Ints, in_zone: Flags) -> int:
    if stop.valve >= 0:
        return stop.piece
    of_piece = np.flatnonzero(link_of == stop.piece)
    touching = of_piece[(links.from_node[of_piece] == barrier) | (links.to_node[of_piece] == barrier)]
    inside = touching[in_zone[touching]]
    return int(inside[0]) if len(inside) else int(touching[0])


def at_taps(stopped: StoppedNetwork, unfed: FlowState) -> Floats:
    """Give each barrier and tee the pressure of the live end it hangs on: nothing flows to it."""
    pressure = np.full(stopped.flow.node_count, np.nan)
    pressure[: len(unfed.pressure_pa_gauge)] = unfed.pressure_pa_gauge
    links = stopped.flow.links
    live = np.flatnonzero(links.is_open & ~stopped.in_zone)
    fresh = live[
        (links.from_node[live] >= len(unfed.pressure_pa_gauge))
        | (links.to_node[live] >= len(unfed.pressure_pa_gauge))
    ]
    for _ in range(len(fresh)):
        a, b = links.from_node[fresh], links.to_node[fresh]
        pressure[b] = np.where(np.isnan(pressure[b]), pressure[a], pressure[b])
        pressure[a] = np.where(np.isnan(pressure[a]), pressure[b], pressure[a])
    return pressure

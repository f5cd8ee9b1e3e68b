"""The feeds of an option as places on mains: what is shut, lost or kept when something fails."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Ints
from netplan.feeds import FeedKind, FeedSize
from netplan.isolation import Cut
from netplan.network.extract import ExtractedRows
from netplan.planfile.naming import bypass_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.stopped_network import live_tee, piece_at

__all__ = ["ClosedLengths", "FeedEnd", "FeedInUse", "feeds_in_use"]


AT_M = 1e-6
"""Chainages nearer than this are one place (own) [m]."""


@dataclass(frozen=True, slots=True)
class FeedEnd:
    """An end of a feed: piece and main it is tapped into, and its chainage [m]."""

    piece: int
    pipe: int
    chainage_m: float


@dataclass(frozen=True, slots=True)
class FeedInUse:
    """A feed of an option.

    Parameters
    ----------
    id : str
        B1 … or the id of the valve.
    what : str
        "bypass", "hose" or "opened valve".
    size : FeedSize
    ends : tuple of FeedEnd
        On the giving side, then on the fed side; for a valve the ends of the piece it stands on.
    valve_piece : int
        Piece of the valve that is opened; -1 for a bypass or hose.
    """

    id: str
    what: str
    size: FeedSize
    ends: tuple[FeedEnd, FeedEnd]
    valve_piece: int = -1

    def in_whole(self, rows: ExtractedRows) -> FeedInUse:
        """Return it in rows of the network that a subnetwork was taken out of."""
        ends = [
            replace(end, piece=int(rows.piece[end.piece]), pipe=int(rows.pipe[end.pipe])) for end in self.ends
        ]
        valve = -1 if self.valve_piece < 0 else int(rows.piece[self.valve_piece])
        return replace(self, ends=(ends[0], ends[1]), valve_piece=valve)


@dataclass(frozen=True, slots=True, eq=False)
class ClosedLengths:
    """What a set of stops closes.

    Parameters
    ----------
    inside : tuple of (piece, pipe, from, to)
        Lengths of pipe inside the zones [m].
    stops : tuple of (piece, chainage, whether the zone lies at higher chainage)
        Barriers nearest the work [m].
    occupied : tuple of (pipe, from, to)
        Lengths of main from the first to the last barrier of each stop [m].
    nodes : int array
        Network nodes inside the zones.
    """

    inside: tuple[tuple[int, int, float, float], ...]
    stops: tuple[tuple[int, float, bool], ...]
    occupied: tuple[tuple[int, float, float], ...]
    nodes: Ints

    @classmethod
    def of(cls, cut: Cut) -> ClosedLengths:
        """Return those of a cut."""
        nodes = [zone.nodes for zone in cut.zones]
        return cls(
            inside=tuple((p.piece, p.pipe, p.from_m, p.to_m) for zone in cut.zones for p in zone.pieces),
            stops=tuple((stop.piece, stop.chainage_m, stop.work_side == "to") for stop in cut.stops),
            occupied=tuple(
                (one.pipe, min(stop.chainage_m, one.chainage_m), max(stop.chainage_m, one.chainage_m))
                for stop in cut.stops
                for one in stop.tappings
                if one.role == "barrier" and one.pipe == stop.pipe
            ),
            nodes=np.concatenate(nodes).astype(np.int64) if nodes else np.zeros(0, np.int64),
        )

    def in_whole(self, rows: ExtractedRows) -> ClosedLengths:
        """Return them in rows of the network that a subnetwork was taken out of."""
        piece, pipe = rows.piece, rows.pipe
        return ClosedLengths(
            inside=tuple((int(piece[p]), int(pipe[m]), low, high) for p, m, low, high in self.inside),
            stops=tuple((int(piece[p]), at, up) for p, at, up in self.stops),
            occupied=tuple((int(pipe[m]), low, high) for m, low, high in self.occupied),
            nodes=rows.node[self.nodes].astype(np.int64),
        )

    @property
    def pieces(self) -> Ints:
        """Pieces that are stopped or lie inside, each once."""
        return np.unique(np.array([p for p, *_ in self.inside] + [p for p, *_ in self.stops], dtype=np.int64))

    def hold(self, end: FeedEnd) -> bool:
        """Return whether an end of a feed lies inside a zone or between the barriers of a stop."""
        lengths = [(m, low, high) for _, m, low, high in self.inside] + list(self.occupied)
        return any(
            end.pipe == pipe and low - AT_M <= end.chainage_m <= high + AT_M for pipe, low, high in lengths
        )


def feeds_in_use(context: PlanningContext, option: EvaluatedOption) -> tuple[FeedInUse, ...]:
    """Return the feeds of an option, in the order of its deficient parts."""
    found: list[FeedInUse] = []
    hoses = 0
    for feed in option.feeds:
        if feed is None:
            continue
        size, kind = feed.size, feed.size.feed.kind
        if kind is FeedKind.VALVE:
            found.append(
                FeedInUse(
                    size.feed.label,
                    "opened valve",
                    size,
                    _of_valve(context, size.feed.valve_link),
                    size.feed.valve_link,
                )
            )
            continue
        ends = _of_hose(context, option, size) if kind is FeedKind.HOSE else _of_bypass(context, option, size)
        found.append(FeedInUse(bypass_id(hoses), "hose" if kind is FeedKind.HOSE else "bypass", size, ends))
        hoses += 1
    return tuple(found)


def _of_valve(context: PlanningContext, piece: int) -> tuple[FeedEnd, FeedEnd]:
    pieces = context.request.network.pieces
    pipe = int(pieces.pipe[piece])
    return (
        FeedEnd(piece, pipe, float(pieces.from_m[piece])),
        FeedEnd(piece, pipe, float(pieces.to_m[piece])),
    )


def _of_bypass(context: PlanningContext, option: EvaluatedOption, size: FeedSize) -> tuple[FeedEnd, FeedEnd]:
    network = context.request.network
    rows = [int(label[1:]) - 1 for label in size.feed.label.split(">")]
    ends = []
    for stop in (option.cut.stops[row] for row in rows):
        tee = live_tee(stop)
        pipe, chainage = (stop.pipe, stop.chainage_m) if tee is None else tee
        ends.append(FeedEnd(piece_at(network, pipe, chainage, near=stop), pipe, chainage))
    return ends[0], ends[1]


def _of_hose(context: PlanningContext, option: EvaluatedOption, size: FeedSize) -> tuple[FeedEnd, FeedEnd]:
    stopped, fed = option.stopped, option.fed
    assert stopped is not None and fed is not None  # noqa: S101, PT018 - a hose is only sized in a fed network
    way = fed.hoses[size.feed.label]

    def end(link: int, share: float) -> FeedEnd:
        piece, low, high = int(stopped.piece[link]), stopped.from_m[link], stopped.to_m[link]
        return FeedEnd(
            piece, int(context.request.network.pieces.pipe[piece]), float(low + share * (high - low))
        )

    return end(way.giving.link, way.giving.share), end(way.fed.link, way.fed.share)

"""A hose that a fallback cuts off, moved to the bypass tee of the new stop: where that holds, solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.excavations import tee_elsewhere
from netplan.isolation import CutStop
from netplan.network.linear_reference import points_at
from netplan.planning.context import PlanningContext
from netplan.planning.failed_network import Failure, FailureCase
from netplan.planning.feeds_for_part import hose_length_m
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.planning.stopped_network import live_tee, piece_at
from netplan.planning.tee_room import outlet_of_tee, tees_at_stop
from netplan.reference.outlet_sizes import nominal_outlet_mm

__all__ = ["FeedMove", "feed_moves"]


@dataclass(frozen=True, slots=True, eq=False)
class FeedMove:
    """A bypass or hose that is coupled at another tee once a fallback is in.

    Parameters
    ----------
    feed : FeedInUse
        With its ends and its length after the move, in the size planned.
    to : FeedEnd
        The bypass tee of the new stop that it is moved to.
    off_meanwhile : tuple of str
        Customers who have no gas, or too little, from the failure until the move is made, and enough after.
    """

    feed: FeedInUse
    to: FeedEnd
    off_meanwhile: tuple[str, ...]

    @property
    def length_m(self) -> float:
        """Length of the hose after the move [m]."""
        return self.feed.size.feed.length_m


def feed_moves(
    context: PlanningContext,
    case: FailureCase,
    lengths: ClosedLengths,
    use: Sequence[CutStop],
    lost: Sequence[FeedInUse],
    before: Failure,
) -> tuple[FeedMove, ...]:
    """Return where lost feeds are moved to: each to the tee that leaves fewest without gas, then the nearest.

    A move counts where the state after it is solved and holds: the hose in its planned size, no wider than
    the outlet of the tee and with room for a tee for each of its lines, by the length rule of bypasses and
    within ``bypass.reach_m``, in the same pressure area as before, not driven faster than allowed, with every
    customer of the part that it feeds outside the zones at pressure and nobody worse off. A prepared stop has
    the tee in its own pit alone: only that is dug and paid.
    One hose goes to one tee. A feed with both ends cut off, and an opened valve, are not moved.

    Parameters
    ----------
    context : PlanningContext
    case : FailureCase
        Of the option.
    lengths : ClosedLengths
        What is closed with the fallback in.
    use : sequence of CutStop
        The new stops.
    lost : sequence of FeedInUse
        Feeds with an end inside the larger zone.
    before : Failure
        What happens with all of them lost.
    """
    tees = [(stop, end) for stop in use if (end := _tee(context, stop)) and not lengths.hold(end)]
    shut = {feed.id for feed in lost}
    moves: list[FeedMove] = []
    for feed in lost:
        inside = [lengths.hold(end) for end in feed.ends]
        if feed.valve_piece >= 0 or sum(inside) != 1:
            continue
        held: list[tuple[int, float, int, FeedInUse, FailureCase, Failure]] = []
        for row, (stop, tee) in enumerate(tees):
            moved = _moved(context, feed, inside.index(True), stop, tee)
            if moved is None:
                continue
            there = case.with_feed(moved)
            after = there.after(lengths, lost_feeds=shut - {feed.id})
            if _holds(there, lengths, moved, before, after):
                held.append((len(after.customers), moved.size.feed.length_m, row, moved, there, after))
        if held:
            _, _, row, moved, case, after = min(held, key=lambda one: one[:3])
            _, tee = tees.pop(row)
            back = set(before.customers) - set(after.customers)
            moves.append(FeedMove(moved, tee, tuple(one for one in before.customers if one in back)))
            shut, before = shut - {feed.id}, after
    return tuple(moves)


def _tee(context: PlanningContext, stop: CutStop) -> FeedEnd | None:
    tee = live_tee(stop)
    is_dug = not (context.request.rules.fallback.prepared and tee == tee_elsewhere(stop))
    if tee is None or not is_dug:
        return None
    return FeedEnd(piece_at(context.request.network, *tee, near=stop), *tee)


def _moved(
    context: PlanningContext, feed: FeedInUse, end: int, stop: CutStop, tee: FeedEnd
) -> FeedInUse | None:
    """Return a feed with one end at the tee of a stop; None where it may not be laid so."""
    network, rules = context.request.network, context.request.rules
    outlet_mm = outlet_of_tee(stop)
    is_too_wide = nominal_outlet_mm(feed.size.bore_m * MM_PER_M) > outlet_mm
    if is_too_wide or feed.size.parallel > tees_at_stop(network, rules, stop):
        return None
    area = context.areas.of_node[network.pieces.from_node[[feed.ends[end].piece, tee.piece]]]
    if area[0] != area[1]:
        return None
    ends = (tee, feed.ends[1]) if end == 0 else (feed.ends[0], tee)
    xy = points_at(network, np.array([one.pipe for one in ends]), np.array([one.chainage_m for one in ends]))
    length_m = hose_length_m(context, xy[0], xy[1])
    if length_m is None:
        return None
    outlets = list(feed.size.feed.outlets_mm)
    if outlets:
        outlets[end] = outlet_mm
    laid = replace(feed.size.feed, length_m=length_m, outlets_mm=tuple(outlets))
    size = replace(feed.size, feed=laid)
    return replace(feed, ends=ends, size=size)


def _holds(
    there: FailureCase, lengths: ClosedLengths, moved: FeedInUse, before: Failure, after: Failure
) -> bool:
    """Return whether a move gives gas back, at pressure to all of its part, and takes none from others."""
    gone, gone_before = set(after.customers), set(before.customers)
    return (
        gone < gone_before
        and moved.id not in after.too_fast
        and gone.isdisjoint(there.customers_fed_by(lengths, moved.id))
        and set(after.notes) <= set(before.notes)
    )

"""The network with the feeds of an option tapped in, nothing stopped, and nodes where some are wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.feeds import feed_links, with_taps
from netplan.hydraulics import FlowNetwork
from netplan.planning.context import PlanningContext
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse
from netplan.planning.stopped_network import link_chainages, tap_at

__all__ = ["OpenedNetwork", "opened_network"]

OVERLAP_M = 1e-6
"""Least length of a link inside a zone for it to be closed (own) [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class OpenedNetwork:
    """A network with feeds tapped in and nothing stopped; links with the lengths of pipe they stand for.

    Parameters
    ----------
    flow : FlowNetwork
        Hoses come after all lengths of pipe.
    piece : int array
        Piece that each length of pipe is a part of.
    from_m, to_m : float arrays
        Chainages of each length of pipe [m].
    links_of : dict of str to tuple of int
        Links of each feed, by its id.
    nodes_of : dict of str to (int, int)
        Nodes at its ends, the giving one first.
    mark_node : int array
        Node at each mark.
    """

    flow: FlowNetwork
    piece: Ints
    from_m: Floats
    to_m: Floats
    links_of: dict[str, tuple[int, ...]]
    nodes_of: dict[str, tuple[int, int]]
    mark_node: Ints

    def closed_by(self, lengths: ClosedLengths) -> list[int]:
        """Return the links that stops close: those inside a zone, as far as the stop and no farther.

        A new barrier may stand within a link: all of it is closed. Nothing is drawn within a link, and every
        end of a feed has a node of its own, so that this is the same as closing it at the barrier.
        """
        low, high, piece = self.from_m, self.to_m, self.piece
        closed: set[int] = set()
        rows_of = {p: np.flatnonzero(piece == p) for p in lengths.pieces.tolist()}
        for p, _, start, stop in lengths.inside:
            rows = rows_of[p]
            overlap = np.minimum(high[rows], stop) - np.maximum(low[rows], start)
            no_length = high[rows] - low[rows] <= OVERLAP_M
            touches = overlap >= -OVERLAP_M
            closed |= set(rows[(overlap > OVERLAP_M) | (no_length & touches)].tolist())
        for p, at, zone_above in lengths.stops:
            rows = rows_of[p]
            here = rows[(low[rows] - OVERLAP_M <= at) & (at <= high[rows] + OVERLAP_M)]
            if not closed.intersection(here.tolist()) and len(here):
                # The zone ends right at the end of the piece: nothing of it lies inside.
                closed.add(int(here[np.argmax(low[here]) if zone_above else np.argmin(low[here])]))
        return sorted(closed)


def opened_network(
    context: PlanningContext, feeds: Sequence[FeedInUse], marks: Sequence[FeedEnd] = ()
) -> OpenedNetwork:
    """Return the base network with feeds tapped in, and a node at every mark.

    Parameters
    ----------
    context : PlanningContext
    feeds : sequence of FeedInUse
    marks : sequence of FeedEnd
        Further places on mains.
    """
    network = context.request.network
    pieces = network.pieces
    hosed = [feed for feed in feeds if feed.valve_piece < 0]
    if not feeds and not marks:
        nowhere = np.zeros(0, dtype=np.int64)
        return OpenedNetwork(
            context.base, np.arange(len(pieces)), pieces.from_m, pieces.to_m, {}, {}, nowhere
        )
    ends = [*(end for feed in hosed for end in feed.ends), *marks]
    tap_of = {end: tap_at(network, end.piece, end.chainage_m) for end in ends}
    taps = sorted(set(tap_of.values()))
    flow, node, piece = with_taps(context.base, taps)
    node_of = {end: int(node[taps.index(tap)]) for end, tap in tap_of.items()}
    from_m, to_m = link_chainages(network, taps, piece)
    links, sizes = flow.links, []
    links_of: dict[str, tuple[int, ...]] = {}
    nodes_of: dict[str, tuple[int, int]] = {}
    first, is_open = links.count, links.is_open.copy()
    for feed in feeds:
        if feed.valve_piece >= 0:
            links_of[feed.id] = (feed.valve_piece,)
            is_open[feed.valve_piece] = True
            nodes_of[feed.id] = (
                int(pieces.from_node[feed.valve_piece]),
                int(pieces.to_node[feed.valve_piece]),
            )
            continue
        start, stop = (node_of[end] for end in feed.ends)
        nodes_of[feed.id] = start, stop
        sizes.append(replace(feed.size, feed=replace(feed.size.feed, from_node=start, to_node=stop)))
        links_of[feed.id] = tuple(range(first, first + feed.size.parallel))
        first += feed.size.parallel
    hoses = feed_links(sizes, context.request.rules)
    joined = flow.with_links(replace(links, is_open=is_open).joined_with(hoses))
    at_marks = np.array([node_of[mark] for mark in marks], dtype=np.int64)
    return OpenedNetwork(joined, piece, from_m, to_m, links_of, nodes_of, at_marks)

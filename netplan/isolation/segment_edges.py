"""Segments as edges of the graph that the cut is sought in, and their prices as pairs of arcs."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_prices import SimpleSegments
from netplan.isolation.work_segments import SegmentRemainder

__all__ = ["Arcs", "LocalEdge", "arcs_of", "simple_segment_arcs"]


class LocalEdge:
    """A segment (or what is left of one beside the work) between two local nodes of the local graph.

    Attributes
    ----------
    segment : int
        Segment row.
    u, v : int
        Local nodes; `SOURCE` for the work.
    remainder : SegmentRemainder or None
        For what is left of a segment beside the work.
    out_u, out_v : int
        Least price of a stop with the zone at u, and with the zone at v; `INFINITE` where none can be made.
    gas_minor : int
        Gas of the whole edge [minor units].
    stranded_u, stranded_v : int
        What such a stop strands for certain, at least [minor units]; part of out_u and out_v.
    """

    __slots__ = ("gas_minor", "out_u", "out_v", "remainder", "segment", "stranded_u", "stranded_v", "u", "v")

    def __init__(
        self,
        segment: int,
        u: int,
        v: int,
        remainder: SegmentRemainder | None,
        out_u: int,
        out_v: int,
        gas_minor: int,
    ) -> None:
        self.segment, self.u, self.v, self.remainder = segment, u, v, remainder
        self.out_u, self.out_v, self.gas_minor = out_u, out_v, gas_minor
        self.stranded_u = self.stranded_v = 0

    def ends(self, index: SegmentGraph) -> tuple[int, int]:
        """Return the supernodes at its u and its v; -1 for an end of the work itself."""
        if self.remainder is not None:
            return self.remainder.a, self.remainder.b
        return index.segment_a.item(self.segment), index.segment_b.item(self.segment)

    def strand(self, minor_u: int, minor_v: int) -> None:
        """Add what a stop with the zone at u, and with the zone at v, strands for certain [minor units]."""
        self.stranded_u, self.stranded_v = minor_u, minor_v
        self.out_u = min(self.out_u + minor_u, INFINITE)
        self.out_v = min(self.out_v + minor_v, INFINITE)

    def cost(self, zone_at_u: bool) -> int:
        """Return the least price of a stop with the zone at one end [minor units]."""
        return self.out_u if zone_at_u else self.out_v


Arcs = tuple[int, int, int, int]
"""Capacity from the first end to the second and reverse, what either end pays for being in the zone
[minor units]."""


def arcs_of(out_u: int, out_v: int, gas_minor: int) -> Arcs:
    """Return a segment as arcs, from the least price of a stop with the zone at either end and its gas.

    The gas of a segment wholly inside is shared by its ends. So that no arc becomes negative, no end pays
    more than a stop there costs.
    """
    gas = min(gas_minor, out_u + out_v)
    share = min(max(gas // 2, gas - out_v), out_u)
    return (
        out_u - share if out_u < INFINITE else INFINITE,
        out_v - gas + share if out_v < INFINITE else INFINITE,
        share,
        gas - share,
    )


def simple_segment_arcs(segments: SimpleSegments, stranded: Ints) -> tuple[Ints, Ints, Ints]:
    """Return the arcs of all simple segments, priced as `arcs_of` does one by one.

    Parameters
    ----------
    segments : SimpleSegments
    stranded : int64 array, shape (segments, 2)
        What a stop strands with the zone at the segment's a, and at its b [minor units].

    Returns
    -------
    int64 arrays, shape (segments, 2)
        From the segment's a, and from its b: capacity along the segment, capacity reverse, and what that end
        pays for being in the zone [minor units]. They hold where a segment is simple.
    """
    out = np.minimum(segments.cost_minor[:, np.newaxis] + stranded, INFINITE)
    out_a, out_b = out[:, 0], out[:, 1]
    gas = np.minimum(segments.gas_minor, out_a + out_b)
    share = np.minimum(np.maximum(gas // 2, gas - out_b), out_a)
    pay = np.column_stack([share, gas - share])
    forward = np.where(out < INFINITE, out - pay, INFINITE)
    return forward, forward[:, ::-1], pay

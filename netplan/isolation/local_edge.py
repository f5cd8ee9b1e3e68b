"""An edge of the graph round the work: a segment of main, or what is left of one beside the work."""

from __future__ import annotations

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.work_segments import Gap

__all__ = ["LocalEdge"]


class LocalEdge:
    """A segment (or a gap beside the work) between two local nodes of the local graph.

    Attributes
    ----------
    segment : int
        Segment row.
    u, v : int
        Local nodes; `SOURCE` for the work.
    gap : Gap or None
        For what is left of a segment beside the work.
    out_u, out_v : int
        Least price of a stop with the zone at u, and with the zone at v; `INFINITE` where none can be made.
    gas_minor : int
        Gas of the whole edge [minor units].
    stranded_u, stranded_v : int
        What such a stop strands for certain, at least [minor units]; part of out_u and out_v.
    """

    __slots__ = ("gap", "gas_minor", "out_u", "out_v", "segment", "stranded_u", "stranded_v", "u", "v")

    def __init__(
        self, segment: int, u: int, v: int, gap: Gap | None, out_u: int, out_v: int, gas_minor: int
    ) -> None:
        self.segment, self.u, self.v, self.gap = segment, u, v, gap
        self.out_u, self.out_v, self.gas_minor = out_u, out_v, gas_minor
        self.stranded_u = self.stranded_v = 0

    def strand(self, minor_u: int, minor_v: int) -> None:
        """Add what a stop with the zone at u, and with the zone at v, strands for certain [minor units]."""
        self.stranded_u, self.stranded_v = minor_u, minor_v
        self.out_u = min(self.out_u + minor_u, INFINITE)
        self.out_v = min(self.out_v + minor_v, INFINITE)

    def cost(self, zone_at_u: bool) -> int:
        """Return the least price of a stop with the zone at one end [minor units]."""
        return self.out_u if zone_at_u else self.out_v

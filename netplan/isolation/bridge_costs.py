"""Segments as pairs of arcs; the price of a bridge depends on where the work stands."""

from __future__ import annotations

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cost_context import CostContext
from netplan.isolation.pendant_components import SubtreeInterval
from netplan.isolation.segment_arcs import Arcs, arcs_of
from netplan.isolation.stranded_costs import StrandedCosts

__all__ = ["BridgeCost", "BridgeCosts"]


class BridgeCost:
    """A segment that a pendant component hangs on: a stop costs more where it strands the pendant component.

    Parameters
    ----------
    prices : BridgeCosts
    segment, near, far : int
        Segment, and supernodes at its ends.
    spans : tuple of SubtreeInterval or None
        The pendant components beyond `far`, and beyond `near`.

    Attributes
    ----------
    number : int
        Of the arc from near to far: even from the segment's a, odd from its b.
    """

    __slots__ = ("_all", "_prices", "far", "near", "number", "segment", "spans")

    def __init__(
        self,
        prices: BridgeCosts,
        segment: int,
        near: int,
        far: int,
        spans: tuple[SubtreeInterval | None, SubtreeInterval | None],
    ) -> None:
        self._all, self.segment, self.near, self.far, self.spans = prices, segment, near, far, spans
        self.number = prices.number(segment, near)
        self._prices: dict[tuple[bool, bool], tuple[Arcs, int, int]] = {}

    def priced(self, work: list[int]) -> tuple[Arcs, int, int]:
        """Return the arcs from `near` to `far`, and what stops with the zone at near and at far strand.

        Parameters
        ----------
        work : list of int
            Places of the work in the order of pendant components: a pendant component that it stands on is
            not stranded.
        """
        beyond, behind = self.spans
        key = (
            beyond is not None and not beyond.holds_any(work),
            behind is not None and not behind.holds_any(work),
        )
        found = self._prices.get(key)
        if found is None:
            found = self._prices[key] = self._all.priced(self, *key)
        return found


class BridgeCosts:
    """The segments of a network with what stops on them strand.

    Parameters
    ----------
    costs : CostContext
    stranding : StrandedCosts or None
        None: pendant components add nothing.
    """

    def __init__(self, costs: CostContext, stranding: StrandedCosts | None) -> None:
        self._costs, self._index, self.stranding = costs, costs.index, stranding

    def at(self, segment: int, near: int, far: int) -> BridgeCost | None:
        """Return a segment as the bridge it is; None where a stop on it strands nobody."""
        if self.stranding is None or not self._costs.pendants.is_bridge.item(segment):
            return None
        spans = (self.stranding.span(segment, near, far), self.stranding.span(segment, far, near))
        return BridgeCost(self, segment, near, far, spans) if spans != (None, None) else None

    def arcs(self, segment: int, at_a: bool, beyond: int, behind: int) -> Arcs:
        """Return a segment as arcs from one end; `beyond` and `behind`: what stops strand [minor units]."""
        out_a, out_b = self._costs.price_segment(segment)
        extra_a, extra_b = (beyond, behind) if at_a else (behind, beyond)
        forth, back, pay_a, pay_b = arcs_of(
            min(out_a + extra_a, INFINITE),
            min(out_b + extra_b, INFINITE),
            self._costs.segments.gas_minor.item(segment),
        )
        return (forth, back, pay_a, pay_b) if at_a else (back, forth, pay_b, pay_a)

    def number(self, segment: int, near: int) -> int:
        """Return the number of the arc along a segment from one of its ends."""
        return 2 * segment + (self._index.segment_a.item(segment) != near)

    def priced(self, bridge: BridgeCost, beyond: bool, behind: bool) -> tuple[Arcs, int, int]:
        """Return what `BridgeCost.priced` does, where what hangs beyond and behind it is stranded or not."""
        segment, near, far = bridge.segment, bridge.near, bridge.far
        at_a = self._index.segment_a.item(segment) == near
        outs = self._costs.price_segment(segment) if at_a else self._costs.price_segment(segment)[::-1]
        there = self._stranded(segment, near, far, bridge.spans[0]) if beyond and outs[0] < INFINITE else 0
        here = self._stranded(segment, far, near, bridge.spans[1]) if behind and outs[1] < INFINITE else 0
        return self.arcs(segment, at_a, there, here), there, here

    def _stranded(self, segment: int, near: int, far: int, span: SubtreeInterval | None) -> int:
        if span is None or self.stranding is None:
            return 0
        return self.stranding.price(segment, near, far, span)

"""Runs as pairs of arcs, and those that a tail hangs on: their price depends on where the work stands."""

from __future__ import annotations

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cost_context import Ground
from netplan.isolation.pendant_components import Span
from netplan.isolation.stranded_costs import Stranding

__all__ = ["Arcs", "Bridge", "Bridges", "arcs_of"]

Arcs = tuple[int, int, int, int]
"""Capacity from the first end to the second and back, what either end pays for being in the zone
[minor units]."""


def arcs_of(out_u: int, out_v: int, gas_minor: int) -> Arcs:
    """Return a run as arcs, from the least price of a stop with the zone at either end and its gas.

    The gas of a run wholly inside is shared by its ends. So that no arc becomes negative, no end pays more
    than a stop there costs.
    """
    gas = min(gas_minor, out_u + out_v)
    share = min(max(gas // 2, gas - out_v), out_u)
    return (
        out_u - share if out_u < INFINITE else INFINITE,
        out_v - gas + share if out_v < INFINITE else INFINITE,
        share,
        gas - share,
    )


class Bridge:
    """A run that a tail hangs on: a stop costs more where it strands the tail.

    Parameters
    ----------
    prices : Bridges
    run, near, far : int
        Run, and supernodes at its ends.
    spans : tuple of Span or None
        The tails beyond `far`, and beyond `near`.

    Attributes
    ----------
    number : int
        Of the arc from near to far: even from the run's a, odd from its b.
    """

    __slots__ = ("_all", "_prices", "far", "near", "number", "run", "spans")

    def __init__(
        self, prices: Bridges, run: int, near: int, far: int, spans: tuple[Span | None, Span | None]
    ) -> None:
        self._all, self.run, self.near, self.far, self.spans = prices, run, near, far, spans
        self.number = prices.number(run, near)
        self._prices: dict[tuple[bool, bool], tuple[Arcs, int, int]] = {}

    def priced(self, work: list[int]) -> tuple[Arcs, int, int]:
        """Return the arcs from `near` to `far`, and what stops with the zone at near and at far strand.

        Parameters
        ----------
        work : list of int
            Places of the work in the order of tails: a tail that it stands on is not stranded.
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


class Bridges:
    """The runs of a network with what stops on them strand.

    Parameters
    ----------
    ground : Ground
    stranding : Stranding or None
        None: tails add nothing.
    """

    def __init__(self, ground: Ground, stranding: Stranding | None) -> None:
        self._ground, self._index, self.stranding = ground, ground.index, stranding

    def at(self, run: int, near: int, far: int) -> Bridge | None:
        """Return a run between two supernodes as the bridge it is; None where a stop on it strands nobody."""
        if self.stranding is None or not self._ground.tails.is_bridge.item(run):
            return None
        spans = (self.stranding.span(run, near, far), self.stranding.span(run, far, near))
        return Bridge(self, run, near, far, spans) if spans != (None, None) else None

    def arcs(self, run: int, at_a: bool, beyond: int, behind: int) -> Arcs:
        """Return a run as arcs from one end; `beyond` and `behind` it are what stops strand [minor units]."""
        out_a, out_b = self._ground.price_run(run)
        extra_a, extra_b = (beyond, behind) if at_a else (behind, beyond)
        forth, back, pay_a, pay_b = arcs_of(
            min(out_a + extra_a, INFINITE),
            min(out_b + extra_b, INFINITE),
            self._ground.runs.gas_minor.item(run),
        )
        return (forth, back, pay_a, pay_b) if at_a else (back, forth, pay_b, pay_a)

    def number(self, run: int, near: int) -> int:
        """Return the number of the arc along a run from one of its ends."""
        return 2 * run + (self._index.run_a.item(run) != near)

    def priced(self, bridge: Bridge, beyond: bool, behind: bool) -> tuple[Arcs, int, int]:
        """Return what `Bridge.priced` does, where tails beyond it and behind it are stranded or not."""
        run, near, far = bridge.run, bridge.near, bridge.far
        at_a = self._index.run_a.item(run) == near
        outs = self._ground.price_run(run) if at_a else self._ground.price_run(run)[::-1]
        there = self._stranded(run, near, far, bridge.spans[0]) if beyond and outs[0] < INFINITE else 0
        here = self._stranded(run, far, near, bridge.spans[1]) if behind and outs[1] < INFINITE else 0
        return self.arcs(run, at_a, there, here), there, here

    def _stranded(self, run: int, near: int, far: int, span: Span | None) -> int:
        if span is None or self.stranding is None:
            return 0
        return self.stranding.price(run, near, far, span)

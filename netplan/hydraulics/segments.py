"""Drops along the chains, evaluated again only where the flow has moved."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.graph.chains import Chains
from netplan.hydraulics.pressure_drop import LAMINAR_FACTOR, DropLaw

__all__ = ["SegmentDrops"]


_NEGLIGIBLE_PA2 = 1e-2
"""Second-order error in a chain's Δ(p²) below which a linear step stands for a new evaluation [Pa²]:
5e-8 Pa in pressure near atmospheric."""
_NEGLIGIBLE_KG_PER_S = 1e-10
"""The same for the flow that such an error can drive round a ring [kg/s]."""
_ROUGHEST = 0.1
_USUAL_REYNOLDS = 1e4
_USUAL_FRICTION = 0.03
_ROUNDING_KG_PER_S = 1e-12


class SegmentDrops:
    """Drops and slopes of all segments at the flows they were last evaluated at.

    Parameters
    ----------
    law : DropLaw
        Of each segment, shape (s,).
    chains : Chains
        The chains they form.
    """

    def __init__(self, law: DropLaw, chains: Chains) -> None:
        self._law = law
        self._chains = chains
        curve = chains.sum_per_chain(_ROUGHEST * law.wall + law.local)
        # A stub has so little slope that the same error in pressure would be a large one in flow.
        least_slope = chains.sum_per_chain(law.wall * LAMINAR_FACTOR / law.reynolds_per_flow)
        error = np.minimum(_NEGLIGIBLE_PA2, _NEGLIGIBLE_KG_PER_S * least_slope)
        self._reach = np.sqrt(error / np.maximum(curve, np.finfo(float).tiny))
        self._before: Floats | None = None
        self.flow = np.full(chains.link.size, np.nan)
        self.drop = np.full(chains.link.size, np.nan)
        self.slope = np.full(chains.link.size, np.nan)
        self._through = np.full(chains.count, np.nan)
        self._sum = np.full(chains.count, np.nan)
        self._slope = np.full(chains.count, np.nan)

    def copy(self) -> SegmentDrops:
        """Return an independent copy, to start another solution from."""
        other = object.__new__(SegmentDrops)
        other._law, other._chains, other._reach = self._law, self._chains, self._reach
        other._before = self._before
        other.flow, other.drop, other.slope = self.flow.copy(), self.drop.copy(), self.slope.copy()
        other._through, other._sum, other._slope = (
            self._through.copy(),
            self._sum.copy(),
            self._slope.copy(),
        )
        return other

    def linear(self, before: Floats) -> tuple[Floats, Floats]:
        """Return drop at no through-flow and slope of each chain, were all segments linear.

        Each takes the mean slope up to Re 10,000 with a round friction factor: a usual flow in a main.
        """
        law = self._law
        usual = _USUAL_REYNOLDS / law.reynolds_per_flow
        resistance = (_USUAL_FRICTION * law.wall + law.local) * usual
        sums = self._chains.sum_per_chain
        return -sums(resistance * before), sums(resistance)

    def place(self, through: Floats, before: Floats) -> None:
        """Set the flow into each chain and what is drawn before each segment, whatever was there."""
        if before is self._before:
            self.advance(through, before)
            return
        self._before = before
        chain_of = self._chains.chain_of
        moved = ~(np.abs(through[chain_of] - before - self.flow) <= self._reach[chain_of])
        changed = np.zeros(self._chains.count, dtype=bool)
        changed[chain_of[moved]] = True
        # The linear step of a chain is taken from one flow for all its segments.
        same = through - self._through
        changed |= ~(np.abs(same) <= self._reach)
        drift = through[chain_of] - before - self.flow - same[chain_of]
        uneven = ~(np.abs(drift) <= _ROUNDING_KG_PER_S)
        changed[chain_of[uneven]] = True
        self._evaluate(np.flatnonzero(changed), through, before)

    def advance(self, through: Floats, before: Floats) -> tuple[Floats, Floats]:
        """Return drop and slope of each chain at the flow into it [Pa²], [Pa² s/kg].

        `before` must be what `place` was last given.
        """
        changed = np.flatnonzero(~(np.abs(through - self._through) <= self._reach))
        self._evaluate(changed, through, before)
        return self._sum + self._slope * (through - self._through), self._slope

    def finish(self, through: Floats) -> tuple[Floats, Floats]:
        """Return flow [kg/s] and drop [Pa²] of each segment at the flow into its chain."""
        step = (through - self._through)[self._chains.chain_of]
        return self.flow + step, self.drop + self.slope * step

    def _evaluate(self, changed: Ints, through: Floats, before: Floats) -> None:
        if not changed.size:
            return
        chains = self._chains
        if 2 * changed.size > chains.count:
            self.flow = through[chains.chain_of] - before
            self.drop, self.slope = self._law.drop_and_slope(self.flow)
            self._sum = chains.sum_per_chain(self.drop)
            self._slope = chains.sum_per_chain(self.slope)
            self._through = through.copy()
            return
        length = chains.first[changed + 1] - chains.first[changed]
        begin = np.concatenate([[0], np.cumsum(length)[:-1]])
        where = np.arange(int(length.sum())) + np.repeat(chains.first[changed] - begin, length)
        flow = np.repeat(through[changed], length) - before[where]
        drop, slope = self._law.take(where).drop_and_slope(flow)
        self.flow[where], self.drop[where], self.slope[where] = flow, drop, slope
        self._sum[changed] = np.add.reduceat(drop, begin)
        self._slope[changed] = np.add.reduceat(slope, begin)
        self._through[changed] = through[changed]

"""The pressure drop of a link for a mass flow, with its slope, and the drops along chains of links."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats, Ints
from netplan.graph.chains import Chains
from netplan.hydraulics.friction import LAMINAR_UP_TO_REYNOLDS, friction_beyond_laminar
from netplan.network.concurrency import in_parallel

__all__ = ["LAMINAR_FACTOR", "DropLaw", "SegmentDrops", "drop_law"]


LAMINAR_FACTOR = 64.0
"""Darcy friction factor times Reynolds number in laminar flow [-] (source: moody)."""
_AT_ONCE = 16384
_ON_MORE_CORES = 200_000
"""Links from which the drops are worked out on more than one core (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class DropLaw:
    """Coefficients of Δ(p²) = (a_f f(Re) + a_k) ṁ|ṁ| for many links.

    Parameters
    ----------
    reynolds_per_flow : ndarray of float, shape (m,)
        Re for each kg/s [s/kg].
    relative_roughness : ndarray of float, shape (m,)
        Roughness over bore [-].
    wall : ndarray of float, shape (m,)
        a_f = (16/π²) Z R T L / (M D⁵), times the mean height factor of the link [Pa² s²/kg²].
    local : ndarray of float, shape (m,)
        a_k = (16/π²) Z R T K / (M D⁴), the same for bends, tees and tappings [Pa² s²/kg²].
    """

    reynolds_per_flow: Floats
    relative_roughness: Floats
    wall: Floats
    local: Floats

    def take(self, where: npt.NDArray[np.int64] | slice) -> DropLaw:
        """Return the laws of the links numbered in `where`."""
        return DropLaw(
            self.reynolds_per_flow[where],
            self.relative_roughness[where],
            self.wall[where],
            self.local[where],
        )

    def drop_and_slope(self, flow_kg_per_s: Floats) -> tuple[Floats, Floats]:
        """Return Δ(p²) [Pa²], of the sign of the flow, and its derivative, > 0 [Pa² s/kg].

        The drop is strictly increasing, and both are continuous, for every flow.
        """
        count = flow_kg_per_s.size
        if count <= _AT_ONCE:
            return _drop_and_slope(self, flow_kg_per_s)
        # In pieces that stay in the processor's cache: five times as fast as all at once.
        drop, slope = np.empty(count), np.empty(count)

        def evaluate(rows: range) -> None:
            for low in rows:
                piece = slice(low, min(low + _AT_ONCE, rows.stop))
                drop[piece], slope[piece] = _drop_and_slope(self.take(piece), flow_kg_per_s[piece])

        halves = [count // 2, count - count // 2] if count > _ON_MORE_CORES else [count]
        ends = np.cumsum([0, *halves]).tolist()
        in_parallel(evaluate, [range(low, high, _AT_ONCE) for low, high in pairwise(ends)])
        return drop, slope


def drop_law(
    length_m: Floats,
    bore_m: Floats,
    roughness_m: Floats,
    loss_coefficient: Floats,
    height_factor: Floats | float,
    pressure_per_density: float,
    viscosity_pa_s: float,
) -> DropLaw:
    """Build the drop law of links.

    Parameters
    ----------
    length_m, bore_m, roughness_m : ndarray of float, shape (m,)
        Length ≥ 0, inner diameter > 0 and wall roughness ≥ 0 [m].
    loss_coefficient : ndarray of float, shape (m,)
        Sum of local loss coefficients on the velocity head [-].
    height_factor : ndarray of float or float
        Mean over the link of exp(2 g h / (p/ρ)), h above the datum [-]; 1 on the level.
    pressure_per_density : float
        p/ρ = Z R T / M of the isothermal gas [J/kg].
    viscosity_pa_s : float
        Dynamic viscosity [Pa s].
    """
    square = bore_m * bore_m
    squared = 16.0 / math.pi**2 * pressure_per_density * height_factor / (square * square)
    return DropLaw(
        reynolds_per_flow=4.0 / (math.pi * bore_m * viscosity_pa_s),
        relative_roughness=roughness_m / bore_m,
        wall=squared * length_m / bore_m,
        local=squared * loss_coefficient,
    )


def _drop_and_slope(law: DropLaw, flow_kg_per_s: Floats) -> tuple[Floats, Floats]:
    size = np.abs(flow_kg_per_s)
    reynolds = law.reynolds_per_flow * size
    # f·|ṁ| and d(f ṁ|ṁ|)/d|ṁ| are finite down to no flow at all, f alone is not.
    moved = LAMINAR_FACTOR / law.reynolds_per_flow
    slope = moved.copy()
    beyond = (reynolds > LAMINAR_UP_TO_REYNOLDS).nonzero()[0]
    if beyond.size:
        per_flow = law.reynolds_per_flow[beyond]
        amount = size[beyond]
        factor, bend = friction_beyond_laminar(reynolds[beyond], law.relative_roughness[beyond])
        moved[beyond] = factor * amount
        slope[beyond] = (2.0 * factor + bend * per_flow * amount) * amount
    drop = (law.wall * moved + law.local * size) * flow_kg_per_s
    return drop, law.wall * slope + 2.0 * law.local * size


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
        self._evaluate(changed.nonzero()[0], through, before)

    def advance(self, through: Floats, before: Floats) -> tuple[Floats, Floats]:
        """Return drop and slope of each chain at the flow into it [Pa²], [Pa² s/kg].

        `before` must be what `place` was last given.
        """
        changed = (~(np.abs(through - self._through) <= self._reach)).nonzero()[0]
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

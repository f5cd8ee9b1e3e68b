"""Whether feeds hold and by how much, and the last of ever harder steps that they hold."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds.feed_kinds import FeedSize
from netplan.rules.rule_set import Rules

__all__ = [
    "NO_SOLUTION",
    "ConstraintMargin",
    "held_by_inlets",
    "held_by_velocity",
    "last_that_holds",
    "worst_of",
]


ROUNDING_PA = 1e-6
"""What solving to rounding may cost a pressure [Pa]."""


@dataclass(frozen=True, slots=True)
class ConstraintMargin:
    """Whether something holds, and by how much.

    Parameters
    ----------
    reason : str
        Why it does not hold, in one line; empty when it does.
    slack : float
        What is to spare as a share of what is asked for [-]: below zero where it fails, minus infinity
        without a solution, plus infinity where nothing is asked.
    """

    reason: str
    slack: float

    @property
    def holds(self) -> bool:
        """Whether it holds."""
        return not self.reason


NO_SOLUTION = ConstraintMargin("a kept meter inlet has no solved pressure", -math.inf)
"""How an inlet without gas stands."""


def worst_of(*margins: ConstraintMargin) -> ConstraintMargin:
    """Return the first that does not hold, else the one with the least to spare."""
    failing = next((margin for margin in margins if not margin.holds), None)
    return failing or min(margins, key=lambda margin: margin.slack, default=ConstraintMargin("", math.inf))


def held_by_inlets(pressure_pa_gauge: Floats, required_pa_gauge: Floats) -> ConstraintMargin:
    """Return how inlets stand, by the one that misses most or has least to spare."""
    if not len(pressure_pa_gauge):
        return ConstraintMargin("", math.inf)
    if np.isnan(pressure_pa_gauge).any():
        return NO_SOLUTION
    excess = pressure_pa_gauge - required_pa_gauge
    worst = int(np.argmin(excess))
    slack = float(excess[worst]) / max(float(required_pa_gauge[worst]), PA_PER_MBAR)
    if excess[worst] >= -ROUNDING_PA:
        return ConstraintMargin("", slack)
    return ConstraintMargin(
        f"{rounded_down(float(pressure_pa_gauge[worst]) / PA_PER_MBAR, 3):.3f} mbar at the worst inlet, "
        f"{rounded_up(float(required_pa_gauge[worst]) / PA_PER_MBAR, 3):.3f} mbar needed",
        slack,
    )


def held_by_velocity(size: FeedSize, velocity_m_per_s: float, rules: Rules) -> ConstraintMargin:
    """Return how hard a hose is driven. A velocity that is unknown is too fast."""
    allowed = rules.bypass.velocity_max_m_s
    if velocity_m_per_s <= allowed:
        return ConstraintMargin("", 1.0 - velocity_m_per_s / allowed)
    slack = -math.inf if math.isnan(velocity_m_per_s) else 1.0 - velocity_m_per_s / allowed
    fast = rounded_up(velocity_m_per_s, 1)
    return ConstraintMargin(f"{fast:.1f} m/s in {size.feed.label}, {allowed:g} m/s allowed", slack)


FIRST_STRIDE: Final = 16
"""How many steps beyond the expected edge are looked at first (own) [-]."""


def last_that_holds(margin: Callable[[int], ConstraintMargin], steps: int, near: int = 0) -> int | None:
    """Return the last of the steps 0 to `steps` that holds; None when not even 0 does.

    What holds at a step holds at all before it. The edge is bracketed outward from `near` and narrowed by the
    slack, by halves where the slack misleads; both sides of the edge have been asked when it is found.
    """
    edge = _Edge(margin, near, steps)
    while not edge.is_found:
        edge.narrow()
    return edge.good


class _Edge:
    """The last step that holds, between one that does and the next that does not."""

    def __init__(self, margin: Callable[[int], ConstraintMargin], first: int, steps: int) -> None:
        self._margin, self._steps = margin, steps
        self._slack: dict[int, float] = {}
        self.good: int | None = None
        self.bad: int | None = None
        self._stride = max(FIRST_STRIDE, (steps - first) // 4 if first == 0 else 0)
        self._halve = False
        self._ask(first)
        if self.good is None and first:
            self._ask(0)

    @property
    def is_found(self) -> bool:
        if self.good is None:
            return True
        return self.good == self._steps if self.bad is None else self.bad - self.good == 1

    def narrow(self) -> None:
        good, bad = self.good or 0, self.bad
        if bad is None:
            self._ask(min(self._beyond(good), self._steps))
            return
        guess = None if self._halve else self._between(good, bad)
        self._ask((good + bad) // 2 if guess is None else guess)
        # Where guessing does not halve the bracket, halving does.
        self._halve = guess is not None and self._width() > max((bad - good) // 2, 1)

    def _width(self) -> int:
        return (self.bad or 0) - (self.good or 0)

    def _ask(self, step: int) -> None:
        found = self._margin(step)
        self._slack[step] = found.slack
        if found.holds:
            self.good = step
        else:
            self.bad = step

    def _between(self, good: int, bad: int) -> int | None:
        high, low = max(self._slack[good], 0.0), self._slack[bad]
        if not (math.isfinite(high) and math.isfinite(low)) or high == low:
            return None
        return min(max(good + math.floor((bad - good) * high / (high - low)), good + 1), bad - 1)

    def _beyond(self, good: int) -> int:
        before = max((step for step in self._slack if step < good), default=None)
        stride, self._stride = self._stride, 2 * self._stride
        if before is None:
            return good + stride
        fall = (self._slack[before] - self._slack[good]) / (good - before)
        if not (math.isfinite(fall) and fall > 0.0):
            return good + stride
        return good + min(math.floor(self._slack[good] / fall) + 1, 2 * stride)

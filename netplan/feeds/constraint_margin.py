"""Whether feeds hold, and by how much."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds.model import FeedSize
from netplan.rules.model import Rules

__all__ = ["NO_SOLUTION", "ConstraintMargin", "held_by_inlets", "held_by_velocity", "worst_of"]


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


NO_SOLUTION = ConstraintMargin("an inlet that must hold has no solved pressure", -math.inf)
"""How an inlet without gas stands."""


def worst_of(*stands: ConstraintMargin) -> ConstraintMargin:
    """Return the first that does not hold, else the one with the least to spare."""
    failing = next((stand for stand in stands if not stand.holds), None)
    return failing or min(stands, key=lambda stand: stand.slack, default=ConstraintMargin("", math.inf))


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

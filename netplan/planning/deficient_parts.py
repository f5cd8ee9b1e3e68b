"""Parts that need feeding or go off: those without a station, and the one that is fed too weakly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.feeds import Feed, Part
from netplan.hydraulics import FlowState
from netplan.planning.connectivity import Reach
from netplan.planning.context import Desk
from netplan.planning.customer_effects import must_stay
from netplan.planning.feeds_for_part import Hungry

__all__ = ["part_of", "stranded_parts", "weak_part"]


def stranded_parts(reach: Reach) -> tuple[Hungry, ...]:
    """Return the parts with customers that are left with no station."""
    found: list[Hungry] = []
    stranded = np.flatnonzero(reach.stranded)
    for label in np.unique(reach.customer_part[stranded]):
        rows = stranded[reach.customer_part[stranded] == label]
        found.append(
            Hungry(f"stranded {len(found) + 1}", (reach.part == label) & ~reach.in_zone, rows, weak=False)
        )
    return tuple(found)


def weak_part(desk: Desk, reach: Reach, unfed: Sequence[FlowState]) -> tuple[Hungry, ...]:
    """Return the customers that the stops leave too little pressure, as one part or none."""
    owner, at = desk.attachments
    pressure = np.min([state.pressure_pa_gauge for state in unfed], axis=0)
    low = ~(pressure[at] >= desk.required_pa_gauge) & reach.fed[at]
    low &= ~reach.isolated[owner] & ~reach.stranded[owner] & ~desk.weak_before[owner]
    if not low.any():
        return ()
    weak_nodes = reach.fed & ~(pressure[: len(reach.fed)] >= desk.required_pa_gauge)
    return (Hungry("weak", weak_nodes, np.unique(owner[low]), weak=True),)


def part_of(desk: Desk, part: Hungry, feeds: tuple[Feed, ...]) -> Part:
    """Return a part as the choice of feeds sees it."""
    stay = must_stay(desk)[part.customers].any()
    nowhere = np.zeros(0, dtype=np.int64)
    return Part(
        label=part.label,
        feeds=feeds,
        inlets=nowhere,
        demand_nodes=nowhere,
        off_price_minor=None if stay else int(desk.off_minor[part.customers].sum()),
        weak=part.weak,
    )

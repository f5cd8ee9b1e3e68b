"""Parts that need feeding or go off: those without a station, and the one that is fed too weakly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.feeds import Feed, UnfedPart
from netplan.hydraulics import FlowState
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.customer_effects import must_stay
from netplan.planning.feeds_for_part import DeficientPart

__all__ = ["part_of", "stranded_parts", "weak_part"]


def stranded_parts(reach: CutConnectivity) -> tuple[DeficientPart, ...]:
    """Return the parts with customers that are left with no station."""
    found: list[DeficientPart] = []
    stranded = np.flatnonzero(reach.stranded)
    for label in np.unique(reach.customer_part[stranded]):
        rows = stranded[reach.customer_part[stranded] == label]
        found.append(
            DeficientPart(
                f"stranded {len(found) + 1}", (reach.part == label) & ~reach.in_zone, rows, weak=False
            )
        )
    return tuple(found)


def weak_part(
    context: PlanningContext, reach: CutConnectivity, unfed: Sequence[FlowState]
) -> tuple[DeficientPart, ...]:
    """Return the customers that the stops leave too little pressure, as one part or none."""
    owner, at = context.attachments
    pressure = np.min([state.pressure_pa_gauge for state in unfed], axis=0)
    low = ~(pressure[at] >= context.required_pa_gauge) & reach.fed[at]
    low &= ~reach.isolated[owner] & ~reach.stranded[owner] & ~context.weak_before[owner]
    if not low.any():
        return ()
    weak_nodes = reach.fed & ~(pressure[: len(reach.fed)] >= context.required_pa_gauge)
    return (DeficientPart("weak", weak_nodes, np.unique(owner[low]), weak=True),)


def part_of(context: PlanningContext, part: DeficientPart, feeds: tuple[Feed, ...]) -> UnfedPart:
    """Return a part as the choice of feeds sees it."""
    stay = must_stay(context)[part.customers].any()
    nowhere = np.zeros(0, dtype=np.int64)
    return UnfedPart(
        label=part.label,
        feeds=feeds,
        inlets=nowhere,
        demand_nodes=nowhere,
        off_price_minor=None if stay else int(context.off_minor[part.customers].sum()),
        weak=part.weak,
    )

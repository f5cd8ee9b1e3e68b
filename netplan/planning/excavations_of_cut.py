"""What is dug for a cut whatever feeds it gets, on a planning context."""

from __future__ import annotations

from netplan.excavations import CutExcavations, work_excavations_minor
from netplan.isolation import Cut
from netplan.network.work_section import WorkSection, work_section
from netplan.planning.context import PlanningContext

__all__ = ["excavations_of_cut", "work_minor_of"]


def _section(context: PlanningContext) -> WorkSection:
    request = context.request
    return context.once("section", (), lambda: work_section(request.network, request.parts))


def work_minor_of(context: PlanningContext) -> int:
    """Return the price of the work section's own excavations, the same for every cut [minor units]."""
    request = context.request
    return context.once(
        "work excavations",
        (),
        lambda: work_excavations_minor(request.network, request.rules, _section(context)),
    )


def excavations_of_cut(context: PlanningContext, cut: Cut) -> CutExcavations:
    """Return what is dug for a cut whatever feeds it gets."""
    request = context.request
    return CutExcavations(request.network, request.rules, _section(context), work_minor_of(context), cut)

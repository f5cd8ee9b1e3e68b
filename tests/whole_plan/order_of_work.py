"""The order of the work of an option, followed from plan.json alone against the laws of the order."""

from __future__ import annotations

import re

from tests.support.outside_order import OutsideOrder
from tests.whole_plan.case import Case

__all__ = ["check_order"]


def check_order(case: Case) -> None:
    """Note every law that a step, or the order as a whole, breaks."""
    case.require(bool(case.option["steps"]), "order: no steps", "")
    for line in OutsideOrder(case.plan, case.rank).breaches():
        law, _, what = line.partition(": ")
        case.require(False, f"order: {law}", re.sub(r"\s+", " ", what))

"""How much more a feed could carry."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.feeds.case import FeedCase
from netplan.feeds.constraint_margin import ConstraintMargin
from netplan.feeds.last_holding import last_that_holds
from netplan.feeds.loads import Draw
from netplan.feeds.model import FeedSize
from netplan.feeds.separate_solution import FeedChecker
from netplan.rules.model import Rules

__all__ = ["spare_flow_m3_per_s_std"]

STEPS = 2**14
"""In how fine steps of twice the whole demand it is looked for (own) [-]."""


def spare_flow_m3_per_s_std(case: FeedCase, sizes: Sequence[FeedSize], place: int, rules: Rules) -> float:
    """Return the flow a feed could carry beyond, drawn at its fed end [m³/s at 15 °C, 101.325 kPa].

    The most that can be drawn there in addition while every inlet and every hose still holds under every
    load, on the full solve, to 1/16384 of twice the demand of the whole case. 0 when the case does not hold.

    Parameters
    ----------
    case : FeedCase
    sizes : sequence of FeedSize
        All feeds of the case.
    place : int
        Which of them.
    rules : Rules
    """
    node = sizes[place].feed.to_node

    judge = FeedChecker(case, rules, may_split=False)

    most = max(2.0 * float(case.demand_m3_per_s_std.sum()), 1e-3)

    def stand(step: int) -> ConstraintMargin:
        extra = Draw(node, most * step / STEPS)
        return judge.stand_under(sizes, case.every_load.changed(extra.on))

    return most * (last_that_holds(stand, STEPS) or 0) / STEPS

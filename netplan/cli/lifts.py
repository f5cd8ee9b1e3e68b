"""Orders that stand in the way of a plan, in the words of the command line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from netplan.planning.blocking_orders import Lifted, LiftedKind

__all__ = ["lifted_in_words"]

_WORDS: Final[dict[LiftedKind, Callable[[str], str]]] = {
    LiftedKind.NO_FEEDS: lambda _: "without --no-bypass there is a plan",
    LiftedKind.KEEP_ON: lambda who: f"without --keep-on {who} there is a plan",
    LiftedKind.OWN_SUPPLY: lambda who: f"with --own-supply {who} there is a plan",
    LiftedKind.FORCE: lambda where: f"without --force at {where} there is a plan",
    LiftedKind.FORBID: lambda where: f"without --forbid at {where} there is a plan",
    LiftedKind.KEEP_OUT: lambda _: "without --keep-out there is a plan",
    LiftedKind.MOST_STOPS: lambda most: f"with more stops than --max-stops {most} there is a plan",
    LiftedKind.MOST_STOPS_BY_RULE: lambda most: (
        f"with more stops than the rules' choice.max_stops, {most}, there is a plan"
    ),
    LiftedKind.MOST_OFF: lambda most: f"with more meters off than --max-off {most} there is a plan",
    LiftedKind.CREW_DAY: lambda _: (
        "if all meters off could be relit by the end of the day (rules crew.relights_per_hour, "
        "crew.meter_fitters and crew.day_end), there would be a plan"
    ),
    LiftedKind.WINDOW: lambda hours: f"with a longer window, such as --hours {hours}, there is a plan",
    LiftedKind.PURGE_DRAW: lambda _: (
        "with the rules' purge.draw_is_load = false, gas let in slowly behind inert gas, there is a plan"
    ),
}


def lifted_in_words(lifted: Lifted) -> str:
    """Return one line on an order that, lifted alone, gives a plan."""
    return _WORDS[lifted.kind](" and ".join(lifted.names))

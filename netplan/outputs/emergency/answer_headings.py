"""What the parts of an emergency answer are called, on its page, its sheet and the planning page alike."""

from __future__ import annotations

from typing import Final

__all__ = [
    "ESCAPING",
    "FIRST",
    "IF_A_VALVE_FAILS",
    "NO_ADDRESS_NEAR",
    "NO_PRIORITY",
    "PRIORITY",
    "STOP_COLUMNS",
    "WHAT_TO_SHUT",
    "WHAT_WAS_HIT",
    "WHOM_TO_TELL",
    "WHO_IS_WITHOUT",
    "addresses_within",
]

WHAT_WAS_HIT: Final = "What was hit"
WHAT_TO_SHUT: Final = "What to shut"
WHOM_TO_TELL: Final = "Whom to tell"
PRIORITY: Final = "Priority, without gas"
NO_PRIORITY: Final = "None on record in these rings."
NO_ADDRESS_NEAR: Final = "No meter point on record there."
ESCAPING: Final = "Gas escaping"
IF_A_VALVE_FAILS: Final = "If a valve fails"
WHO_IS_WITHOUT: Final = "Who is without gas"
FIRST: Final = "\u25b2 FIRST"
"""Stands before every line that is done before a stop is shut."""
STOP_COLUMNS: Final = ("", "stop", "where", "crew", "minutes", "shut at", "done, time")


def addresses_within(radius: str) -> str:
    """Return the heading of the addresses to check first; the radius with its unit."""
    return f"Addresses within {radius}"

"""The units that a command was asked to show, for messages that leave the program outside of it."""

from __future__ import annotations

from contextvars import ContextVar
from typing import Final

__all__ = ["forget_units", "in_shown_units", "remember_units"]

_SHOWN: Final[ContextVar[str]] = ContextVar("_SHOWN", default="metric")


def remember_units(units: str) -> str:
    """Note the units as the option is read, and return them."""
    _SHOWN.set(units)
    return units


def forget_units() -> None:
    """Begin a run in metric units."""
    _SHOWN.set("metric")


def in_shown_units(text: str) -> str:
    """Return a metric sentence of an error in the units of the run; what stands in quotation marks stays."""
    if _SHOWN.get() != "us":
        return text
    from netplan.outputs.number_format import US  # only where something is refused in US units

    return US.sentence(text)

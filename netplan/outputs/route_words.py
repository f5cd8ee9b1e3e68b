"""The route of a bypass or hose in words."""

from __future__ import annotations

from netplan.outputs.number_format import Figures
from netplan.planfile.model import Bypass

__all__ = ["route_words"]


def route_words(bypass: Bypass, units: Figures) -> str:
    """Return how long the hose is, what it crosses, and what is to be said of its route."""
    crossed = {0: "crosses no carriageway", 1: "crosses a carriageway: 1 ramp"}.get(
        bypass.crossings, f"crosses carriageways {bypass.crossings} times: {bypass.crossings} ramps"
    )
    words = f"{units.length(bypass.length_m)}, {crossed}"
    return f"{words}; {bypass.route_note}" if bypass.route_note else words

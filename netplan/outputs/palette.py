"""Colours of everything drawn: the palette of Okabe and Ito, told apart by colour-blind eyes too.

Colour is never alone: shape, letter or line pattern say the same.
"""

from __future__ import annotations

from typing import Final

__all__ = ["CUSTOMER_COLOURS", "INK", "STATE_COLOURS"]

INK: Final = "#1b1b1b"
STATE_COLOURS: Final = {
    "live": "#0072b2",
    "isolated": "#d55e00",
    "stranded": "#cc79a7",
    "fed": "#009e73",
    "closed": "#1b1b1b",
}
CUSTOMER_COLOURS: Final = {"off": "#d55e00", "kept": "#009e73"}

"""Pressure tiers from the words and pressures that records call them by."""

from __future__ import annotations

import re
from typing import Final

from netplan.readers.mapping.units import unit_factor
from netplan.readers.trade_words import meaning

__all__ = ["tier_of"]

_PRESSURE: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*([^\d\s.,].{0,19})")
_HIGHEST_LOW_MBAR: Final = 75.0
"""Up to this a system is low pressure whichever country counts (from memory) [mbar gauge]."""
_LOWEST_OTHER_MBAR: Final = 100.0
"""Above this it is none (from memory) [mbar gauge]."""
_POUNDS: Final = ("psi", "psig")
"""Units that the name of a tier keeps; every other one becomes bar."""


def tier_of(word: str) -> str | None:
    """Return the pressure system that a word means: a tier, or its pressure; None where nobody can tell.

    Parameters
    ----------
    word : str
        Such as ``low``, ``ND``, ``30 mbar(g)``, ``11 in WC``, ``4 bar``.
    """
    known = meaning("system", word)
    if known is not None:
        return known
    pressure = _PRESSURE.fullmatch(word.strip())
    if pressure is None:
        return None
    try:
        mbar = float(pressure[1].replace(",", ".")) * unit_factor(pressure[2], "mbar")
    except ValueError:
        return None
    if mbar <= _HIGHEST_LOW_MBAR:
        return "LP"
    if mbar <= _LOWEST_OTHER_MBAR:
        return None
    if pressure[2].strip().casefold() in _POUNDS:
        return f"{float(pressure[1].replace(',', '.')):g} psi"
    return f"{mbar / 1000.0:g} bar"

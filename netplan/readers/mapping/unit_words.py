"""Units as companies write them, through pint."""

from __future__ import annotations

import csv
import re
from functools import lru_cache
from importlib import resources
from typing import Final

from netplan.core.errors import quoted
from netplan.core.units import factor

__all__ = ["unit_factor"]

_PLAIN: Final = re.compile(r"[a-zA-Zµ°%]{1,20}")


def unit_factor(unit: str, target: str, kwh_per_m3: float | None = None) -> float:
    """Return what to multiply a number in `unit` by to have it in `target`.

    Parameters
    ----------
    unit : str
        One unit, or one over another, such as ``in``, ``psi``, ``therms per year``, ``m3/h``; energy without
        a time counts a year where a year is wanted. Pressures are gauge.
    target : str
        Unit of the contract.
    kwh_per_m3 : float, optional
        Energy of the gas [kWh/m3 at 15 °C, 101.325 kPa], to have energy from a volume.

    Raises
    ------
    ValueError
        When the unit is not known or measures something else.
    """
    over, stroke, under = unit.replace(" per ", "/").partition("/")
    if "/" in under:
        raise ValueError(f"unit {quoted(unit)} has two strokes; write one unit over another")
    top, times = _word(over)
    if stroke:
        bottom, divided = _word(under)
        top, times = f"{top}/({bottom})", times / divided
    for wanted in _wanted(target, kwh_per_m3):
        try:
            found = times * factor(top, wanted)
        except Exception:  # noqa: BLE001, S112 - pint raises many kinds for a bad unit; all mean the next one
            continue
        return found if wanted == target or kwh_per_m3 is None else found * kwh_per_m3
    raise ValueError(f"unit {quoted(unit)} does not convert to {target or 'a pure number'}")


def _wanted(target: str, kwh_per_m3: float | None) -> tuple[str, ...]:
    if kwh_per_m3 is not None:
        return ("meter**3/hour",) if target == "kW" else ("meter**3/year", "meter**3")
    return {"kWh/a": ("kWh/a", "kWh"), "m3/h": ("meter**3/hour",)}.get(target, (target,))


def _word(text: str) -> tuple[str, float]:
    """Return a unit of pint and what to multiply by, for one word of the trade."""
    word = text.strip().replace(" ", "")
    known = _words().get(word.casefold())
    if known is not None:
        return known
    # Only a bare word reaches pint, which would evaluate whole expressions.
    if not _PLAIN.fullmatch(word):
        raise ValueError(f"unit {quoted(text.strip())} is not known")
    return word, 1.0


@lru_cache(maxsize=1)
def _words() -> dict[str, tuple[str, float]]:
    text = resources.files("netplan.readers.mapping").joinpath("unit_words.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return {row["word"]: (row["unit"], float(row["times"])) for row in rows}

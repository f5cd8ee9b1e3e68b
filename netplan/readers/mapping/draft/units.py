"""Units of number columns, by their names first and their values second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.network.contract import Column
from netplan.readers.mapping.model import GAP
from netplan.readers.vocabulary import tokens
from netplan.reference.nominal import of_outside_diameter

__all__ = ["NOTHING", "Unit", "guess_unit"]


@dataclass(frozen=True, slots=True)
class Unit:
    """A guessed unit, empty for that of the contract, and why."""

    word: str
    why: str = ""


NOTHING: Final = Unit("")

_WIDEST_INCHES: Final = 48.0
_NARROWEST_MM: Final = 10.0

_NAMED: Final[dict[str, tuple[tuple[tuple[str, ...], str], ...]]] = {
    "mm": ((("mm",), ""), (("in",), "in"), (("inch",), "in"), (("cm",), "cm"), (("zoll",), "in")),
    "m": (
        (("mm",), "mm"),
        (("cm",), "cm"),
        (("ft",), "ft"),
        (("feet",), "ft"),
        (("in",), "in"),
        (("m",), ""),
    ),
    "mbar": (
        (("mbar",), ""),
        (("in", "wc"), "inH2O"),
        (("inwc",), "inH2O"),
        (("iwc",), "inH2O"),
        (("psig",), "psig"),
        (("psi",), "psi"),
        (("kpa",), "kPa"),
        (("pa",), "Pa"),
        (("bar",), "bar"),
    ),
    "kWh/a": (
        (("mwh",), "MWh per year"),
        (("kwh",), ""),
        (("therms",), "therms per year"),
        (("therm",), "therms per year"),
        (("mmbtu",), "MMBtu per year"),
        (("gj",), "GJ per year"),
        (("mj",), "MJ per year"),
    ),
    "kW": ((("kw",), ""), (("mw",), "MW"), (("btuh",), "BTU/h"), (("mbh",), "MBH"), (("btu",), "BTU/h")),
    "m3/h": ((("cfh",), "ft3/h"), (("scfh",), "ft3/h"), (("m", "3", "h"), ""), (("nm", "3", "h"), "Nm3/h")),
}
"""What a word in the name of a column says of its unit, by the unit of the contract."""


def guess_unit(column: Column, name: str, numbers: NDArray[np.float64], *, in_feet: bool) -> Unit:
    """Return the unit of a column.

    Parameters
    ----------
    column : Column
        Column of the contract.
    name : str
        Name in the source.
    numbers : float array
        Its values.
    in_feet : bool
        Whether the coordinates are in feet, as where depths are too.
    """
    own = tokens(name)
    for words, unit in _NAMED.get(column.unit, ()):
        if any(own[at : at + len(words)] == words for at in range(len(own) - len(words) + 1)):
            return Unit(unit, "by the name")
    if not len(numbers) or column.unit not in _NAMED:
        return NOTHING
    if column.name == "od_mm" and not in_feet:
        return _of_diameters(numbers)
    return _by_value(column, float(np.median(numbers)), in_feet)


def _of_diameters(numbers: NDArray[np.float64]) -> Unit:
    if numbers.max() > _WIDEST_INCHES or all(of_outside_diameter(float(od), "pe") for od in numbers):
        return NOTHING
    if numbers.min() < _NARROWEST_MM:
        return Unit("in", "by the values: no pipe is so few millimetres")
    return Unit(GAP, "by the values mm or inches")


def _by_value(column: Column, middle: float, in_feet: bool) -> Unit:
    if column.unit == "mm" and in_feet:
        return Unit("in", "because the coordinates are in feet")
    if column.unit == "m" and middle > 300.0:
        return Unit("mm", "by the values")
    if column.unit == "m" and middle > 15.0:
        return Unit("cm", "by the values")
    if column.unit == "m" and in_feet:
        return Unit("ft", "because the coordinates are in feet")
    if column.unit == "mbar" and middle < 10.0:
        # 7 may be inches of water, 0.03 or 4 bar, 1 psi: a wrong guess would be dangerous.
        return Unit(GAP, "by the values bar, psi or inches of water, never mbar")
    return NOTHING

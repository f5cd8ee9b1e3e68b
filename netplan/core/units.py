"""The one unit registry: quantities at the edges, bare SI floats inside."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from netplan.core.errors import BadInputError, quoted

if TYPE_CHECKING:
    import pint


__all__ = ["chainage_m", "convert", "factor", "is_bare", "quantity", "registry", "rounded_down", "rounded_up"]

NOISE: Final = 1e-6
"""Share of one unit in the last digit that counts as noise of floats (own) [-]."""
MOST_CHARACTERS: Final = 80
"""No quantity is longer (own)."""
_QUANTITY: Final = re.compile(
    r"(?P<number>[+\-\u2212]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+\-]?[0-9]{1,3})?)"
    r"(?:\s*(?P<unit>[^\s0-9.,].*))?"
)
_FRACTION: Final = re.compile(
    r"(?P<sign>[+\-\u2212]?)(?:(?P<whole>[0-9]{1,4})[\s-])?(?P<top>[0-9]{1,3})/(?P<bottom>[1-9][0-9]{0,2})"
    r"(?:\s*(?P<unit>[^\s0-9.,/].*))?"
)
"""Halves, quarters and so on, as sizes in inches are named: 3/4 in, 1-1/2 in, 1 1/2 in."""
_STATION: Final = re.compile(
    r"(?P<hundreds>[0-9]{1,5})\+(?P<feet>[0-9]+(?:\.[0-9]*)?)(?:\s*(?:ft\.?|feet|'))?"
)
_POWER: Final = r"(?:[²³⁴]|(?:\*\*|\^)-?[1-4])?"
_NAME: Final = rf"[°A-Za-zµμΔ][A-Za-z_0-9]{{0,30}}{_POWER}"
_UNIT: Final = re.compile(rf"(?=.{{1,40}}$){_NAME}(?:\s?[*/]\s?{_NAME}){{0,3}}")
"""Names of units with a power of one digit, multiplied or divided: pint would work out anything else."""
_SIGNS: Final = {
    "in. w.c.": "inH2O_trade",
    "in w.c.": "inH2O_trade",
    "in.": "inch",
    '"': "inch",
    "''": "inch",
    "'": "foot",
    "ft.": "foot",
    "%": "percent",
    "°": "degree",
}
"""Units as the trade and our own papers write them, in pint's words."""
_SCALES: Final = {"C": "degC", "F": "degF", "° C": "degC", "° F": "degF", "deg C": "degC", "deg F": "degF"}
"""The same where a temperature is asked for: C and F are charge and capacity elsewhere."""


_FACTORS: Final = {
    ("psi", "Pa"): 6894.7572931683635,
    ("Pa", "psi"): 0.0001450377377302092,
    ("ft", "m"): 0.30479999999999996,
    ("ft**3", "m**3"): 0.028316846591999994,
    ("m**3", "ft**3"): 35.314666721488596,
}
"""What every plan needs of the units it is not computed in, as pint gives it: pint takes longer to load than
many a plan to make. A test holds each to pint."""
_TEMPERATURES: Final = {
    "K": (1.0, 0.0),
    "degC": (1.0, 273.15),
    "degF": (5.0 / 9.0, 233.15 + 200.0 / 9.0),
}
"""Kelvins in one degree of a scale, and its zero [K]; likewise."""


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry[float]:
    """Return the registry of all units, made when first asked for.

    It is our own, so that nothing an importing program does to pint's default one changes a figure.
    """
    import pint  # a quarter of a second, and a bare number needs none of it

    units: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    # Water column as the trade reads it: 1 inH2O at 4 °C is 249.0889 Pa.
    units.define("inH2O_trade = 249.0889 * pascal = inH2O = inch_H2O = inwc")
    units.define("mmH2O_trade = 9.80665 * pascal = mmH2O")
    return units


@lru_cache(maxsize=512)
def factor(unit_from: str, unit_to: str) -> float:
    """Return what to multiply a number in `unit_from` by to have it in `unit_to`.

    Raises
    ------
    pint.DimensionalityError
        When the two do not measure the same thing.
    """
    known = _FACTORS.get((unit_from, unit_to))
    return _converted_by_pint(1.0, unit_from, unit_to) if known is None else known


def convert(value: float, unit_from: str, unit_to: str) -> float:
    """Return `value` [unit_from] in `unit_to`, scales of temperature (°C, °F) included.

    Raises
    ------
    pint.DimensionalityError
        When the two do not measure the same thing.
    """
    if unit_from == unit_to:
        return float(value)
    if unit_from in _TEMPERATURES and unit_to in _TEMPERATURES:
        (size, zero), (size_to, zero_to) = _TEMPERATURES[unit_from], _TEMPERATURES[unit_to]
        return ((value * size + zero) - zero_to) / size_to
    if unit_from in _TEMPERATURES or unit_to in _TEMPERATURES:
        return _converted_by_pint(value, unit_from, unit_to)
    return value * factor(unit_from, unit_to)


def _converted_by_pint(value: float, unit_from: str, unit_to: str) -> float:
    return float(registry().Quantity(value, unit_from).to(unit_to).magnitude)


def quantity(value: object, unit: str, where: str, bare: str | None = None) -> float:
    """Read a number, or a text with its own unit, as a float in `unit`.

    Only a number and the name of a unit are read; nothing is worked out, so that no text can keep the
    program busy. A temperature is a reading on its scale, never a difference.

    Parameters
    ----------
    value : object
        A bare number or a text such as ``"4 in"``, ``"7 inH2O"``, ``"1 psi"``, ``"39 °F"``.
    unit : str
        The unit wanted, in pint's words; ``""`` for a pure number.
    where : str
        What is being read, for the message.
    bare : str, optional
        The unit of a number without one; `unit` when left out.

    Returns
    -------
    float
        The magnitude [unit]; always finite.

    Raises
    ------
    BadInputError
        When the text has no number, an unknown unit or a unit of another kind, or is not finite.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise BadInputError(
            f"{where}: expected a number in {unit or '1'}, got {quoted(value)}; write a number"
        )
    if isinstance(value, str):
        number, own = _parted(value, where)
    else:
        try:
            number, own = float(value), ""
        except OverflowError:
            number, own = math.inf, ""
    own = own or (bare or unit)
    number = number if own == unit else _converted(number, own, unit, where)
    if not math.isfinite(number):
        raise BadInputError(
            f"{where}: {quoted(value)} is not a finite number; write a number in {unit or '1'}"
        )
    return number


def chainage_m(text: str, where: str) -> float:
    """Read a place along a main [m]: a quantity, or a station of 100 ft: ``5+18.4`` is 518.4 ft.

    A station has two digits before its point behind the plus; other plusses are of stations of other lengths
    and refused.

    Raises
    ------
    BadInputError
    """
    found = _STATION.fullmatch(text[: MOST_CHARACTERS + 1].strip())
    if found is None:
        return quantity(text, "m", where)
    if len(found["feet"].partition(".")[0]) != 2:
        raise BadInputError(
            f"{where}: {quoted(text)} is no station of 100 ft: 5+18.4 is 518.4 ft; "
            "write two digits after the plus, or a length with its unit"
        )
    return convert(100.0 * float(found["hundreds"]) + float(found["feet"]), "ft", "m")


def is_bare(text: str) -> bool:
    """Return whether a text is a number without a unit."""
    found = _QUANTITY.fullmatch(text[: MOST_CHARACTERS + 1].strip())
    return found is not None and not found["unit"]


def _parted(text: str, where: str) -> tuple[float, str]:
    stripped = text.strip() if len(text) <= MOST_CHARACTERS else ""
    fraction = _FRACTION.fullmatch(stripped)
    if fraction is not None:
        return _of_fraction(fraction, text, where)
    found = _QUANTITY.fullmatch(stripped)
    if found is None:
        if stripped.lower().lstrip("+-") in {"nan", "inf", "infinity"}:
            return math.nan, ""
        raise BadInputError(
            f"{where}: cannot read {quoted(text)}; write a number, a space and a unit such as '4 in'"
        )
    return float(found["number"].replace("\u2212", "-")), found["unit"] or ""


def _of_fraction(found: re.Match[str], text: str, where: str) -> tuple[float, str]:
    if not found["unit"]:
        raise BadInputError(f"{where}: {quoted(text)} has no unit; write one, such as '1-1/2 in'")
    number = float(found["whole"] or 0) + float(found["top"]) / float(found["bottom"])
    return (-number if found["sign"] in ("-", "\u2212") else number), found["unit"]


def _converted(number: float, own: str, unit: str, where: str) -> float:
    known = {**_SIGNS, **(_SCALES if unit == "degC" else {})}.get(own, own)
    # Differences of temperature are no temperatures, and products with one mean nothing.
    is_known = _UNIT.fullmatch(known) is not None and not (
        unit == "degC" and (known.startswith(("delta", "Δ")) or not known.replace("°", "").isalnum())
    )
    try:
        if is_known:
            return convert(number, known, unit)
    except Exception:  # noqa: BLE001, S110 - pint raises many kinds for a bad unit text
        pass
    raise BadInputError(f"{where}: unit {quoted(own)} does not convert to {unit or '1'}; correct the unit")


def rounded_up(value: float, digits: int, noise: float = NOISE) -> float:
    """Return a number rounded up to decimal digits: for what must never be stated too small.

    Parameters
    ----------
    value : float
    digits : int
        Digits behind the point; negative for tens, hundreds …
    noise : float
        How far above a number of so many digits `value` is still taken for it, as a share of one unit in
        the last digit [-]: what computing may cost it.
    """
    return -rounded_down(-value, digits, noise) + 0.0


def rounded_down(value: float, digits: int, noise: float = NOISE) -> float:
    """Return a number rounded down to decimal digits: for what must never be stated too large.

    Parameters
    ----------
    value : float
    digits : int
        Digits behind the point; negative for tens, hundreds …
    noise : float
        How far below a number of so many digits `value` is still taken for it, as a share of one unit in
        the last digit [-].
    """
    near, unit = round(value, digits), 10.0**-digits
    return (near if near <= value + noise * unit else round(near - unit, digits)) + 0.0

"""The one unit registry: quantities at the edges, bare SI floats inside."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import pint

from netplan.errors import BadInputError

__all__ = ["REGISTRY", "convert", "factor", "quantity"]


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    # Our own registry, so that nothing an importing program does to pint's default one changes a figure.
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    # Water column as the trade reads it: 1 inH2O at 4 °C is 249.0889 Pa.
    registry.define("inH2O_trade = 249.0889 * pascal = inH2O = inch_H2O = inwc")
    registry.define("mmH2O_trade = 9.80665 * pascal = mmH2O")
    return registry


REGISTRY: Final = _registry()


@lru_cache(maxsize=512)
def factor(unit_from: str, unit_to: str) -> float:
    """Return what to multiply a number in `unit_from` by to have it in `unit_to`.

    Raises
    ------
    pint.DimensionalityError
        When the two do not measure the same thing.
    """
    return float(REGISTRY.Quantity(1.0, unit_from).to(unit_to).magnitude)


def convert(value: float, unit_from: str, unit_to: str) -> float:
    """Return `value` [unit_from] in `unit_to`, offset units (°C, °F) included."""
    return float(REGISTRY.Quantity(value, unit_from).to(unit_to).magnitude)


def quantity(value: object, unit: str, where: str) -> float:
    """Read a number, or a text with its own unit, as a float in `unit`.

    Parameters
    ----------
    value : object
        A bare number (taken to be in `unit`) or a text such as ``"4 in"``, ``"7 inH2O"``, ``"1 psi"``.
    unit : str
        The unit wanted, in pint's words; ``""`` for a pure number.
    where : str
        What is being read, for the message.

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
        raise BadInputError(f"{where}: expected a number in {unit or '1'}, got {value!r}; write a number")
    number = _parse(value, unit, where) if isinstance(value, str) else float(value)
    if not math.isfinite(number):
        raise BadInputError(f"{where}: {value!r} is not a finite number; write a number in {unit or '1'}")
    return number


def _parse(text: str, unit: str, where: str) -> float:
    # Only "<number> <unit>": pint would evaluate whole expressions, and text from a file is data.
    stripped = text.strip()
    head, _, tail = stripped.partition(" ")
    try:
        number = float(head)
    except ValueError:
        raise BadInputError(
            f"{where}: cannot read {text!r}; write a number, a space and a unit such as '4 in'"
        ) from None
    if not tail.strip():
        return number
    if len(tail) > 40:
        raise BadInputError(
            f"{where}: unit {tail[:40]!r}… is not known; use a unit that converts to {unit or '1'}"
        )
    try:
        return convert(number, tail.strip(), unit)
    except Exception:  # noqa: BLE001 - pint raises many kinds for a bad unit text
        raise BadInputError(
            f"{where}: unit {tail.strip()!r} does not convert to {unit or '1'}; correct the unit"
        ) from None

"""Nominal sizes of outlets and hoses, so that 51 mm, 2 in and DN 50 are one size.

A bore counts as the smallest nominal size that it is not wider than: 63 mm as 65, 76 mm as 80, 53 mm as 65.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import Final

from netplan.core.constants import MM_PER_INCH
from netplan.reference import table_rows

__all__ = ["NOMINAL_OUTLETS_MM", "inch_name", "is_nominal_outlet", "nominal_outlet_mm", "widest_outlet_mm"]

_ROUNDED_MM: Final = 0.6
"""What a name in whole millimetres may lie beside the inches it stands for (own) [mm]."""


@lru_cache(maxsize=1)
def _sizes() -> tuple[tuple[float, float, float], ...]:
    """Return each nominal size with the narrowest and the widest bore named by it [mm], rising."""
    found = []
    for row in table_rows("nominal_outlets.csv"):
        nominal = float(row["nominal_mm"])
        inch_mm = float(sum(Fraction(part) for part in row["inch"].split())) * MM_PER_INCH
        found.append((nominal, min(nominal, inch_mm) - _ROUNDED_MM, max(nominal, inch_mm) + _ROUNDED_MM))
    return tuple(found)


NOMINAL_OUTLETS_MM: Final = tuple(nominal for nominal, _, _ in _sizes())
"""Nominal sizes of the table [mm], rising."""


def nominal_outlet_mm(bore_mm: float) -> float:
    """Return the nominal size that a bore counts as: the smallest that it is not wider than [mm].

    Parameters
    ----------
    bore_mm : float
        Bore of an outlet or hose, however it is named [mm], 0 or more. 0 is none and stays 0; wider than the
        table it is its own size.
    """
    if bore_mm <= 0.0:
        return 0.0
    return next((nominal for nominal, _, widest in _sizes() if bore_mm <= widest + 1e-9), bore_mm)


def widest_outlet_mm(bore_mm: float) -> float:
    """Return the widest nominal size that a limit lets through [mm]; 0 where it lets none through."""
    return max((nominal for nominal, least, _ in _sizes() if bore_mm >= least - 1e-9), default=0.0)


def is_nominal_outlet(bore_mm: float) -> bool:
    """Whether a bore is one of the table's sizes by its name in millimetres or inches [mm]."""
    return any(least - 1e-9 <= bore_mm <= widest + 1e-9 for _, least, widest in _sizes())


@lru_cache(maxsize=1)
def _inch_names() -> tuple[tuple[float, float, str], ...]:
    """Return each nominal size [mm], the same by its inches [mm], and its name in inches, rising."""
    found = []
    for row in table_rows("nominal_outlets.csv"):
        inches = float(sum(Fraction(part) for part in row["inch"].split())) * MM_PER_INCH
        found.append((float(row["nominal_mm"]), inches, row["inch"].replace(" ", "-")))
    return tuple(found)


def inch_name(size_mm: float, *, by_nominal: bool = False) -> str:
    """Return the nominal inches that a size is the name of in whole millimetres, such as ``1-1/2``.

    Parameters
    ----------
    size_mm : float
        Size [mm].
    by_nominal : bool
        Whether it is the bore of an outlet, hose or stack: then 50 mm is 2 in as 51 mm is.

    Returns
    -------
    str
        Empty where it is no nominal size.
    """
    for nominal, inches, name in _inch_names():
        if abs(size_mm - inches) <= _ROUNDED_MM or (by_nominal and abs(size_mm - nominal) <= _ROUNDED_MM):
            return name
    return ""

"""Putting addresses in the order a person walks them, and flats under one roof together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

__all__ = ["address_groups", "natural_key", "walking_key"]

_PARTS: Final = re.compile(r"\d+|\D+")
_FLAT: Final = re.compile(
    r"^\s*(?:flat|apartment|apt|unit|wohnung|whg|appartement|appt|piso|suite)\b\.?\s*[\w/-]*\s*,\s*",
    re.IGNORECASE,
)
NaturalKey = tuple[tuple[int, int, str], ...]


@lru_cache(maxsize=65_536)
def natural_key(text: str) -> NaturalKey:
    """Return a sort key that puts 2 before 10, and 10 before 10a.

    Digits compare as numbers, other text without case; any two texts compare.
    """
    parts: list[tuple[int, int, str]] = []
    for part in _PARTS.findall(text.strip()):
        # isdecimal and not isdigit: int() does not read superscripts.
        number = part.isdecimal()
        parts.append((0, int(part), "") if number and len(part) < 19 else (1, 0, part.casefold().strip()))
    return tuple(parts)


def walking_key(street: str, number: str, address: str, customer_id: str) -> tuple[object, ...]:
    """Return a sort key: by street, house number, flat, then id."""
    return (
        natural_key(street),
        natural_key(number),
        natural_key(address),
        natural_key(customer_id),
        customer_id,
    )


def address_groups(
    address: Sequence[str], street: Sequence[str], number: Sequence[str], postcode: Sequence[str]
) -> tuple[int, ...]:
    """Return the number of the house each customer is in; flats of one house share it.

    Where street and number are recorded they name the house; else the address does, without a leading
    part such as ``Flat 3,``. Numbers count up in the order in which houses first appear.

    Parameters
    ----------
    address, street, number, postcode : sequences of str
        One entry a customer; empty where not recorded.
    """
    seen: dict[tuple[str, ...], int] = {}
    groups = []
    for row, (place, road, house, code) in enumerate(zip(address, street, number, postcode, strict=True)):
        key: tuple[str, ...]
        if road.strip() and house.strip():
            key = ("number", _plain(road), _plain(house), _plain(code))
        elif place.strip():
            key = ("address", _plain(_FLAT.sub("", place)), _plain(code))
        else:
            key = ("alone", str(row))
        groups.append(seen.setdefault(key, len(seen)))
    return tuple(groups)


@lru_cache(maxsize=65_536)
def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()

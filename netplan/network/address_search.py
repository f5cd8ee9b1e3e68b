"""Meter points by a street and number, as a caller says them."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

import numpy as np
import pyarrow.compute as pc

from netplan.core.arrays import Ints
from netplan.core.errors import BadInputError, quoted
from netplan.network.model import Network

__all__ = ["customers_at_address"]

_WORDS: Final = re.compile(r"[^\W_]+", re.UNICODE)
_HINTS: Final = 3


def customers_at_address(network: Network, text: str) -> Ints:
    """Return the rows of the meter points at an address, in any order of street and number.

    Parameters
    ----------
    network : Network
    text : str
        Street and number, such as ``12 Weir Lane``; case, commas and full stops do not count.

    Raises
    ------
    BadInputError
        When there is none, naming what is near: the street's own numbers, or streets with a word in common.
    """
    customers, asked = network.customers, _words(text)
    if not asked:
        raise BadInputError(f"--address: {quoted(text)} names no street; write for example '12 Weir Lane'")
    streets = pc.unique(customers.street.arrow).to_pylist()
    for street in sorted(streets, key=lambda name: -len(name)):
        left = asked - _words(street)
        if not street or left.total() + _words(street).total() != asked.total():
            continue
        rows = np.flatnonzero(np.asarray(pc.equal(customers.street.arrow, street)))
        found = [row for row in rows.tolist() if _words(customers.number[row]) == left]
        if found:
            return np.array(found, dtype=np.int64)
    whole = pc.utf8_lower(customers.address.arrow)
    found = np.flatnonzero(np.asarray(pc.equal(whole, text.strip().lower()))).tolist()
    if found:
        return np.array(found, dtype=np.int64)
    raise BadInputError(
        f"--address: no meter point at {quoted(text)} on record{_hint(network, streets, asked)}"
    )


def _words(text: str) -> Counter[str]:
    return Counter(word.casefold() for word in _WORDS.findall(text))


def _hint(network: Network, streets: list[str], asked: Counter[str]) -> str:
    """Return what is near, with what to do."""
    within = [street for street in streets if street and not _words(street) - asked]
    if within:
        street = max(within, key=len)
        rows = np.flatnonzero(np.asarray(pc.equal(network.customers.street.arrow, street)))
        numbers = ", ".join(network.customers.number[row] for row in rows[:_HINTS].tolist())
        return f"; {street} has numbers such as {numbers}: give one of them, or the place with --at"
    like = [street for street in streets if _words(street) & asked][:_HINTS]
    return f"; did you mean {', '.join(like)}?" if like else "; give the place with --at"

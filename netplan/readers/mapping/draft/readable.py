"""Columns of text that hold sizes, ratios or years."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import Final

import numpy as np
import pyarrow.compute as pc

from netplan.network.contract import Column
from netplan.network.years import year_of
from netplan.readers.mapping.draft.look import SeenColumn
from netplan.readers.mapping.draft.units import has_unit
from netplan.reference.nominal import Stuff
from netplan.reference.size_text import read_ratio, read_size

__all__ = ["doubtful_years", "says_numbers", "size_column", "size_says"]

_NUMBER: Final = re.compile(r"[-+]?\d{1,12}(?:[.,]\d{1,12})*(?:[eE][-+]?\d{1,2})?")
_SHORT_DATE: Final = re.compile(r"\d{1,2}[./-](?:\d{1,2}[./-])?\d{2}")
"""A date without its century."""
_YEARS: Final = (1850.0, 2100.0)
_UNKNOWN_YEARS: Final = (1900.0, 1901.0, 2099.0)
"""Years that often stand for an unknown one (common practice)."""
_MOST_DOUBTFUL: Final = 200
_STUFFS: Final[tuple[Stuff, ...]] = ("", "pe", "steel", "iron")
_MOST_TEXTS: Final = 200
_MOSTLY_READABLE: Final = 0.6


def says_numbers(column: Column, seen: SeenColumn) -> bool:
    """Return whether most texts hold numbers: with or without a unit, or ratios, or years.

    The others are told with each feature when the data is read, not left out with their column.
    """
    if column.name == "year" and seen.kind == "date":
        return True
    if column.name == "sdr" and seen.words:
        return all(_is_ratio(word) for word in seen.words)
    texts = [text for text in seen.texts.unique().to_pylist() if text][:_MOST_TEXTS]
    return bool(texts) and float(np.mean([_is_number(text, column) for text in texts])) >= _MOSTLY_READABLE


def _is_number(text: str, column: Column) -> bool:
    if column.name == "year" and (not np.isnan(year_of(text)) or _SHORT_DATE.fullmatch(text)):
        return True
    return bool(_NUMBER.fullmatch(text)) or has_unit(text, column)


def doubtful_years(seen: SeenColumn) -> dict[str, int]:
    """Return how often each value of a column of years stands there that a person has to read.

    These are years of two digits, and figures that stand for an unknown year or cannot be one.
    """
    each = pc.value_counts(seen.texts).to_pylist()
    counts = Counter({row["values"]: row["counts"] for row in each if _is_doubtful_year(row["values"])})
    counts.pop("", None)
    return dict(sorted(counts.most_common(_MOST_DOUBTFUL)))


def _is_doubtful_year(text: str) -> bool:
    year = year_of(text)
    if np.isnan(year):
        return True
    return not _YEARS[0] <= year <= _YEARS[1] or year in _UNKNOWN_YEARS


def _is_ratio(text: str) -> bool:
    try:
        read_ratio(text)
    except ValueError:
        return False
    return True


def size_column(layer: str, columns: Mapping[str, SeenColumn]) -> str:
    """Return the column that holds sizes as text: most of its different values can be read as one."""
    if layer not in ("mains", "services"):
        return ""
    scores = {
        name: share
        for name, seen in columns.items()
        if seen.kind == "text" and not seen.is_number and (share := _readable(seen)) >= _MOSTLY_READABLE
    }
    return max(sorted(scores), key=lambda name: scores[name], default="")


def size_says(name: str, seen: SeenColumn) -> bool:
    """Return whether the texts of sizes give a column too: the diameter always, the material where named."""
    if name == "od_mm":
        return True
    return name == "material" and any(_materials(word) for word in seen.words)


def _materials(text: str) -> str:
    try:
        return read_size(text).material
    except ValueError:
        return ""


def _readable(seen: SeenColumn) -> float:
    words = list(seen.words) or [word for word in seen.texts.unique().to_pylist() if word][:_MOST_TEXTS]
    return float(np.mean([_is_size(word) for word in words])) if words else 0.0


def _is_size(text: str) -> bool:
    for stuff in _STUFFS:
        try:
            read_size(text, stuff)
        except ValueError:
            continue
        return True
    return False

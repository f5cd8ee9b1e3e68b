"""Columns of text that hold sizes, ratios or years."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from netplan.network.contract import Column
from netplan.readers.mapping.draft.look import SeenColumn
from netplan.reference.nominal import Stuff
from netplan.reference.size_text import read_ratio, read_size

__all__ = ["says_numbers", "size_column", "size_says"]

_STUFFS: Final[tuple[Stuff, ...]] = ("", "pe", "steel", "iron")
_MOST_TEXTS: Final = 200
_MOSTLY: Final = 0.6


def says_numbers(column: Column, seen: SeenColumn) -> bool:
    """Return whether texts hold what the reader takes for ratios or years."""
    if column.name == "year" and seen.kind == "date":
        return True
    words = list(seen.words)
    return column.name == "sdr" and bool(words) and all(_is_ratio(word) for word in words)


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
        if seen.kind == "text" and not seen.is_number and (share := _readable(seen)) >= _MOSTLY
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

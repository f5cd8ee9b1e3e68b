"""Texts and lists of ids that come again in JSON data, kept once: the options of a plan say much alike."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

__all__ = ["with_references"]

_MARK: Final = "~"
_SHORTEST: Final = 8
"""A text or list shorter than this is no longer than a reference to it (own)."""

Kept = str | tuple[str, ...]


def with_references(data: Any) -> tuple[list[Kept], Any]:
    """Return what is kept once, and the data with "~" and a place in its stead wherever it comes again.

    Kept are texts and lists of texts; in a kept list texts stand as they are. Keys stay as they are. A text
    that begins with the mark is always kept.
    """
    counts: Counter[Kept] = Counter()
    _count(data, counts)
    kept = [one for one, n in counts.items() if _is_marked(one) or (n > 1 and _length(one) >= _SHORTEST)]
    return kept, _replaced(data, {one: f"{_MARK}{place}" for place, one in enumerate(kept)})


def _is_marked(one: Kept) -> bool:
    return isinstance(one, str) and one.startswith(_MARK)


def _length(one: Kept) -> int:
    return len(one) if isinstance(one, str) else sum(len(text) + 3 for text in one)


def _texts(data: Any) -> tuple[str, ...] | None:
    """Return a list of texts as a key; None for anything else."""
    if isinstance(data, list | tuple) and data and all(isinstance(one, str) for one in data):
        return tuple(data)
    return None


def _count(data: Any, counts: Counter[Kept]) -> None:
    texts = _texts(data)
    if isinstance(data, str):
        counts[data] += 1
    elif texts is not None:
        counts[texts] += 1
        if counts[texts] == 1:
            for text in texts:
                counts[text] += 1
    elif isinstance(data, dict):
        for value in data.values():
            _count(value, counts)
    elif isinstance(data, list | tuple):
        for value in data:
            _count(value, counts)


def _replaced(data: Any, places: dict[Kept, str]) -> Any:
    if isinstance(data, str):
        return places.get(data, data)
    texts = _texts(data)
    if texts is not None and texts in places:
        return places[texts]
    if isinstance(data, dict):
        return {key: _replaced(value, places) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_replaced(value, places) for value in data]
    return data

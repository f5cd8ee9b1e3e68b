"""Texts that come again in JSON data, kept once: the options of a plan say much in the same words."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

__all__ = ["with_references"]

_MARK: Final = "~"
_SHORTEST: Final = 8
"""A text shorter than this is no longer than a reference to it (own)."""


def with_references(data: Any) -> tuple[list[str], Any]:
    """Return texts, and the data with each text that comes again as "~" and its place among them.

    Keys stay as they are. A text that begins with the mark is always among the texts.
    """
    counts: Counter[str] = Counter()
    _count(data, counts)
    words = [
        text for text, n in counts.items() if text.startswith(_MARK) or (n > 1 and len(text) >= _SHORTEST)
    ]
    return words, _replaced(data, {text: f"{_MARK}{k}" for k, text in enumerate(words)})


def _count(data: Any, counts: Counter[str]) -> None:
    if isinstance(data, str):
        counts[data] += 1
    elif isinstance(data, dict):
        for value in data.values():
            _count(value, counts)
    elif isinstance(data, list | tuple):
        for value in data:
            _count(value, counts)


def _replaced(data: Any, places: dict[str, str]) -> Any:
    if isinstance(data, str):
        return places.get(data, data)
    if isinstance(data, dict):
        return {key: _replaced(value, places) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_replaced(value, places) for value in data]
    return data

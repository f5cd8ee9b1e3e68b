"""Words of a column in those of a company."""

from __future__ import annotations

from typing import Any

__all__ = ["Frames", "words_of"]

Frames = dict[str, Any]


def words_of(column: Any, words: dict[Any, Any]) -> Any:
    """Return a column in the words of a company; other words stay."""
    return column.map(lambda word: words.get(word, word))

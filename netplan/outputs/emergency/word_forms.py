"""Small forms of words: a count with its noun, a material as it is spoken, the letter of a hit."""

from __future__ import annotations

__all__ = ["counted", "hit_letter", "material_words"]


def counted(n: int, one: str, many: str = "") -> str:
    """Return a number with its word: ``1 crew``, ``2 crews``."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def material_words(material: str) -> str:
    """Return a material as it is spoken: ``cast iron``."""
    return material.replace("_", " ")


def hit_letter(k: int) -> str:
    """Return the letter of a main that may be hit, by its place in the answer from 0."""
    return chr(ord("A") + k % 26)

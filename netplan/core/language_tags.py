"""Language tags as records hold them, and which of some known tags answers for one."""

from __future__ import annotations

from collections.abc import Collection

__all__ = ["language_key", "lookup"]


def language_key(recorded: str) -> str:
    """Return a recorded language as it is compared: ``de_AT`` and ``de-at`` are the same."""
    return recorded.strip().replace("_", "-").casefold()


def lookup(language: str, tags: Collection[str]) -> str | None:
    """Return the tag that answers for a recorded language: the same, or the nearest more general one.

    Whole subtags are compared and taken off from the end, whatever the case: ``de-AT`` finds ``de``, while
    ``est`` and ``Estonian`` find neither ``et`` nor ``es``. A single letter left at the end goes with what
    followed it. Source: RFC 4647, section 3.4.

    Parameters
    ----------
    language : str
        As recorded; an underline counts as a hyphen.
    tags : collection of str
        In small letters.
    """
    parts = language_key(language).split("-")
    while parts:
        if (tag := "-".join(parts)) in tags:
            return tag
        parts.pop()
        while parts and len(parts[-1]) == 1:
            parts.pop()
    return None

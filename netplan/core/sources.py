"""The one list of sources that every constant, table row and rule value points to."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from importlib import resources

__all__ = ["How", "Source", "source", "sources"]


class How(StrEnum):
    """How a value is known."""

    PUBLISHED = "published"
    LIBRARY = "library"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    EXAMPLE = "example"
    OWN = "own"


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from.

    Parameters
    ----------
    key : str
        Short name used in code and tables.
    title : str
        What it is, in words somebody can look up.
    how : How
        How the value is known.
    note : str
        Limits, edition, or what it was checked against.
    """

    key: str
    title: str
    how: How
    note: str = ""

    def line(self) -> str:
        """Return the source as one line for papers."""
        return f"{self.title} ({self.how}{'; ' + self.note if self.note else ''})"


@lru_cache(maxsize=1)
def sources() -> dict[str, Source]:
    """Return every source by its key."""
    text = resources.files("netplan.core").joinpath("sources.toml").read_text(encoding="utf-8")
    return {
        key: Source(key, row["title"], How(row["how"]), row.get("note", ""))
        for key, row in tomllib.loads(text).items()
    }


def source(key: str) -> Source:
    """Return the source named `key`.

    Raises
    ------
    KeyError
        When no source has that key: a fault of the code, not of the data.
    """
    return sources()[key]

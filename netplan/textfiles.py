"""Small text files that people write: how large and how deep they may be before anything parses them."""

from __future__ import annotations

import tomllib
from typing import Any, Final

__all__ = ["toml_of"]

_MOST_DOTS: Final = 400
"""More dots than this in one line are no name of a table or key: parsing takes the square of their number."""


def toml_of(text: str) -> dict[str, Any]:
    """Parse TOML.

    Raises
    ------
    ValueError
        When it is no TOML (tomllib's own error is one), or nested or dotted beyond what anybody writes.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        key = line.lstrip().partition("#")[0]
        name = key.partition("]")[0] if key.startswith("[") else key.partition("=")[0]
        if name.count(".") > _MOST_DOTS:
            raise ValueError(f"line {number} has more than {_MOST_DOTS} dots in a name")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError("nested too deep") from None

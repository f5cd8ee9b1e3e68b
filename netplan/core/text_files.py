"""Small text files that people write: how large and how deep they may be before anything parses them."""

from __future__ import annotations

import errno
import stat
import tomllib
from pathlib import Path
from typing import Any, Final

__all__ = ["TooLargeError", "text_of", "toml_of"]

_MOST_DOTS: Final = 400
"""More dots than this in one line are no name of a table or key: parsing takes the square of their number."""


class TooLargeError(ValueError):
    """A text file is larger than anybody writes it."""


def text_of(path: Path, most_bytes: int, encoding: str = "utf-8", *, plain: bool = False) -> str:
    """Read a text file, never more of it than is asked for: what it leads to may be without an end.

    Parameters
    ----------
    path : Path
    most_bytes : int
        Greatest size [bytes].
    encoding : str
    plain : bool
        Refuse pipes and devices too, which a person may name but which no folder of ours holds.

    Raises
    ------
    TooLargeError
        When it is larger.
    OSError, UnicodeDecodeError
        When it cannot be read, or is in another encoding.
    """
    if plain and not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "it is no plain file")
    with path.open("rb") as file:
        held = file.read(most_bytes + 1)
    if len(held) > most_bytes:
        raise TooLargeError(f"larger than {most_bytes} bytes")
    # Line ends as in a file opened as text.
    return held.decode(encoding).replace("\r\n", "\n").replace("\r", "\n")


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

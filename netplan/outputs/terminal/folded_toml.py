"""A TOML file to be read on the terminal: comments beside values that find no room stand above them."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from typing import Final

__all__ = ["folded_toml"]

_GOES_ON: Final = re.compile("# [a-z]")
"""A line of comment that begins within a sentence."""


def folded_toml(text: str, width: int) -> str:
    """Return a TOML text whose comments fit a width; tables, keys and values are as they were.

    A value longer than the width stays whole: it may stand in one line alone.

    Parameters
    ----------
    text : str
    width : int
        [characters]
    """
    lines: list[str] = []
    for unit in _units(text.splitlines(), width):
        if all(len(line) <= width for line in unit):
            lines += unit
            continue
        value, comment = _split(unit[0])
        words = " ".join([comment, *(line.strip().lstrip("#").strip() for line in unit[1:])]).strip()
        lines += textwrap.wrap(
            words,
            width,
            initial_indent="# ",
            subsequent_indent="# " if not value else "#   ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        lines += [value] if value else []
    return "\n".join(lines) + "\n"


def _units(lines: list[str], width: int) -> Iterator[list[str]]:
    """Yield each line with the lines below it that go on with its comment."""
    unit: list[str] = []
    for line in lines:
        beside = line.startswith(" ") and line.lstrip().startswith("#")
        # A sentence over several lines, of which one has to be broken.
        sentence = bool(_GOES_ON.match(line)) and any(len(own) > width for own in unit)
        if unit and not (beside or (sentence and unit[0].startswith("#"))):
            yield unit
            unit = []
        unit.append(line)
    if unit:
        yield unit


def _split(line: str) -> tuple[str, str]:
    """Return what stands before the comment of a line, and the comment without its mark."""
    quote = ""
    for place, letter in enumerate(line):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return line[:place].rstrip(), line[place + 1 :].strip()
    return line.rstrip(), ""

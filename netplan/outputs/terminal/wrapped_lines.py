"""Lines of text as wide as the terminal: broken between words, the rest of a line under its text."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from typing import Final

from rich.console import Console
from rich.text import Text

__all__ = ["print_lines", "print_list", "wrapped"]

_MARK: Final = re.compile(r"(\s*)((?:[-·→]|\d+\.)\s+)?")
"""The indent of a line, and the mark of an item of a list."""
_PATH: Final = re.compile(r"\s*[\w ,]+: +(?:/|[A-Za-z]:[\\/]|\\\\)")
"""A name and an absolute path after it: to be copied whole, whatever blanks it holds."""
_LEAST_TEXT: Final = 24
"""With less room beside an indent the rest of a line begins at its left edge (own) [characters]."""


_WITH_UNIT: Final = re.compile(
    r"(?<=\d) (?=(?:mbar|in\. w\.c\.|°C|°F|(?:m³|ft³)(?:/h)?|(?:m|ft)/s|mm|m|ft|in|kg|lb|h|min)(?![\w/³]))"
)
"""Between a figure and its unit, where no line is broken."""
_STAYS: Final = "\xa0"


def wrapped(line: str, width: int, *, more: int | None = None) -> list[str]:
    """Return a line in lines of a width; a word is never broken, so that a path can be copied whole.

    Parameters
    ----------
    line : str
    width : int
        [characters]
    more : int, optional
        Indent of all lines but the first [characters]; under the text of an item, or two farther in than a
        line without a mark, when left out.
    """
    if len(line) <= width or _PATH.match(line):
        return [line]
    found = _MARK.match(line)
    indent = "" if found is None else found[0]
    further = (len(indent) + (0 if found is not None and found[2] else 2)) if more is None else more
    if width - further < _LEAST_TEXT:
        further = 0
    text = _WITH_UNIT.sub(_STAYS, line.removeprefix(indent)).replace("in. w.c.", f"in.{_STAYS}w.c.")
    rows = textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=" " * further,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace(_STAYS, " ") for row in rows]


def print_lines(console: Console, lines: Iterable[str], *, bold_name: bool = False) -> None:
    """Print lines as wide as the terminal; text from the data is shown as it is, never as markup.

    Parameters
    ----------
    console : rich.console.Console
    lines : iterable of str
    bold_name : bool
        Whether what stands before the first colon is a name to be set off.
    """
    for line in lines:
        for part in line.split("\n"):
            for place, row in enumerate(wrapped(part, console.width) or [""]):
                text = Text(row)
                if bold_name and not place and ": " in f"{row} ":
                    text.stylize("bold", 0, f"{row} ".index(": ") + 1)
                console.print(text, soft_wrap=True)


def print_list(console: Console, title: str, lines: Iterable[str], *, mark: str = "  · ") -> None:
    """Print a heading and lines under it, each with a mark.

    Parameters
    ----------
    console : rich.console.Console
    title : str
    lines : iterable of str
    mark : str
    """
    console.print(Text(title, style="bold"), soft_wrap=True)
    print_lines(console, (f"{mark}{line}" for line in lines))

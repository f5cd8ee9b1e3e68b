"""Tables and texts of reports in Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final

import pandas as pd

__all__ = ["figure_text", "markdown_table", "plain_text"]

_MARKUP: Final = re.compile(r"([\\`*_{}\[\]<>#|!~&])")
_UNSEEN: Final = re.compile("[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f]+")


def markdown_table(names: list[str], rows: Iterable[list[str]]) -> Iterator[str]:
    """Yield the lines of a table, and an empty one."""
    yield f"| {' | '.join(names)} |"
    yield f"|{'---|' * len(names)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""


def plain_text(value: Any) -> str:
    """Return text from the data that stays text in Markdown and in what is made of it."""
    return _MARKUP.sub(r"\\\1", _UNSEEN.sub(" ", "" if pd.isna(value) else str(value)))


def figure_text(value: Any) -> str:
    """Return a figure, with one digit where it is not whole; a dash where there is none."""
    if isinstance(value, str):
        return value
    if value is None or pd.isna(value):
        return "–"
    return f"{value:,.0f}" if float(value).is_integer() else f"{value:,.1f}"

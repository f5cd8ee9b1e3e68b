"""Tables of facts with their sources: gases, pipe sizes, profiles."""

from __future__ import annotations

import csv
from importlib import resources

__all__ = ["table_rows"]


def table_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a CSV table of this package, each as its columns' texts by name."""
    text = resources.files(__name__).joinpath(name).read_text(encoding="utf-8")
    head, *rows = csv.reader(text.splitlines())
    return [dict(zip(head, row, strict=True)) for row in rows]

"""Who comes first: priority codes in their order."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

__all__ = ["PriorityCode", "priority_codes", "priority_rank"]


@dataclass(frozen=True, slots=True)
class PriorityCode:
    """A priority code of the customers layer: its rank (1 first) and what it stands for."""

    code: str
    rank: int
    words: str
    source: str


@lru_cache(maxsize=1)
def priority_codes() -> dict[str, PriorityCode]:
    """Return the known priority codes by their code, first in rank first."""
    text = resources.files("netplan.customers").joinpath("priority.csv").read_text(encoding="utf-8")
    rows = [
        PriorityCode(row["code"], int(row["rank"]), row["words"], row["source"])
        for row in csv.DictReader(text.splitlines())
    ]
    return {row.code: row for row in sorted(rows, key=lambda row: row.rank)}


def priority_rank(code: str) -> int:
    """Return the rank of a priority code: 1 first; unknown codes after the known ones, none at all last."""
    known = priority_codes()
    if code in known:
        return known[code].rank
    return len(known) + (1 if code.strip() else 2)

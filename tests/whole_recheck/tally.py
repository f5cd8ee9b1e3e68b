"""What came of one seed: where others find otherwise, and what was covered."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

__all__ = ["Rechecked"]


@dataclass
class Rechecked:
    """What came of a seed.

    Parameters
    ----------
    found : list of str
        Where the recheck and another answer do not agree.
    holds : Counter
        Kinds of cases, to count what was covered.
    """

    changes: list[tuple[str, str, str]] = field(default_factory=list)
    found: list[str] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)

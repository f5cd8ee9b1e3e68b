"""What becomes of a main: the outcomes that stops alone and a whole plan share, and words of its stops."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from typing import Final

__all__ = ["NOT_SETTLED", "NO_PLAN", "PLAN_STANDS", "counted"]

NO_PLAN: Final = "no plan possible"
"""Proven that nothing isolates the work, or that no option holds every constraint."""
NOT_SETTLED: Final = "not settled"
"""The search ended before either was shown."""
PLAN_STANDS: Final = "plan stands"
"""The best option was priced in full, and its order of the work keeps every law."""


@lru_cache(maxsize=1024)
def counted(names: tuple[str, ...]) -> str:
    """Return how often each name occurs, in words."""
    return ", ".join(f"{count} {name}" for name, count in sorted(Counter(names).items()))

"""Whether a let-by test shows what it must, by its limits and the meter it is read with.

The scripts of the page say the same (``static/readings.js``).
"""

from __future__ import annotations

from typing import Final

from netplan.outputs.work_day.log_file import LetByEntry
from netplan.planfile.model import LetByTest

__all__ = ["let_by_fault"]

_NOISE: Final = 1e-9


def let_by_fault(test: LetByTest, entry: LetByEntry | None) -> str:
    """Return what is wrong with the result of a let-by test; empty where nothing is.

    Parameters
    ----------
    test : LetByTest
    entry : LetByEntry or None
        The last one of the test; None where nothing was entered.
    """
    limits = [
        (None if entry is None else entry.l_min, test.limit_l_min),
        (None if entry is None else entry.mbar, test.limit_mbar),
    ]
    asked = [(value, limit) for value, limit in limits if limit is not None]
    needs_meter = test.limit_l_min is not None and test.resolution_l_min is not None
    finest = None if entry is None else entry.resolution_l_min
    if any(value is not None and value > limit + _NOISE for value, limit in asked):
        return "above its limit"
    if needs_meter and finest is not None and finest > (test.resolution_l_min or 0.0) + _NOISE:
        return "read with too coarse a meter"
    if any(value is None for value, _ in asked) or (needs_meter and finest is None):
        return "without a whole result"
    return ""

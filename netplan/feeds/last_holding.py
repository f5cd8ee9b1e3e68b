"""The last step that holds, where every step asks for more than the one before."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from netplan.feeds.constraint_margin import ConstraintMargin

__all__ = ["last_that_holds"]

FIRST_STRIDE: Final = 16
"""How many steps beyond the expected edge are looked at first (own) [-]."""


def last_that_holds(stand: Callable[[int], ConstraintMargin], steps: int, near: int = 0) -> int | None:
    """Return the last of the steps 0 to `steps` that holds; None when not even 0 does.

    What holds at a step holds at all before it. The edge is bracketed outward from `near` and narrowed by the
    slack, by halves where the slack misleads; both sides of the edge have been asked when it is found.
    """
    edge = _Edge(stand, near, steps)
    while not edge.is_found:
        edge.narrow()
    return edge.good


class _Edge:
    """The last step that holds, between one that does and the next that does not."""

    def __init__(self, stand: Callable[[int], ConstraintMargin], first: int, steps: int) -> None:
        self._stand, self._steps = stand, steps
        self._slack: dict[int, float] = {}
        self.good: int | None = None
        self.bad: int | None = None
        self._stride = max(FIRST_STRIDE, (steps - first) // 4 if first == 0 else 0)
        self._halve = False
        self._ask(first)
        if self.good is None and first:
            self._ask(0)

    @property
    def is_found(self) -> bool:
        if self.good is None:
            return True
        return self.good == self._steps if self.bad is None else self.bad - self.good == 1

    def narrow(self) -> None:
        good, bad = self.good or 0, self.bad
        if bad is None:
            self._ask(min(self._beyond(good), self._steps))
            return
        guess = None if self._halve else self._between(good, bad)
        self._ask((good + bad) // 2 if guess is None else guess)
        # Where guessing does not halve the bracket, halving does.
        self._halve = guess is not None and self._width() > max((bad - good) // 2, 1)

    def _width(self) -> int:
        return (self.bad or 0) - (self.good or 0)

    def _ask(self, step: int) -> None:
        found = self._stand(step)
        self._slack[step] = found.slack
        if found.holds:
            self.good = step
        else:
            self.bad = step

    def _between(self, good: int, bad: int) -> int | None:
        high, low = max(self._slack[good], 0.0), self._slack[bad]
        if not (math.isfinite(high) and math.isfinite(low)) or high == low:
            return None
        return min(max(good + math.floor((bad - good) * high / (high - low)), good + 1), bad - 1)

    def _beyond(self, good: int) -> int:
        before = max((step for step in self._slack if step < good), default=None)
        stride, self._stride = self._stride, 2 * self._stride
        if before is None:
            return good + stride
        fall = (self._slack[before] - self._slack[good]) / (good - before)
        if not (math.isfinite(fall) and fall > 0.0):
            return good + stride
        return good + min(math.floor(self._slack[good] / fall) + 1, 2 * stride)

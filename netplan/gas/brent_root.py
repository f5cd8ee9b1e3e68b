"""Root of a function of one variable between two points at which it has opposite signs, by Brent's method.

R. P. Brent, "Algorithms for Minimization without Derivatives" (1973), chapter 4. Loading scipy's package of
optimisation for this one function takes longer than all roots of a plan.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

__all__ = ["root_between"]

_MOST_STEPS: Final = 100


def root_between(
    f: Callable[[float], float], low: float, high: float, *, absolute: float, relative: float
) -> float:
    """Return a root of `f`, which is 0 at `low` or `high` or has opposite signs there.

    Parameters
    ----------
    f : callable
        Continuous function.
    low, high : float
        Ends of the interval, in the unit of the argument.
    absolute, relative : float
        The root is found to `absolute` plus `relative` times itself, both above 0.

    Raises
    ------
    ValueError
        When `f` has one sign at both ends, or is not a number somewhere.
    """
    best, at_best = high, f(high)
    last, at_last = low, f(low)
    if at_last == 0.0:
        return last
    if at_best == 0.0:
        return best
    if math.isnan(at_best) or math.isnan(at_last) or (at_best > 0.0) is (at_last > 0.0):
        raise ValueError("the function must have opposite signs at the two ends")
    # `best` and `other` hold the root between them; `last` is where `best` was before.
    other, at_other = last, at_last
    step = step_before = best - last
    for _ in range(_MOST_STEPS):
        if abs(at_other) < abs(at_best):
            last, at_last = best, at_best
            best, at_best, other, at_other = other, at_other, best, at_best
        reach = (absolute + relative * abs(best)) / 2.0
        half = (other - best) / 2.0
        if at_best == 0.0 or abs(half) < reach:
            return best
        tried = math.inf
        if abs(step_before) > reach and abs(at_best) < abs(at_last):
            tried = _interpolated(best, at_best, last, at_last, other, at_other)
        if 2.0 * abs(tried) < min(abs(step_before), 3.0 * abs(half) - reach):
            step_before, step = step, tried
        else:
            step_before = step = half
        last, at_last = best, at_best
        best += step if abs(step) > reach else math.copysign(reach, half)
        at_best = f(best)
        if math.isnan(at_best):
            raise ValueError(f"the function is not a number at {best:g}")
        if at_best != 0.0 and (at_best > 0.0) is not (at_last > 0.0):
            other, at_other = last, at_last
            step = step_before = best - last
    raise ValueError(f"no root to the wanted width in {_MOST_STEPS} steps")


def _interpolated(
    best: float, at_best: float, last: float, at_last: float, other: float, at_other: float
) -> float:
    """Return the step from `best` to the root of a line, or of an inverse parabola through all three."""
    if last == other:
        return -at_best * (best - last) / (at_best - at_last)
    to_last = (at_last - at_best) / (last - best)
    to_other = (at_other - at_best) / (other - best)
    return -at_best * (at_other * to_other - at_last * to_last) / (to_other * to_last * (at_other - at_last))

"""How long the pricing of best options will take, from a few mains that are priced beforehand."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.screening.block_workers import Workers
from netplan.screening.main_evaluator import District, MainEvaluator

__all__ = ["ScreenDuration", "screen_duration"]

MOST_SAMPLED: Final = 20
"""Mains that are timed (own) [-]."""
SAMPLING_S: Final = 20.0
"""Time after which no further one is timed (own) [s]."""
SECONDS_PER_MIN: Final = 60.0
SECONDS_PER_H: Final = 3600.0


@dataclass(frozen=True, slots=True)
class ScreenDuration:
    """What a screen in full takes.

    Parameters
    ----------
    mains : int
        Mains that are still to be priced.
    sampled : int
        Of how many the time is known; 0 where they are too few to time some beforehand.
    ready_s : float
        Until a worker can price its first main [s].
    mean_s, longest_s : float
        A main of those timed [s]; as everywhere here by the clock, on a machine as busy as it was then.
    workers : int or None
        Who work; None where a scheduler knows.
    """

    mains: int
    sampled: int
    ready_s: float
    mean_s: float
    longest_s: float
    workers: int | None

    @property
    def seconds(self) -> float:
        """Seconds until the last main is priced, of all workers together where their number is not known."""
        return self.ready_s + self.mains * self.mean_s / (self.workers or 1)

    def words(self) -> str:
        """Return it in one line."""
        if not self.sampled:
            return f"{self.mains} mains to price: too few to time some beforehand."
        who = "shared by the workers of the scheduler" if self.workers is None else "here"
        if self.workers is not None and self.workers > 1:
            who = f"with {self.workers} workers"
        timed = f"from {self.sampled} of them; the longest took {self.longest_s:.2g} s"
        return (
            f"{self.mains} mains to price: about {_span(self.seconds)} {who} ({self.mean_s:.2g} s a main, "
            f"{timed})."
        )


def screen_duration(district: District, mains: Ints, workers: Workers) -> ScreenDuration:
    """Time some mains, spread evenly over all that are to be priced.

    Parameters
    ----------
    district : District
        The whole network.
    mains : int array
        Rows of the mains that are to be priced.
    workers : Workers
    """
    count = workers.count if workers.scheduler is None else None
    if len(mains) <= MOST_SAMPLED:
        return ScreenDuration(len(mains), 0, 0.0, 0.0, 0.0, count)
    evaluator = MainEvaluator(district)
    some = mains[np.linspace(0, len(mains) - 1, MOST_SAMPLED + 1).astype(np.int64)].tolist()
    start = time.monotonic()
    ready_s = _timed(evaluator, some.pop())
    each: list[float] = []
    for main in some:
        each.append(_timed(evaluator, main))
        if time.monotonic() - start > SAMPLING_S:
            break
    mean_s = sum(each) / len(each)
    return ScreenDuration(len(mains), len(each), max(ready_s - mean_s, 0.0), mean_s, max(each), count)


def _timed(evaluator: MainEvaluator, main: int) -> float:
    start = time.perf_counter()
    _ = list(evaluator.rows([main]))
    return time.perf_counter() - start


def _span(seconds: float) -> str:
    """Return a time in the unit in which people say it."""
    if seconds < 1.5 * SECONDS_PER_MIN:
        return f"{max(seconds, 1.0):.0f} s"
    if seconds < 1.5 * SECONDS_PER_H:
        return f"{seconds / SECONDS_PER_MIN:.0f} min"
    return f"{seconds / SECONDS_PER_H:.1f} h"

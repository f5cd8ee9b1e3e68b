"""Work on millions of rows: in parallel, in the background, without needless garbage collection."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Final, TypeVar

__all__ = ["in_background", "in_parallel", "without_garbage_collection"]

THREADS: Final = 2
"""Threads for work in numpy, Arrow and hashing, which run outside the interpreter's lock."""

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")


@contextmanager
def in_background(work: Callable[[], _Result]) -> Iterator[Callable[[], _Result]]:
    """Begin some work on a thread of its own; what is yielded waits for it and returns its result."""
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(work).result


def in_parallel(work: Callable[[_Item], _Result], items: Iterable[_Item]) -> list[_Result]:
    """Return the results for all items in their order, worked out on a few threads."""
    given = list(items)
    if len(given) < 2:
        return [work(item) for item in given]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(work, given))


@contextmanager
def without_garbage_collection() -> Iterator[None]:
    """Pause cyclic garbage collection, and restore it as it was.

    Geometries hold no references to each other, so there is nothing to collect; looking for it while a
    million of them are made takes four times as long as making them.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()

"""How many cases of a drawn test were of a kind: a law about solved states says nothing where none is solved."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Callable

from hypothesis import event

_seen: Counter[str] = Counter()


def seen(kind: str) -> None:
    """Count the present case as one of a kind."""
    _seen[kind] += 1
    event(kind)


def at_least(**least: int) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Decorate a drawn test: once it has run, so many of its cases must have been `seen` to be of each kind.

    It stands above ``@given``. The numbers are to be far below the usual ones: cases are drawn anew in every run.
    """

    def decorate(test: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(test)
        def run(*args: object, **kwargs: object) -> None:
            _seen.clear()
            test(*args, **kwargs)
            for kind, count in least.items():
                assert _seen[kind] >= count, f"only {_seen[kind]} cases were {kind}, of {dict(_seen)}"

        return run

    return decorate

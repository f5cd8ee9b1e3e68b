"""Roots between two points: to the bit those of scipy, and refused where there is none (own)."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import pytest
from scipy.optimize import brentq

from netplan.gas.brent_root import root_between


def _functions(seed: int) -> list[tuple[str, float, float]]:
    rng = np.random.default_rng(seed)
    scales = 10.0 ** rng.uniform(-6.0, 6.0, 60)
    return [
        (kind, float(s), float(r)) for kind in _KINDS for s, r in zip(scales, rng.random(60), strict=True)
    ]


_KINDS: Final[dict[str, Callable[[float, float], float]]] = {
    "power": lambda x, root: math.copysign(abs(x) ** 1.8, x) - root**1.8,
    "step": lambda x, root: math.atan(1e4 * (x - root)),
    "flat": lambda x, root: (x - root) ** 3 + 1e-2 * (x - root),
    "bent": lambda x, root: math.expm1(8.0 * (x - root)) + (x - root),
    "exact": lambda x, root: math.floor(1e5 * (x - root)),
}


@pytest.mark.parametrize(("absolute", "relative"), [(1e-12, 1e-9), (1e-9, 1e-6), (1e-15, 1e-13)])
def test_roots_are_those_of_scipy_to_the_bit_after_as_many_calls(absolute: float, relative: float) -> None:
    for kind, scale, root in _functions(7):
        asked: dict[str, list[float]] = {"ours": [], "scipy": []}

        def f(x: float, by: str, kind: str = kind, scale: float = scale, root: float = root) -> float:
            asked[by].append(x)  # noqa: B023 - called before the next turn
            return scale * _KINDS[kind](x, root)

        ours = root_between(lambda x: f(x, "ours"), 0.0, 1.0, absolute=absolute, relative=relative)
        theirs = brentq(f, 0.0, 1.0, args=("scipy",), xtol=absolute, rtol=relative)
        assert ours == theirs, (kind, scale, root)
        assert sorted(asked["ours"]) == sorted(asked["scipy"])


def test_a_root_at_an_end_is_that_end() -> None:
    assert root_between(lambda x: x, 0.0, 1.0, absolute=1e-9, relative=1e-9) == 0.0
    assert root_between(lambda x: x - 1.0, 0.0, 1.0, absolute=1e-9, relative=1e-9) == 1.0


@pytest.mark.parametrize("f", [lambda x: x + 1.0, lambda _: math.nan, lambda x: -1.0 - x])
def test_without_opposite_signs_there_is_no_root(f: Callable[[float], float]) -> None:
    with pytest.raises(ValueError, match="opposite signs"):
        root_between(f, 0.0, 1.0, absolute=1e-9, relative=1e-9)


def test_what_is_no_number_inside_is_refused() -> None:
    with pytest.raises(ValueError, match="is not a number"):
        root_between(lambda x: {0.0: -1.0, 1.0: 1.0}.get(x, math.nan), 0.0, 1.0, absolute=1e-9, relative=1e-9)


def test_a_root_that_takes_too_many_steps_is_refused() -> None:
    with pytest.raises(ValueError, match="in 100 steps"):
        root_between(lambda x: (x - 0.3) ** 9, 0.0, 1.0, absolute=1e-15, relative=1e-13)

"""A length of main as a person names it, before a network is there to look it up in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from netplan.core.errors import BadInputError, BadWorkError, quoted

__all__ = ["WorkPart", "check_length", "check_part", "check_work_of_mains"]


@dataclass(frozen=True, slots=True)
class WorkPart:
    """A part of the work section as a person names it: main and chainages from and to [m]."""

    main_id: str
    from_m: float
    to_m: float


def check_part(part: WorkPart) -> None:
    """Refuse chainages that no main can have.

    Raises
    ------
    BadWorkError
        When they are not finite, begin below zero, or the part has no length.
    """
    low, high = float(part.from_m), float(part.to_m)
    if not (math.isfinite(low) and math.isfinite(high)):
        raise BadWorkError(f"main {part.main_id}: the chainages are not finite numbers; correct them")
    if low < 0:
        raise BadWorkError(f"main {part.main_id}: chainage {low:g} m is below zero; start at 0 or beyond")
    if low >= high:
        raise BadWorkError(
            f"main {part.main_id}: the section from {low:g} m to {high:g} m has no length; "
            "give a from below the to"
        )


def check_length(length_m: float) -> None:
    """Refuse a length to be gas-free [m] that is not finite or not above zero.

    Raises
    ------
    BadWorkError
    """
    if not (math.isfinite(length_m) and length_m > 0):
        raise BadWorkError(f"the length {length_m:g} m of the work section is not above zero; correct it")


def check_work_of_mains(work: str, length_m: float) -> None:
    """Refuse a work section that a screen cannot lay on every main: its kind, its length [m].

    Raises
    ------
    BadInputError
    """
    if work not in ("middle", "whole"):
        raise BadInputError(f"work section {quoted(work)} is unknown; write middle or whole")
    if not 0.01 <= length_m <= 10_000.0:
        raise BadInputError(f"a work section of {length_m:g} m cannot be; give 0.01 m to 10,000 m")

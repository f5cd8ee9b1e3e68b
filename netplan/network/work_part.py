"""A length of main as a person names it, before a network is there to look it up in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from netplan.core.errors import BadWorkError

__all__ = ["WorkPart", "check_part"]


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

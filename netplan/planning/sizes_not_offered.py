"""Sizes of a bypass that are not tried, and what rules each of them out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from netplan.planning.resize import Resized
from netplan.reference.outlet_sizes import nominal_outlet_mm

__all__ = ["SizesNotOffered", "WhyNot", "sizes_not_offered"]

SAME_SIZE_MM: Final = 0.5
"""Bores nearer than this bear one nominal size, 38 mm and 1-1/2 in for one (own)."""


class WhyNot(StrEnum):
    """What rules sizes out."""

    MAIN = "main"
    """Wider than the main at one of its ends."""
    OUTLET = "outlet"
    """Wider than the outlet at one of its ends."""
    TEES = "tees"
    """More hoses side by side than there is room for tees."""
    PARALLEL_RULE = "parallel rule"
    """More hoses side by side than the rules allow."""
    NOT_ASKED = "not asked"
    """In the rules' list, and not among the bores asked for."""
    LIST = "list"
    """Not in the list of bores tried."""


@dataclass(frozen=True, slots=True)
class SizesNotOffered:
    """Sizes ruled out by one thing.

    Parameters
    ----------
    why : WhyNot
    bores_mm : tuple of float
        Bores ruled out [mm]; the bores that were tried where `why` is LIST; empty where it is about hoses
        side by side.
    limit : float
        Bore of the main or nominal size of the outlet [mm], or how many hoses may lie side by side [-]; 0 for
        the lists.
    main_id : str
        The main that is too narrow.
    """

    why: WhyNot
    bores_mm: tuple[float, ...]
    limit: float = 0.0
    main_id: str = ""


def sizes_not_offered(found: Resized, place: int) -> Iterator[SizesNotOffered]:
    """Yield the sizes of one bypass that were not tried, by what rules them out.

    Parameters
    ----------
    found : Resized
    place : int
        Of the bypass among `found.feeds`.
    """
    feed, rules = found.feeds[place], found.rules.bypass
    narrowest_mm, main_id = _narrowest_main(found, feed.label)
    too_wide = tuple(bore_mm for bore_mm in rules.bores_mm if bore_mm > narrowest_mm)
    if too_wide:
        yield SizesNotOffered(WhyNot.MAIN, too_wide, narrowest_mm, main_id)
    if feed.outlets_mm:
        widest_mm = min(feed.outlets_mm)
        no_outlet = tuple(
            bore_mm
            for bore_mm in rules.bores_mm
            if nominal_outlet_mm(bore_mm) > widest_mm and bore_mm not in too_wide
        )
        if no_outlet:
            yield SizesNotOffered(WhyNot.OUTLET, no_outlet, widest_mm)
    if feed.most_parallel < rules.parallel_max:
        yield SizesNotOffered(WhyNot.TEES, (), feed.most_parallel)
    else:
        yield SizesNotOffered(WhyNot.PARALLEL_RULE, (), rules.parallel_max)
    # A bore asked for in inches stands for the one of that nominal size in the rules.
    not_asked = tuple(
        bore_mm
        for bore_mm in found.problem.rules.bypass.bores_mm
        if all(abs(bore_mm - asked_mm) >= SAME_SIZE_MM for asked_mm in rules.bores_mm)
    )
    if not_asked:
        yield SizesNotOffered(WhyNot.NOT_ASKED, not_asked)
    yield SizesNotOffered(WhyNot.LIST, tuple(rules.bores_mm))


def _narrowest_main(found: Resized, label: str) -> tuple[float, str]:
    """Return the bore of the narrower main that a bypass joins [mm], and its id."""
    pipes = found.problem.state.pipes
    planned = next(bypass for bypass in found.problem.option.bypasses if bypass.id == label)
    bores = [
        (float(np.max(pipes.bore_mm[rows])), end.main_id)
        for end in (planned.from_, planned.to)
        if len(rows := pipes.rows_of(end.main_id, is_main=True))
    ]
    return min(bores, default=(np.inf, ""))

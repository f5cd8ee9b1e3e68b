"""The fewest meters that are off at any one time, over every series of stages."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.errors import NoPlanError
from netplan.staging.border_paths import least_worst_path
from netplan.staging.stage_borders import Pair
from netplan.staging.stage_plans import PlansSpentError, StagePlans
from netplan.staging.stage_split import NoSplitError

__all__ = ["FewestOff", "fewest_off"]


@dataclass(frozen=True, slots=True)
class FewestOff:
    """How many meters are off in the worst stage.

    Parameters
    ----------
    most : int
        Of the series found.
    proven : int
        No series has fewer.
    least : dict of (int, int) to int
        Meters off at least, of each length that may still be a stage.
    path : tuple of (int, int)
        A series with no more than `most` off in any stage.
    """

    most: int
    proven: int
    least: dict[Pair, int]
    path: tuple[Pair, ...]


@dataclass(slots=True)
class _Length:
    """What is known of a length: meters off at least, and of the plan with the fewest."""

    low: int = 0
    found: int | None = None
    is_bounded: bool = False


def fewest_off(plans: StagePlans, pairs: tuple[Pair, ...]) -> FewestOff:
    """Return the fewest meters off in the worst stage.

    A path is taken by what is known of its lengths at least; those not yet planned are looked at more
    closely, one by one, until one path is planned throughout: no other can have fewer.

    Parameters
    ----------
    plans : StagePlans
    pairs : tuple of (int, int)
        Lengths that may be stages.

    Raises
    ------
    NoSplitError
        When no series of stages with plans reaches from one end to the other, or none was found in as many
        plans as the rules allow.
    """
    count = len(plans.borders)
    known = {pair: _Length() for pair in pairs}
    try:
        while (path := _next_path(count, known)) is not None:
            doubtful = [pair for pair in path if known[pair].found is None]
            if not doubtful:
                return _settled(known, path)
            # The first of them: where nothing along the renewal has a plan, that is found at its beginning.
            _look_closer(plans, known, doubtful[0])
    except PlansSpentError:
        path = _planned_path(count, known)
        if path is not None:
            return _settled(known, path)
        raise NoSplitError(spent=True) from None
    raise NoSplitError


def _next_path(count: int, known: dict[Pair, _Length]) -> tuple[Pair, ...] | None:
    low = {pair: one.low for pair, one in known.items()}
    return least_worst_path(count, low, {pair: int(one.found is None) for pair, one in known.items()})


def _planned_path(count: int, known: dict[Pair, _Length]) -> tuple[Pair, ...] | None:
    found = {pair: one.found for pair, one in known.items() if one.found is not None}
    return least_worst_path(count, found, dict.fromkeys(found, 0))


def _settled(known: dict[Pair, _Length], path: tuple[Pair, ...]) -> FewestOff:
    most = max(known[pair].found or 0 for pair in path)
    low = {pair: one.low for pair, one in known.items()}
    count = path[-1][1] + 1
    least = least_worst_path(count, low, dict.fromkeys(low, 0)) or path
    return FewestOff(most, min(most, max(low[pair] for pair in least)), low, path)


def _look_closer(plans: StagePlans, known: dict[Pair, _Length], pair: Pair) -> None:
    """Find out more of a length: first by its zones, then by a plan; drop it where it has none."""
    one = known[pair]
    if not one.is_bounded:
        one.is_bounded = True
        try:
            least = plans.least_meters(pair)
        except NoPlanError as error:
            plans.refused[pair] = error
            del known[pair]
            return
        if least > one.low:
            one.low = least
            return
    answer = plans.fewest_meters(pair)
    if answer is None:
        del known[pair]
        return
    one.found, one.low = answer[0], max(one.low, answer[1])

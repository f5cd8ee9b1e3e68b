"""Which valve to prove, and where to put a new one: the saving of each, over all mains hit one by one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.every_main import EveryMain
from netplan.emergency.ring_search import SECOND
from netplan.emergency.valve_gains import ValveGain, ValveGains
from netplan.emergency.valve_places import ValvePlace, new_valve_places, valves_to_prove

__all__ = ["LEAST_MINUTES", "MINUTES_AND_METERS", "MaintenanceList", "maintenance_lists"]

MOST_TRIED: Final = 150
"""Places for a new valve tried out at most (own) [-]."""
MOST_NAMED: Final = 20
"""Places for a new valve that are named at most (own) [-]."""
LEAST_MINUTES, MINUTES_AND_METERS = "least minutes", "minutes and meters together"


@dataclass(frozen=True, slots=True, eq=False)
class MaintenanceList:
    """What one valve more saves, by one choice of rings.

    Parameters
    ----------
    aim : str
        `LEAST_MINUTES`, or `MINUTES_AND_METERS` by the rules' ``emergency.meters_per_minute``.
    prove : tuple of ValveGain
        Every valve on a main that no ring may use as recorded, the best first; all worked out in full.
    new : tuple of ValveGain
        The best places for a new valve, the best first, each worked out in full.
    places, tried : int
        Places for a new valve that there are, and those worked out.
    proven : bool
        Whether no place left out can save more than the last one named.
    length_m : float
        Of all mains [m].
    """

    aim: str
    prove: tuple[ValveGain, ...]
    new: tuple[ValveGain, ...]
    places: int
    tried: int
    proven: bool
    length_m: float


def maintenance_lists(
    every: EveryMain, tell: Callable[[int], None] = lambda _tried: None
) -> tuple[MaintenanceList, ...]:
    """Return the lists for both choices of rings: least minutes; minutes and meters together.

    Parameters
    ----------
    every : EveryMain
    tell : callable, optional
        Called with the number of places worked out so far.
    """
    per_minute = every.tables.rules.emergency.meters_per_minute
    together = max(round(SECOND * SECONDS_PER_MINUTE / per_minute), 1)
    done = 0

    def counted(gains: ValveGains, place: ValvePlace) -> ValveGain:
        nonlocal done
        done += 1
        tell(done)
        return gains.gain(place)

    network = every.tables.network
    lists = []
    for aim, meter in ((LEAST_MINUTES, 1), (MINUTES_AND_METERS, together)):
        gains = ValveGains(every.tables, every.hits, meter)
        prove = _ranked([counted(gains, place) for place in valves_to_prove(network)])
        places = _by_bound(gains, new_valve_places(network, gains.splits.bridges))
        found, proven = _best(gains, places, counted)
        length_m = float(network.pipes.length_m[: network.pipes.n_mains].sum())
        named = tuple(gain for gain in found[:MOST_NAMED] if gain.weight > 0.0)
        lists.append(MaintenanceList(aim, prove, named, len(places), len(found), proven, length_m))
    return tuple(lists)


def _by_bound(gains: ValveGains, places: Sequence[ValvePlace]) -> list[tuple[float, ValvePlace]]:
    """Return places with what each can save at most: the greatest bound first, then what parts evenly."""
    bounded = [(gains.bound(place), place) for place in places]
    share = np.array([gains.evenness(place) for place in places])
    order = sorted(range(len(places)), key=lambda row: (-bounded[row][0], -share[row], row))
    return [bounded[row] for row in order if bounded[row][0] > 0.0]


def _best(
    gains: ValveGains,
    places: Sequence[tuple[float, ValvePlace]],
    gain_of: Callable[[ValveGains, ValvePlace], ValveGain],
) -> tuple[tuple[ValveGain, ...], bool]:
    """Return the places worked out, the best first, and whether none left out can be among those named."""
    found: list[ValveGain] = []
    for bound, place in places:
        if len(found) >= MOST_NAMED:
            found = list(_ranked(found))
            if found[MOST_NAMED - 1].weight >= bound:
                return tuple(found), True
        if len(found) >= MOST_TRIED:
            return _ranked(found), False
        found.append(gain_of(gains, place))
    return _ranked(found), True


def _ranked(gains: Sequence[ValveGain]) -> tuple[ValveGain, ...]:
    return tuple(sorted(gains, key=lambda gain: (-gain.weight, gain.place.piece, gain.place.chainage_m)))

"""Where one more valve helps most: the burden it saves a year, by the rules' rate of works on each main.

Segments are tried in the order of a bound on what a valve anywhere on them can save (`valve_bounds`): a valve
is put near either end, and every main that it may help or hinder is asked again. One place is named for each
chain between junctions. The search stops when no bound left exceeds the tenth saving; otherwise the list is a
shortlist, with what another place might save.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.isolation import MINOR_PER_UNIT
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.network.linear_reference import points_at
from netplan.screening.main_evaluator import MOST_SCANNED, MainEvaluator
from netplan.screening.new_valve import ValvePlace, halfway, is_beside, places_on, with_valve
from netplan.screening.screen_run import Screen
from netplan.screening.valve_bounds import ScreenBounds, ValveBounds, saved_a_year

__all__ = ["NewValve", "ValvePlaces", "best_valves"]

MOST_TRIED: Final = 60
"""Segments tried out at most (own) [-]."""
MOST_ASKED: Final = 20_000
"""Mains asked once more at most, for bounds (own) [-]."""


@dataclass(frozen=True, slots=True)
class NewValve:
    """A valve that is not there.

    Parameters
    ----------
    main_id : str
    chainage_m : float
        Place on that main [m].
    x_m, y_m : float
        In the working CRS [m].
    saved : float
        Burden saved, summed over all mains out one by one that stops are found for with and without it
        [currency]: by the lower bounds of their burdens.
    saved_a_year : float
        The same, each main as often as it is worked on in a year by the rules [currency a year].
    weighted : int
        The same by weight, as whole numbers (`valve_bounds.works_weight`).
    mains : int
        Mains that save something.
    customers : int
        Customers that stay on, summed over the mains it concerns.
    """

    main_id: str
    chainage_m: float
    x_m: float
    y_m: float
    saved: float
    saved_a_year: float
    weighted: int
    mains: int
    customers: int


@dataclass(frozen=True, slots=True)
class ValvePlaces:
    """The best places, and what another can save.

    Parameters
    ----------
    places : tuple of NewValve
        Best first, one at most on each chain between junctions.
    tried : int
        Segments tried out.
    others_at_most : float
        What a valve on any chain that is not named can save at most [currency a year].
    """

    places: tuple[NewValve, ...]
    tried: int
    others_at_most: float

    @property
    def gap(self) -> float:
        """How much more a place on another chain might save than the last one named [currency a year]."""
        last = self.places[-1].saved_a_year if self.places else 0.0
        return max(0.0, round(self.others_at_most - last, 2))

    @property
    def proven(self) -> bool:
        """Whether no place on another chain can save a unit of the currency a year more than the last one."""
        return self.gap < 1.0


@dataclass(frozen=True, slots=True)
class _Trial:
    """A valve put somewhere: what each main saves [minor units], below 0 where it is dearer, and by weight.

    `usable_for` are the mains for which the valve itself can be the stop, with the zone on either side.
    """

    place: ValvePlace
    valve: NewValve
    saved: int
    of_main: dict[int, int]
    usable_for: frozenset[int]


_Chain = tuple[int, int]
_Entry = tuple[int, int, int, bool]
"""Bound by weight, below 0; district; segment; whether the bound is the fine one."""


def best_valves(
    screen: Screen,
    wanted: int = 10,
    tell: Callable[[int], None] = lambda _tried: None,
    bounds: ScreenBounds | None = None,
) -> ValvePlaces:
    """Return where one more valve saves most a year.

    Parameters
    ----------
    screen : Screen
    wanted : int
    tell : callable, optional
        Called with the number of segments tried.
    bounds : ScreenBounds, optional
        Of that screen, where they are used again.
    """
    search = _PlaceSearch(bounds or ScreenBounds(screen), wanted)
    while (segment := search.next_segment()) is not None:
        search.try_out(*segment)
        tell(search.tried)
    return search.places()


class _PlaceSearch:
    """Segments in the order of their bounds, and the best place of each chain so far."""

    def __init__(self, bounds: ScreenBounds, wanted: int) -> None:
        self._wanted, self._rules, self._bounds = wanted, bounds.screen.rules, bounds
        self.tried = 0
        self._heap: list[_Entry] = []
        self._best: dict[_Chain, _Trial] = {}
        self._left: dict[_Chain, int] = {}
        for number in bounds.numbers:
            of_district = bounds.of(number)
            coarse = of_district.coarse()
            rows = np.flatnonzero((coarse > 0) & ~of_district.is_valve)
            self._heap += [(-coarse.item(row), number, row, False) for row in rows.tolist()]
        heapq.heapify(self._heap)

    def _chain(self, number: int, segment: int) -> _Chain:
        return number, self._bounds.of(number).index.segment_chain.item(segment)

    def _ranked(self) -> list[tuple[_Chain, _Trial]]:
        some = [(chain, trial) for chain, trial in self._best.items() if trial.saved > 0]
        some.sort(key=lambda one: (-one[1].saved, one[1].valve.main_id, one[1].valve.chainage_m))
        return some[: self._wanted]

    def next_segment(self) -> tuple[int, int] | None:
        """Return the segment with the greatest bound, and its district; None at the end."""
        ranked = self._ranked()
        least = ranked[-1][1].saved if len(ranked) == self._wanted else 0
        while self._heap and self.tried < MOST_TRIED:
            bound, number, segment, is_fine = self._heap[0]
            if -bound <= least:
                return None
            bounds, best = self._bounds.of(number), self._best.get(self._chain(number, segment))
            if is_fine or (best is not None and -bound <= best.saved):
                heapq.heappop(self._heap)
                if best is None or -bound > best.saved:
                    return number, segment
                self._leave(number, segment, -bound)
            elif self._bounds.asked >= MOST_ASKED:
                return None
            else:
                fine = bounds.weighted(bounds.most_minor(segment))
                heapq.heapreplace(self._heap, (max(bound, -fine), number, segment, True))
        return None

    def _leave(self, number: int, segment: int, most: int) -> None:
        """Keep what a valve on a segment that is not looked at any more might save."""
        chain = self._chain(number, segment)
        self._left[chain] = max(self._left.get(chain, 0), most)

    def try_out(self, number: int, segment: int) -> None:
        """Put a valve near either end of a segment, and keep the better place."""
        bounds = self._bounds.of(number)
        self.tried += 1
        concerned, most = bounds.concerned(segment), bounds.most_minor(segment)
        trials = [_trial(bounds, concerned, place) for place in places_on(bounds.index, segment, self._rules)]
        # Where a work leaves no room near an end there may be some halfway.
        for main in most:
            for side in _sides(bounds, main, segment):
                if not any(_serves(trial, main, side) for trial in trials):
                    trials.append(_trial(bounds, concerned, halfway(side)))
        self._leave(number, segment, _still_possible(bounds, segment, most, trials))
        chain = self._chain(number, segment)
        for trial in trials:
            best = self._best.get(chain)
            if best is None or trial.saved > best.saved:
                self._best[chain] = trial

    def places(self) -> ValvePlaces:
        """Return the best places so far, and what any other can save."""
        ranked = self._ranked()
        named = {chain for chain, _ in ranked}
        for bound, number, segment, _ in self._heap:
            self._leave(number, segment, -bound)
        others = max((most for chain, most in self._left.items() if chain not in named), default=0)
        return ValvePlaces(
            tuple(trial.valve for _, trial in ranked), self.tried, saved_a_year(others, self._rules)
        )


def _sides(bounds: ValveBounds, main: int, segment: int) -> list[SegmentGeometry]:
    """Return what the work of a main leaves of a segment, on either side of it; nothing where it is not."""
    return bounds.known(main).cheaper.beside_work.get(segment, [])


def _serves(trial: _Trial, main: int, side: SegmentGeometry) -> bool:
    return main in trial.usable_for and is_beside(trial.place, side)


def _still_possible(bounds: ValveBounds, segment: int, most: dict[int, int], trials: list[_Trial]) -> int:
    """Return what a valve elsewhere on a segment that was tried can save at most, by weight.

    Where a main could use the valve, another place on the same side of its work changes no more than the gas
    between, and rounding.
    """
    gas_minor = int(bounds.evaluator.search(0).costs.segments.gas_minor[segment])
    length_m = float(segment_geometry(bounds.index, segment).length_m)
    total = 0
    for main, most_minor in most.items():
        usable = [trial for trial in trials if main in trial.usable_for]
        cheaper = bounds.known(main).cheaper
        if segment in cheaper.beside_work:
            is_known = all(
                any(_serves(trial, main, side) for trial in trials) for side in _sides(bounds, main, segment)
            )
        else:
            is_known = bool(usable)
        if not is_known:
            total += most_minor * bounds.weight.item(main)
            continue
        more = gas_minor
        if segment not in cheaper.near_work and len(usable) == len(trials):
            # One near either end: only what lies beyond them is left.
            more = math.ceil(gas_minor * min(1.0, max(t.place.from_end_m for t in trials) / length_m))
        saved = max((trial.of_main.get(main, 0) for trial in usable), default=0)
        total += min(most_minor, max(saved + more + 1, 0)) * bounds.weight.item(main)
    return total


def _trial(bounds: ValveBounds, concerned: list[int], place: ValvePlace) -> _Trial:
    """Try a valve out: every main that it may help or hinder is asked again, with the valve there."""
    network, (pipe, chainage_m, _) = bounds.district.network, place
    evaluator = MainEvaluator(replace(bounds.district, network=with_valve(network, pipe, chainage_m)))
    segment = evaluator.index.segment_of.item(evaluator.network.valves.piece.item(-1))
    of_main: dict[int, int] = {}
    usable: set[int] = set()
    customers = 0
    for main in concerned:
        search, before = evaluator.search(main), bounds.known(main)
        search.most_scanned = MOST_SCANNED
        try:
            cut = search.outline()
        except NoPlanError:
            continue
        of_main[main] = before.bound_minor - cut.bound_minor
        customers += before.customers - len(cut.customers)
        if search.local.may_stop(segment):
            usable.add(main)
    x, y = points_at(network, np.array([pipe]), np.array([chainage_m]))[0]
    weighted = bounds.weighted(of_main)
    valve = NewValve(
        network.pipes.id[pipe],
        round(chainage_m, 3),
        float(x),
        float(y),
        sum(of_main.values()) / MINOR_PER_UNIT,
        saved_a_year(weighted, bounds.district.rules),
        weighted,
        sum(one > 0 for one in of_main.values()),
        customers,
    )
    return _Trial(place, valve, weighted, of_main, frozenset(usable))

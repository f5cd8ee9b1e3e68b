"""Where money helps most: the valves, links, repairs and records to verify that save most a year.

Each measure is put into the network, and every main that it may help or hinder is asked again. Measures are
tried in the order of what they can save at most; the search ends when nothing left can save more than the
last one named. Otherwise the list is a shortlist, with what another measure may save.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.isolation import SameFeed
from netplan.network.model import Network
from netplan.network.vocabulary import Operable
from netplan.rules.rule_set import Rules
from netplan.screening.link_bounds import LinkBounds
from netplan.screening.link_candidates import near_gaps
from netplan.screening.main_evaluator import MOST_SCANNED, District, MainEvaluator
from netplan.screening.measure_rows import (
    Measure,
    MeasureKind,
    Saving,
    link_measure,
    mended_valve_measure,
    new_valve_measure,
)
from netplan.screening.new_link import mains_at, with_link
from netplan.screening.screen_run import Screen
from netplan.screening.usable_valve import valves_to_mend, with_usable_valve
from netplan.screening.valve_bounds import ScreenBounds, ValveBounds, saved_a_year
from netplan.screening.valve_candidates import MOST_ASKED, ValvePlaces, best_valves

__all__ = ["WANTED", "BestMeasures", "MeasuresOfKind", "best_measures"]

MOST_TRIED: Final = 30
"""Measures of a kind tried out at most (own) [-]."""
MOST_IN_VAIN: Final = 10
"""Measures of a kind tried out in a row and not named, before the search ends (own) [-]."""
LEAST_A_YEAR: Final = 1.0
"""What saves less than this is neither looked for nor named (own) [currency a year]."""
MOST_GAPS: Final = 200_000
"""Gaps of a district that are kept, those first where most may be saved (own) [-]."""
WANTED: Final = 10
"""Measures named, of each kind and of all together (own) [-]."""


@dataclass(frozen=True, slots=True)
class MeasuresOfKind:
    """The measures of one kind that save most, and what another can save.

    Parameters
    ----------
    kind : MeasureKind
    rows : tuple of Measure
        Best first.
    tried : int
        Measures put in and priced; of valves the lengths of main tried.
    others_at_most : float
        What a measure of the kind that is not named can save at most [currency a year]: a valve on a run
        between junctions that is not named, a link across any gap but those that help mostly the mains of one
        named.
    wanted : int
        Measures to name at most.
    """

    kind: MeasureKind
    rows: tuple[Measure, ...]
    tried: int
    others_at_most: float
    wanted: int

    @property
    def gap(self) -> float:
        """How much more another one might save than the last one named, or at all where there is room for it.

        [currency a year]
        """
        last = self.rows[-1].saved_a_year if len(self.rows) == self.wanted else 0.0
        return max(0.0, round(self.others_at_most - last, 2))

    @property
    def proven(self) -> bool:
        """Whether no other one can save `LEAST_A_YEAR` more than the last one named."""
        return self.gap < LEAST_A_YEAR


@dataclass(frozen=True, slots=True)
class BestMeasures:
    """The best measures of each kind.

    Parameters
    ----------
    kinds : tuple of MeasuresOfKind
    """

    kinds: tuple[MeasuresOfKind, ...]

    @property
    def ranked(self) -> tuple[Measure, ...]:
        """All measures named, of whatever kind, the best first."""
        rows = [row for of_kind in self.kinds for row in of_kind.rows]
        return tuple(sorted(rows, key=lambda row: (-row.saved_a_year, *row.order())))

    def gap(self, wanted: int) -> float:
        """Return how much more one might save that is not among so many of `ranked` than the last of them.

        Parameters
        ----------
        wanted : int

        Returns
        -------
        float
            [currency a year]; 0 where that is proven.
        """
        best = self.ranked[:wanted]
        last = best[-1].saved_a_year if len(best) == wanted else 0.0
        return max(0.0, round(max(of_kind.others_at_most for of_kind in self.kinds) - last, 2))


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A link (two nodes) or a valve to be made usable (its row and segment), in a district."""

    district: int
    rows: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Priced:
    """A measure, what each main saves [minor units], and what all do by weight."""

    measure: Measure
    weighted: int
    of_main: dict[int, int]
    district: int

    def mostly_helps_those_of(self, other: _Priced) -> bool:
        """Whether this link helps mostly mains that another link helps."""
        if self.district != other.district or self.measure.kind is not MeasureKind.LINK:
            return False
        mine = {main for main, minor in self.of_main.items() if minor > 0}
        return 2 * len(mine & {main for main, minor in other.of_main.items() if minor > 0}) >= len(mine)


class _Unfed(MainEvaluator):
    """As if no feed could be had: whoever is stranded goes off."""

    def __init__(self, district: District) -> None:
        super().__init__(district)
        self._feed_bound = SameFeed(None)


def best_measures(
    screen: Screen,
    reach_m: float,
    wanted: int = WANTED,
    tell: Callable[[int], None] = lambda _tried: None,
) -> tuple[ValvePlaces, BestMeasures]:
    """Return the best places for a new valve, and the best measures of all kinds.

    Parameters
    ----------
    screen : Screen
    reach_m : float
        Longest link [m].
    wanted : int
    tell : callable, optional
        Called with the number of measures tried.
    """
    bounds, done = ScreenBounds(screen), 0
    valves = best_valves(screen, wanted, tell, bounds)
    done += valves.tried
    rows = tuple(new_valve_measure(place, screen.rules) for place in valves.places)
    found = [MeasuresOfKind(MeasureKind.VALVE, rows, valves.tried, valves.others_at_most, wanted)]
    for kind in (MeasureKind.LINK, MeasureKind.REPAIR, MeasureKind.VERIFY):
        search = _MeasureSearch(bounds, kind, wanted)
        if kind is MeasureKind.LINK:
            search.add_gaps(reach_m)
        else:
            search.add_valves_to_mend()
        while (candidate := search.next_candidate()) is not None:
            search.try_out(candidate)
            done += 1
            tell(done)
        found.append(search.measures())
    return valves, BestMeasures(tuple(found))


class _MeasureSearch:
    """Candidates of one kind in the order of their bounds, and the measures so far."""

    def __init__(self, bounds: ScreenBounds, kind: MeasureKind, wanted: int) -> None:
        self._bounds, self._kind, self._wanted = bounds, kind, wanted
        self._rules: Rules = bounds.screen.rules
        self._heap: list[tuple[int, int, bool, _Candidate]] = []
        self._links: dict[int, LinkBounds] = {}
        self._priced: list[_Priced] = []
        self._left = 0
        self.tried = self._in_vain = 0

    def _push(self, most: int, candidate: _Candidate, *, is_fine: bool) -> None:
        if most > 0:
            heapq.heappush(self._heap, (-most, len(self._heap), is_fine, candidate))

    def add_gaps(self, reach_m: float) -> None:
        """Add the gaps between mains that a link may close, within one district."""
        screen = self._bounds.screen
        of_node = screen.districts.of_node
        pairs, gap_m = near_gaps(screen.network, screen.loss.tree, reach_m)
        for number in self._bounds.numbers:
            links = self._links[number] = LinkBounds(self._bounds.of(number))
            inside = np.flatnonzero((of_node[pairs] == number).all(axis=1))
            a, b = np.searchsorted(np.flatnonzero(of_node == number), pairs[inside]).T
            coarse = links.coarse(a, b)
            order = np.lexsort([b, a, gap_m[inside], -coarse])
            for at in order[:MOST_GAPS].tolist():
                ends = a.item(at), b.item(at)
                self._push(coarse.item(at), _Candidate(number, ends), is_fine=False)
            if len(order) > MOST_GAPS:
                self._left = max(self._left, coarse.item(order[MOST_GAPS]))

    def add_valves_to_mend(self) -> None:
        """Add the valves that no stop may use as recorded: those that are no good, or those in doubt."""
        for number in self._bounds.numbers:
            bounds = self._bounds.of(number)
            coarse = bounds.coarse()
            for valve, segment in valves_to_mend(bounds.index):
                is_seized = bounds.district.network.valves.operable[valve] == Operable.NO
                if is_seized == (self._kind is MeasureKind.REPAIR):
                    self._push(coarse.item(segment), _Candidate(number, (valve, segment)), is_fine=False)

    def _ranked(self) -> list[_Priced]:
        some = [one for one in self._priced if one.measure.saved_a_year >= LEAST_A_YEAR]
        some.sort(key=lambda one: (-one.weighted, *one.measure.order()))
        chosen: list[_Priced] = []
        for one in some:
            if len(chosen) < self._wanted and not any(one.mostly_helps_those_of(better) for better in chosen):
                chosen.append(one)
        return chosen

    def next_candidate(self) -> _Candidate | None:
        """Return the candidate that may save most; None at the end."""
        ranked = self._ranked()
        least = ranked[-1].weighted if len(ranked) == self._wanted else 0
        while self._heap and self.tried < MOST_TRIED and self._in_vain < MOST_IN_VAIN:
            most, order, is_fine, candidate = self._heap[0]
            if -most <= least or saved_a_year(-most, self._rules) < LEAST_A_YEAR:
                return None
            if is_fine:
                heapq.heappop(self._heap)
                return candidate
            if self._bounds.asked >= MOST_ASKED:
                return None
            heapq.heapreplace(self._heap, (max(most, -self._fine(candidate)), order, True, candidate))
        return None

    def _fine(self, candidate: _Candidate) -> int:
        """Return what a measure can save at most, by weight."""
        bounds, (first, second) = self._bounds.of(candidate.district), candidate.rows
        if self._kind is not MeasureKind.LINK:
            return bounds.weighted(bounds.most_minor(second))
        network = bounds.district.network
        if mains_at(network, first) & mains_at(network, second):
            return 0
        return self._links[candidate.district].most(first, second)

    def try_out(self, candidate: _Candidate) -> None:
        """Put a measure into the network of its district, and ask every main again that it concerns."""
        bounds = self._bounds.of(candidate.district)
        network, (first, second) = bounds.district.network, candidate.rows
        self.tried += 1
        if self._kind is MeasureKind.LINK:
            concerned = self._links[candidate.district].concerned(first, second)
            changed = with_link(network, first, second)
            of_main, customers = _saved(bounds, changed, concerned)
            helps = bounds.weighted(of_main) > 0
            unfed = _saved_unfed(bounds, changed, concerned) if helps else {}
            saving = self._saving(bounds, of_main, customers, bounds.weighted(unfed))
            measure = link_measure(network, first, second, self._rules, saving)
        else:
            of_main, customers = _saved(bounds, with_usable_valve(network, first), bounds.concerned(second))
            saving = self._saving(bounds, of_main, customers, None)
            measure = mended_valve_measure(self._kind, network, first, self._rules, saving)
        weighted = bounds.weighted(of_main)
        self._priced.append(_Priced(measure, weighted, of_main, candidate.district))
        is_named = any(one is self._priced[-1] for one in self._ranked())
        self._in_vain = 0 if is_named else self._in_vain + 1

    def _saving(
        self, bounds: ValveBounds, of_main: dict[int, int], customers: int, unfed: int | None
    ) -> Saving:
        return Saving(
            saved_a_year(bounds.weighted(of_main), self._rules),
            None if unfed is None else saved_a_year(unfed, self._rules),
            sum(minor > 0 for minor in of_main.values()),
            customers,
        )

    def measures(self) -> MeasuresOfKind:
        """Return the best so far, and what any other can save."""
        left = max([self._left, *(-most for most, *_ in self._heap)])
        rows = tuple(one.measure for one in self._ranked())
        return MeasuresOfKind(self._kind, rows, self.tried, saved_a_year(left, self._rules), self._wanted)


def _saved(bounds: ValveBounds, changed: Network, concerned: list[int]) -> tuple[dict[int, int], int]:
    """Return what mains save with the network changed [minor units], and customers that stay on.

    Mains without stops before or after do not count.
    """
    after = MainEvaluator(replace(bounds.district, network=changed))
    of_main: dict[int, int] = {}
    customers = 0
    for main in concerned:
        was, now = bounds.known(main), _asked(after, main)
        if now is not None:
            of_main[main] = was.bound_minor - now[0]
            customers += was.customers - now[1]
    return of_main, customers


def _saved_unfed(bounds: ValveBounds, changed: Network, concerned: list[int]) -> dict[int, int]:
    """Return what mains save with the network changed if nobody is ever fed [minor units]."""
    before, after = _Unfed(bounds.district), _Unfed(replace(bounds.district, network=changed))
    of_main: dict[int, int] = {}
    for main in concerned:
        was, now = _asked(before, main), _asked(after, main)
        if was is not None and now is not None:
            of_main[main] = was[0] - now[0]
    return of_main


def _asked(evaluator: MainEvaluator, main: int) -> tuple[int, int] | None:
    """Return the bound of a main [minor units] and the customers in its zone; None without stops."""
    search = evaluator.search(main)
    search.most_scanned = MOST_SCANNED
    try:
        cut = search.outline()
    except NoPlanError:
        return None
    return cut.bound_minor, len(cut.customers)

"""What one more valve can save at most, on every segment of a district, by the flows of least cuts.

A coarse bound comes from the burdens alone: a main saves no more than it costs beyond a valve, and only where
the search for its stops read the segment. The fine one asks each of these mains once more and adds what
`isolation.cheaper_stops` says of the segment.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import M_PER_KM
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation import MINOR_PER_UNIT
from netplan.isolation.cheaper_stops import CheaperStops, cheaper_stops
from netplan.network.model import Network
from netplan.rules.rule_set import Rules
from netplan.screening.main_evaluator import MOST_SCANNED, STOPS_FOUND, MainEvaluator
from netplan.screening.new_valve import least_valve_minor
from netplan.screening.screen_run import Screen

__all__ = ["FoundMains", "KnownMain", "ScreenBounds", "ValveBounds", "saved_a_year", "works_weight"]


WEIGHT_M: Final = 0.01
"""Length of main that weighs 1 [m]: savings by weight are whole numbers, which sum exactly."""


def works_weight(network: Network) -> Ints:
    """Return how often each main is worked on beside others: its length [`WEIGHT_M`], 1 at least."""
    length_m = network.pipes.length_m[: network.pipes.n_mains]
    return np.maximum(np.rint(length_m / WEIGHT_M), 1.0).astype(np.int64)


def saved_a_year(weighted: int, rules: Rules) -> float:
    """Return what a saving by weight is in a year, at the rules' rate of works [currency]."""
    works = rules.measures.works_per_km_year * WEIGHT_M / M_PER_KM
    return weighted * works / MINOR_PER_UNIT


@dataclass(frozen=True, slots=True)
class KnownMain:
    """A main asked once more.

    Parameters
    ----------
    bound_minor : int
        Bound of its stops, the work's own excavation left out [minor units].
    customers : int
        In its zone.
    stops : frozenset of int
        Segments of its stops.
    cheaper : CheaperStops
    """

    bound_minor: int
    customers: int
    stops: frozenset[int]
    cheaper: CheaperStops


class FoundMains:
    """The mains of a screen that stops were found for.

    Parameters
    ----------
    screen : Screen
    """

    def __init__(self, screen: Screen) -> None:
        of_main, table = screen.districts.of_main, screen.table
        rows = np.flatnonzero([outcome == STOPS_FOUND for outcome in table["outcome"].to_pylist()])
        self._rows = rows[np.argsort(of_main[rows], kind="stable")]
        self._district = of_main[self._rows]
        self._burden_minor = np.rint(screen.column("burden_least") * MINOR_PER_UNIT)
        looked = table["looked_at"].combine_chunks()
        self._start, self._nodes = looked.offsets.to_numpy(), looked.values.to_numpy()

    def of(self, district: int) -> tuple[Ints, Floats, list[Ints]]:
        """Return mains of a district, their burdens [minor units], and the supernodes each search read."""
        low, high = np.searchsorted(self._district, [district, district + 1])
        mains = self._rows[low:high]
        looked_at = [self._nodes[self._start[main] : self._start[main + 1]] for main in mains.tolist()]
        return mains, self._burden_minor[mains], looked_at


class ScreenBounds:
    """The bounds of all districts of a screen, each made when it is asked for.

    Parameters
    ----------
    screen : Screen
    """

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self._found = FoundMains(screen)
        self._made: dict[int, ValveBounds] = {}

    @property
    def numbers(self) -> list[int]:
        """The numbers of the districts, ascending."""
        numbers: list[int] = np.unique(self.screen.districts.of_main).tolist()
        return numbers

    @property
    def asked(self) -> int:
        """How many mains were asked once more."""
        return sum(bounds.asked for bounds in self._made.values())

    def of(self, number: int) -> ValveBounds:
        """Return the bounds of a district."""
        if number not in self._made:
            self._made[number] = ValveBounds(self.screen, self._found, number)
        return self._made[number]


class ValveBounds:
    """The mains of a district that stops were found for, and which segments their searches read.

    Parameters
    ----------
    screen : Screen
    found : FoundMains
    number : int
        Of the district.
    """

    def __init__(self, screen: Screen, found: FoundMains, number: int) -> None:
        self.district, rows = screen.districts(number)
        self.evaluator = MainEvaluator(self.district)
        self.index = self.evaluator.index
        self.price_minor = least_valve_minor(self.index, screen.rules)
        pieces = self.district.network.pieces
        at_valve = np.flatnonzero((pieces.valve >= 0) & (self.index.segment_of >= 0))
        self.is_valve: Flags = np.zeros(len(self.price_minor), dtype=np.bool_)
        self.is_valve[self.index.segment_of[at_valve]] = True
        self.weight = works_weight(self.district.network)
        self._known: dict[int, KnownMain] = {}
        mains, self._burden_minor, looked_at = found.of(number)
        self._row = np.array([rows[main] for main in mains.tolist()], dtype=np.int64)
        self._burden_of = dict(zip(self._row.tolist(), self._burden_minor.tolist(), strict=True))
        own = np.repeat(np.arange(len(mains)), [len(nodes) for nodes in looked_at])
        node = np.concatenate([np.zeros(0, np.int32), *looked_at])
        # The work itself stands for no supernode.
        own, node = own[node >= 0], node[node >= 0]
        order = np.argsort(node, kind="stable")
        self._reader = own[order]
        self._first = np.searchsorted(node[order], np.arange(self.index.n_super + 1))

    @property
    def asked(self) -> int:
        """How many mains were asked once more."""
        return len(self._known)

    @property
    def found(self) -> list[int]:
        """The mains of the district that stops were found for."""
        return list(self._burden_of)

    def weighted(self, of_main: Mapping[int, int]) -> int:
        """Return what each main saves [minor units], times its weight, summed."""
        return sum(minor * self.weight.item(main) for main, minor in of_main.items())

    def coarse(self) -> Ints:
        """Return by segment what a valve there can save at most, from the burdens alone, by weight."""
        index, price = self.index, self.price_minor
        saved = np.zeros(len(price), dtype=np.int64)
        least = int(price.min(initial=INFINITE))
        if least >= INFINITE:
            return saved
        worth = np.maximum(self._burden_minor.astype(np.int64) - least, 0) * self.weight[self._row]
        running = np.concatenate([[0], np.cumsum(worth[self._reader])])
        of_node = running[self._first[1:]] - running[self._first[:-1]]
        both = of_node[index.segment_a] + of_node[index.segment_b]
        return np.where(price < INFINITE, both, saved)

    def most_minor(self, segment: int) -> dict[int, int]:
        """Return the mains that a valve on a segment may help, and by how much at most [minor units]."""
        ends = {self.index.segment_a.item(segment), self.index.segment_b.item(segment)}
        found = {}
        for main in self.readers(ends):
            most = self.known(main).cheaper.most_minor.get(segment, 0)
            if most > 0:
                found[main] = most
        return found

    def concerned(self, segment: int) -> list[int]:
        """Return the mains that a valve on a segment may help or hinder: with a stop on it or close by."""
        near = self.segments_round({segment})
        nodes = self.nodes_of(near)
        helped = self.most_minor(segment)
        hindered = [main for main in self.readers(nodes) if not near.isdisjoint(self.known(main).stops)]
        return sorted({*helped, *hindered})

    def segments_round(self, segments: set[int]) -> set[int]:
        """Return some segments, those that meet them, and those that meet these."""
        near = set(segments)
        for _ in range(2):
            near |= {one for node in self.nodes_of(near) for one in self.index.segments_at(node).tolist()}
        return near

    def nodes_of(self, segments: set[int]) -> set[int]:
        """Return the supernodes at the ends of some segments."""
        index = self.index
        return {end.item(one) for one in segments for end in (index.segment_a, index.segment_b)}

    def burden_minor_of(self, main: int) -> int:
        """Return the least burden of a main of `found` [minor units]."""
        burden_minor: float = self._burden_of[main]
        return round(burden_minor)

    def summed_over_readers(self, worth: Mapping[int, int]) -> Ints:
        """Return by supernode the sum of a figure of each main of `found` whose search read it."""
        figure = np.array([worth[main] for main in self._row.tolist()], dtype=np.int64)
        running = np.concatenate([[0], np.cumsum(figure[self._reader])])
        summed: Ints = running[self._first[1:]] - running[self._first[:-1]]
        return summed

    def readers(self, nodes: set[int]) -> list[int]:
        """Return the mains whose search read one of some supernodes, ascending."""
        some = [self._reader[self._first[node] : self._first[node + 1]] for node in sorted(nodes)]
        if not some:
            return []
        found: list[int] = self._row[np.unique(np.concatenate(some))].tolist()
        return found

    def known(self, main: int) -> KnownMain:
        """Return what asking a main of the district once more says."""
        known = self._known.get(main)
        if known is None:
            search = self.evaluator.search(main)
            search.most_scanned = MOST_SCANNED
            cut = search.outline()
            cheaper = cheaper_stops(search, cut.bound_minor, self.price_minor)
            known = KnownMain(cut.bound_minor, len(cut.customers), frozenset(cut.segments), cheaper)
            self._known[main] = known
        return known

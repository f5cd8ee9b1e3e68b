"""What one more valve can save at most, on every segment of a district, by the flows of least cuts.

A coarse bound comes from the burdens alone: a main saves no more than it costs beyond a valve, and only where
the search for its stops read the segment. The fine one asks each of these mains once more and adds what
`isolation.cheaper_stops` says of the segment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation import MINOR_PER_UNIT
from netplan.isolation.cheaper_stops import CheaperStops, cheaper_stops
from netplan.screening.main_evaluator import MOST_SCANNED, STOPS_FOUND, MainEvaluator
from netplan.screening.new_valve import least_valve_minor
from netplan.screening.screen_run import Screen

__all__ = ["FoundMains", "KnownMain", "ValveBounds"]


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
        self._known: dict[int, KnownMain] = {}
        mains, self._burden_minor, looked_at = found.of(number)
        self._row = np.array([rows[main] for main in mains.tolist()], dtype=np.int64)
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

    def coarse_minor(self) -> Ints:
        """Return by segment what a valve there can save at most, from the burdens alone [minor units]."""
        index, price = self.index, self.price_minor
        saved = np.zeros(len(price), dtype=np.int64)
        least = int(price.min(initial=INFINITE))
        if least >= INFINITE:
            return saved
        worth = np.maximum(self._burden_minor - least, 0.0)[self._reader]
        running = np.concatenate([[0.0], np.cumsum(worth)])
        of_node = running[self._first[1:]] - running[self._first[:-1]]
        both = np.ceil(of_node[index.segment_a] + of_node[index.segment_b]).astype(np.int64)
        return np.where(price < INFINITE, both, saved)

    def most_minor(self, segment: int) -> dict[int, int]:
        """Return the mains that a valve on a segment may help, and by how much at most [minor units]."""
        ends = {self.index.segment_a.item(segment), self.index.segment_b.item(segment)}
        found = {}
        for main in self._readers(ends):
            most = self.known(main).cheaper.most_minor.get(segment, 0)
            if most > 0:
                found[main] = most
        return found

    def concerned(self, segment: int) -> list[int]:
        """Return the mains that a valve on a segment may help or hinder: with a stop on it or close by."""
        index, near = self.index, {segment}
        nodes: set[int] = set()
        for _ in range(2):
            nodes |= {end.item(one) for one in near for end in (index.segment_a, index.segment_b)}
            near |= {one for node in nodes for one in index.segments_at(node).tolist()}
        nodes |= {end.item(one) for one in near for end in (index.segment_a, index.segment_b)}
        helped = self.most_minor(segment)
        hindered = [main for main in self._readers(nodes) if not near.isdisjoint(self.known(main).stops)]
        return sorted({*helped, *hindered})

    def _readers(self, nodes: set[int]) -> list[int]:
        some = [self._reader[self._first[node] : self._first[node + 1]] for node in sorted(nodes)]
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

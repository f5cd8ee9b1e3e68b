"""What a cut leaves without supply, found by searching outward from its stops only as far as it takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.isolation import Cut, Index
from netplan.network.graph import fed_nodes

__all__ = ["Around"]

Ints = NDArray[np.int64]


class Around:
    """Searches round the zones of one network.

    Searches start at the live ends of all stops, the smallest first, and join where they meet. A search that
    ends without having met a supply has found a stranded part. When one search is left, the supply must be on
    its side, because no supply lies in a zone: the rest of the network need not be walked.

    Parameters
    ----------
    index : Index
    """

    def __init__(self, index: Index) -> None:
        self._index = index
        network = index.network
        shut = index.run_of[~network.pieces.is_open]
        self._is_open = np.ones(len(index.run_a), dtype=bool)
        self._is_open[shut[shut >= 0]] = False
        self._fed = np.zeros(index.n_super, dtype=bool)
        self._fed[index.super_of[fed_nodes(network, injections=True)]] = True

    def stranded(self, cut: Cut) -> NDArray[np.int32]:
        """Return the customers outside the zones with an attachment that loses every supply, ascending."""
        parts = self._parts_without_supply(cut)
        if not parts:
            return np.zeros(0, dtype=np.int32)
        index = self._index
        rows = np.concatenate([index.customers_at(node) for node in sorted(parts)])
        return np.setdiff1d(rows, cut.customers).astype(np.int32)

    def _parts_without_supply(self, cut: Cut) -> set[int]:
        index = self._index
        zone = {int(node) for part in cut.zones for node in np.unique(index.super_of[part.nodes])}
        touched = {int(index.run_of[stop.piece]) for stop in cut.stops}
        touched |= {int(index.run_of[part.piece]) for zone_ in cut.zones for part in zone_.pieces}
        touched.discard(-1)
        stopped = {int(index.run_of[stop.piece]) for stop in cut.stops}
        ends = {int(end) for run in stopped for end in (index.run_a[run], index.run_b[run])} - zone
        searches = {end: ([end], {end}) for end in sorted(ends) if self._fed[end]}
        owner = {end: end for end in searches}
        found: set[int] = set()
        by_part: dict[int, set[int]] = {}
        for end in searches:
            by_part.setdefault(int(index.part[int(index.members(end)[0])]), set()).add(end)
        for group in by_part.values():
            found |= self._search(group, searches, owner, zone, touched)
        return found

    def _search(
        self,
        active: set[int],
        searches: dict[int, tuple[list[int], set[int]]],
        owner: dict[int, int],
        zone: set[int],
        touched: set[int],
    ) -> set[int]:
        """Grow the searches of one part until one is left; return the nodes of those without a supply."""
        index, is_open = self._index, self._is_open
        without: set[int] = set()
        while len(active) > 1:
            name = min(active, key=lambda one: (len(searches[one][1]), one))
            frontier, seen = searches[name]
            if not frontier:
                active.discard(name)
                if not any(index.blocked[node] & 3 for node in seen):
                    without |= seen
                continue
            node = frontier.pop()
            for run in index.runs_at(node).tolist():
                if run in touched or not is_open[run]:
                    continue
                other = index.run_b.item(run) if index.run_a.item(run) == node else index.run_a.item(run)
                if other in zone or other in seen:
                    continue
                met = owner.get(other)
                while met is not None and met != owner[met]:
                    met = owner[met]
                if met is None or met == name:
                    owner[other] = name
                    seen.add(other)
                    frontier.append(other)
                    continue
                small, large = sorted((name, met), key=lambda one: (len(searches[one][1]), one))
                searches[large][0].extend(searches[small][0])
                searches[large][1].update(searches[small][1])
                owner[small] = large
                active.discard(small)
                if name == small:
                    name = large
                    frontier, seen = searches[name]
        return without

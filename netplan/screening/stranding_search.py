"""What a cut leaves without supply, found from its stops outward and only as far as it takes."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.graph.spanning_forest import cut_labels
from netplan.isolation import Outline, SegmentGraph
from netplan.isolation.segment_graph import SUPPLIED
from netplan.network.topology import fed_nodes

__all__ = ["StrandingSearch"]

Neighbours = tuple[tuple[int, int], ...]
_NOBODY: Final = np.zeros(0, dtype=np.int32)


class _Spread:
    """A search in hand: what it has seen, and where it goes on."""

    __slots__ = ("frontier", "name", "seen")

    def __init__(self, name: int) -> None:
        self.name, self.frontier, self.seen = name, [name], {name}

    def order(self) -> tuple[int, int]:
        """Return what small ones come before large ones by."""
        return len(self.seen), self.name


class StrandingSearch:
    """Looks round the zones of one network.

    Most cuts part nothing but their zone, which the words of the runs they stop say at once. Otherwise
    searches start at the live ends of all stops, the smallest first, and join where they meet. A search that
    ends without having met a supply has found a stranded part. When one search is left and none has met a
    supply, it must be on its side, because none lies in a zone: the rest of the network need not be walked.

    Parameters
    ----------
    index : SegmentGraph
    """

    def __init__(self, index: SegmentGraph) -> None:
        self._index = index
        network = index.network
        shut = index.segment_of[~network.pieces.is_open]
        self._is_open = np.ones(len(index.segment_a), dtype=bool)
        self._is_open[shut[shut >= 0]] = False
        self._fed = np.zeros(index.n_super, dtype=bool)
        self._fed[index.super_of[fed_nodes(network, injections=True)]] = True
        self._cut_labels = cut_labels(index.n_super, index.segment_a, index.segment_b, self._is_open)
        self._blocked = index.blocked.tobytes()
        self._open_at: dict[int, Neighbours] = {}

    def stranded(self, cut: Outline) -> NDArray[np.int32]:
        """Return the customers outside the zones with an attachment that loses every supply, ascending."""
        is_open = self._is_open.item
        if self._cut_labels.is_single_bond([segment for segment in cut.segments if is_open(segment)]):
            return _NOBODY
        parts = self._parts_without_supply(cut)
        if not parts:
            return _NOBODY
        rows = np.concatenate([self._index.customers_at(node) for node in sorted(parts)])
        return np.setdiff1d(rows, cut.customers).astype(np.int32)

    def _parts_without_supply(self, cut: Outline) -> set[int]:
        index, zone = self._index, set(cut.supernodes)
        touched = {*cut.segments, *(index.segment_of.item(piece) for piece, *_ in cut.parts)}
        ends = {
            int(end)
            for segment in cut.segments
            for end in (index.segment_a[segment], index.segment_b[segment])
        } - zone
        by_part: dict[int, list[_Spread]] = {}
        for end in sorted(ends):
            if self._fed[end]:
                by_part.setdefault(int(index.part[index.members(end)[0]]), []).append(_Spread(end))
        found: set[int] = set()
        for spreads in by_part.values():
            found |= self._search(spreads, zone, touched)
        return found

    def _search(self, active: list[_Spread], zone: set[int], touched: set[int]) -> set[int]:
        """Grow the searches of one part until all is said; return the nodes of those without a supply."""
        owner = {spread.name: spread for spread in active}
        without: set[int] = set()
        has_supply = False
        while len(active) > 1:
            active.sort(key=_Spread.order)
            spread = active[0]
            met = self._grow(spread, 2 * len(active[1].seen), owner, zone, touched)
            if met is spread:
                continue
            active.remove(spread)
            if met is not None:
                _join(spread, met, owner)
            elif self._has_supply(spread):
                has_supply = True
            else:
                without |= spread.seen
        for spread in active if has_supply else ():
            while not self._has_supply(spread):
                if self._grow(spread, 2 * len(spread.seen), owner, zone, touched) is None:
                    without |= set() if self._has_supply(spread) else spread.seen
                    break
        return without

    def _has_supply(self, spread: _Spread) -> bool:
        return any(self._blocked[node] & SUPPLIED for node in spread.seen)

    def _grow(
        self, spread: _Spread, most: int, owner: dict[int, _Spread], zone: set[int], touched: set[int]
    ) -> _Spread | None:
        """Grow a search until it meets another, which is returned, or is large; None when it has ended."""
        frontier, seen = spread.frontier, spread.seen
        while frontier:
            if len(seen) > most:
                return spread
            node = frontier.pop()
            for segment, other in self._neighbours(node):
                if other in seen or segment in touched or other in zone:
                    continue
                met = owner.get(other)
                if met is not None:
                    # Its other ways are still to be gone.
                    frontier.append(node)
                    return met
                owner[other] = spread
                seen.add(other)
                frontier.append(other)
        return None

    def _neighbours(self, node: int) -> Neighbours:
        """Return the open runs at a supernode and where they lead; kept, because cuts lie side by side."""
        found = self._open_at.get(node)
        if found is None:
            index = self._index
            found = self._open_at[node] = tuple(
                (
                    segment,
                    index.segment_b.item(segment)
                    if index.segment_a.item(segment) == node
                    else index.segment_a.item(segment),
                )
                for segment in index.segments_at(node).tolist()
                if self._is_open[segment]
            )
        return found


def _join(small: _Spread, large: _Spread, owner: dict[int, _Spread]) -> None:
    """Let one search go on with what another has."""
    for node in small.seen:
        owner[node] = large
    large.frontier += small.frontier
    large.seen |= small.seen

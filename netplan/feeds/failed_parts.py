"""Parts of a network that were found to fail under a load: the same again needs no solving.

Parts that no open link and no feed joins do not feel each other. What failed in one of them fails again with
the same feeds into it and the same load on it, whatever is done elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds.constraint_margin import ConstraintMargin
from netplan.feeds.feed_case import FeedCase
from netplan.feeds.feed_kinds import FeedSize
from netplan.graph.connected_components import component_labels

__all__ = ["FailedParts"]

Part = frozenset[int]
"""A part with feeds in: the parts without feeds that these join."""


@dataclass(frozen=True, eq=False)
class FailedParts:
    """What failed in a case so far, part by part.

    Parameters
    ----------
    case : FeedCase
    """

    case: FeedCase
    _failed: dict[Part, dict[tuple[object, ...], ConstraintMargin]] = field(default_factory=dict)
    _joined_by: dict[frozenset[tuple[int, int]], dict[int, Part]] = field(default_factory=dict)
    _rows: dict[Part, tuple[Ints, Ints]] = field(default_factory=dict)

    def find(
        self, sizes: Sequence[FeedSize], demand_m3_per_s_std: Floats, skip_inlets: Flags
    ) -> ConstraintMargin | None:
        """Return how a part that is known to fail stands; None when none is known to.

        Parameters are those of `FeedCase.judge`.
        """
        if not self._failed:
            return None
        joined = self._joined(sizes)
        for part, known in self._failed.items():
            if _with(joined, min(part)) == part:
                found = known.get(self._key(part, sizes, demand_m3_per_s_std, skip_inlets))
                if found is not None:
                    return found
        return None

    def add(
        self,
        node: int,
        margin: ConstraintMargin,
        sizes: Sequence[FeedSize],
        demand_m3_per_s_std: Floats,
        skip_inlets: Flags,
    ) -> None:
        """Keep what failed in the part of a node.

        Parameters
        ----------
        node : int
            The inlet that fails, or an end of the feed that does.
        margin : ConstraintMargin
        sizes, demand_m3_per_s_std, skip_inlets
            As asked for.
        """
        if not self._parts_are_apart:
            return
        part = _with(self._joined(sizes), int(self._part_of_node[node]))
        key = self._key(part, sizes, demand_m3_per_s_std, skip_inlets)
        self._failed.setdefault(part, {})[key] = margin

    @cached_property
    def _part_of_node(self) -> Ints:
        return self.case.solver.network.open_parts()

    @cached_property
    def _parts_are_apart(self) -> bool:
        """Whether a feed leaves the heights of nodes alone: not where some are filled in from the nearest."""
        known = ~np.isnan(self.case.solver.network.node_height_m)
        return bool(known.all() or not known.any())

    def _joined(self, sizes: Sequence[FeedSize]) -> dict[int, Part]:
        """Return which parts feeds join, by each of these parts."""
        part = self._part_of_node
        pairs = frozenset((int(part[s.feed.from_node]), int(part[s.feed.to_node])) for s in sizes)
        if pairs not in self._joined_by:
            parts = sorted({one for pair in pairs for one in pair})
            place = {one: k for k, one in enumerate(parts)}
            ends = np.array([[place[a], place[b]] for a, b in sorted(pairs)], dtype=np.int64).reshape(-1, 2).T
            label, _ = component_labels(len(parts), ends[0], ends[1])
            self._joined_by[pairs] = {
                one: frozenset(np.array(parts)[label == of].tolist())
                for one, of in zip(parts, label.tolist(), strict=True)
            }
        return self._joined_by[pairs]

    def _key(
        self, part: Part, sizes: Sequence[FeedSize], demand_m3_per_s_std: Floats, skip_inlets: Flags
    ) -> tuple[object, ...]:
        """Return all that the state of a part depends on."""
        of_node = self._part_of_node
        if part not in self._rows:
            inside = np.isin(of_node, sorted(part))
            self._rows[part] = np.flatnonzero(inside), np.flatnonzero(inside[self.case.inlets.node])
        nodes, inlets = self._rows[part]
        feeds = tuple(size for size in sizes if int(of_node[size.feed.from_node]) in part)
        return feeds, demand_m3_per_s_std[nodes].tobytes(), skip_inlets[inlets].tobytes()


def _with(joined: dict[int, Part], part: int) -> Part:
    return joined.get(part) or frozenset((part,))

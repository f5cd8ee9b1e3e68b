"""Bridges of the network and what hangs on them: the parts that a stop on a bridge strands for certain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.graph.spanning_forest import spanning_forest
from netplan.isolation.segment_graph import SUPPLIED, SegmentGraph

__all__ = ["PendantComponents", "SubtreeInterval", "pendant_components"]


@dataclass(frozen=True, slots=True)
class SubtreeInterval:
    """Supernodes of a pendant component, as one or two ranges of the depth-first preorder."""

    ranges: tuple[tuple[int, int], ...]

    def holds(self, position: int) -> bool:
        """Whether the supernode at a position of the preorder belongs to it."""
        return any(low <= position < high for low, high in self.ranges)

    def holds_any(self, positions: list[int]) -> bool:
        """Whether the supernode at any of some positions belongs to it."""
        for low, high in self.ranges:
            for position in positions:
                if low <= position < high:
                    return True
        return False

    def total(self, prefix: NDArray[Any]) -> int:
        """Return the sum of what `prefix` accumulates over the preorder."""
        return int(sum(int(prefix[high]) - int(prefix[low]) for low, high in self.ranges))


@dataclass(frozen=True, slots=True, eq=False)
class PendantComponents:
    """A spanning forest of the supernodes, numbered so that every subtree is one range.

    Closed valves count as links: what hangs behind one is no sure pendant component.

    Parameters
    ----------
    preorder : int array
        Supernodes in depth-first preorder.
    position : int array
        Where each supernode stands in it.
    size : int array
        Supernodes in the subtree of each.
    tree_segment : int array
        Segment to the parent; -1 for a root.
    parent : int array
        Parent supernode; -1 for a root.
    bridge : bool array
        Whether the segment to the parent is a bridge.
    is_bridge : bool array
        The same by segment.
    root : int array
        Root of each supernode's tree.
    sources : int array
        Running count of stations and injections over the preorder, from 0.
    """

    preorder: Ints
    position: Ints
    size: Ints
    tree_segment: Ints
    parent: Ints
    bridge: NDArray[np.bool_]
    is_bridge: NDArray[np.bool_]
    root: Ints
    sources: Ints

    def beyond(self, segment: int, near: int, far: int) -> SubtreeInterval | None:
        """Return what hangs on a segment at its end `far`, or None when the segment is no bridge."""
        if near == far:
            return None
        if self.tree_segment[far] == segment and self.parent[far] == near and self.bridge[far]:
            start = int(self.position[far])
            return SubtreeInterval(((start, start + int(self.size[far])),))
        if self.tree_segment[near] == segment and self.parent[near] == far and self.bridge[near]:
            root = int(self.root[near])
            low, high = int(self.position[root]), int(self.position[root]) + int(self.size[root])
            start = int(self.position[near])
            return SubtreeInterval(((low, start), (start + int(self.size[near]), high)))
        return None

    def sourceless(self, span: SubtreeInterval) -> bool:
        """Whether no station and no injection stands on a pendant component."""
        return span.total(self.sources) == 0

    def prefix(self, per_supernode: NDArray[Any]) -> Ints:
        """Return running sums of a figure per supernode over the preorder, from 0."""
        return np.concatenate([[0], np.cumsum(per_supernode[self.preorder])]).astype(np.int64)


def pendant_components(index: SegmentGraph) -> PendantComponents:
    """Find every bridge and what hangs on it."""
    forest = spanning_forest(index.n_super, index.segment_a, index.segment_b)
    sources = np.concatenate([[0], np.cumsum((index.blocked[forest.preorder] & SUPPLIED) > 0)]).astype(
        np.int64
    )
    bridge = (forest.edge >= 0) & (forest.labels[forest.edge] == 0)
    return PendantComponents(
        preorder=forest.preorder,
        position=forest.position,
        size=forest.size,
        tree_segment=forest.edge,
        parent=forest.parent,
        bridge=bridge,
        is_bridge=(forest.labels == 0) & (index.segment_a != index.segment_b),
        root=forest.root,
        sources=sources,
    )

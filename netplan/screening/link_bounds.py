"""What a link can save at most: gaps between mains, and the works that pay for what one of the ends loses."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from netplan.core.arrays import Ints
from netplan.feeds.feed_prices import feed_lower_bound_minor
from netplan.graph.spanning_forest import SpanningForest, spanning_forest
from netplan.isolation.segment_graph import SUPPLIED
from netplan.screening.valve_bounds import ValveBounds

__all__ = ["LinkBounds"]


class LinkBounds:
    """Bounds on links in one district, from the bridges between each end and its supplies.

    A link makes no stop cheaper. It saves a work what that pays for the part beyond a stop on a bridge, and
    only for the part that holds one end and not the other: the lesser of its interruption and the cheapest
    feed.

    Parameters
    ----------
    bounds : ValveBounds
    """

    def __init__(self, bounds: ValveBounds) -> None:
        self.bounds, self._index = bounds, bounds.index
        self._feed_minor = feed_lower_bound_minor(
            bounds.district.rules, least_bypass_m=0.0, least_hose_m=0.0, has_valve=True
        )

    @cached_property
    def _forest(self) -> tuple[SpanningForest, Ints]:
        """The forest over a root, joined to all that is supplied, and supernodes; segments of its edges."""
        index, pieces = self._index, self._index.network.pieces
        shut = index.segment_of[~pieces.is_open]
        is_open = np.ones(len(index.segment_a), dtype=np.bool_)
        is_open[shut[shut >= 0]] = False
        rows = np.flatnonzero(is_open)
        supplied = np.flatnonzero(index.blocked & SUPPLIED)
        # The root is vertex 0, and supernode k vertex k + 1.
        a = np.concatenate([index.segment_a[rows], supplied]).astype(np.int64) + 1
        b = np.concatenate([index.segment_b[rows].astype(np.int64) + 1, np.zeros(len(supplied), np.int64)])
        return spanning_forest(index.n_super + 1, a, b), rows

    def concerned(self, a: int, b: int) -> list[int]:
        """Return the mains that a link between two nodes may help or hinder.

        Those whose search read a bridge that is none with the link, or came near one of its ends, where it
        leaves less room for stops.
        """
        index, pieces = self._index, self._index.network.pieces
        at_ends = np.isin(pieces.from_node, (a, b)) | np.isin(pieces.to_node, (a, b))
        near = set(index.segment_of[at_ends & (index.segment_of >= 0)].tolist())
        nodes = self.bounds.nodes_of(self.bounds.segments_round(near))
        nodes |= {index.super_of.item(node) for node in (a, b)}
        return self.bounds.readers(nodes | self.bounds.nodes_of(self._bridges_between(a, b)))

    @cached_property
    def _above(self) -> Ints:
        """By supernode what works save at most that read the bridges above it, each counted at every one."""
        forest, rows = self._forest
        index = self._index
        worth = self.bounds.summed_over_readers({main: self._worth(main) for main in self.bounds.found})
        above = np.zeros(index.n_super + 1, dtype=np.int64)
        for node in forest.preorder.tolist():
            parent, edge = forest.parent.item(node), forest.edge.item(node)
            if parent >= 0:
                above[node] = above[parent]
                if edge < len(rows) and forest.labels.item(edge) == 0:
                    segment = rows.item(edge)
                    above[node] += worth[index.segment_a[segment]] + worth[index.segment_b[segment]]
        return above[1:]

    def coarse(self, a: Ints, b: Ints) -> Ints:
        """Return what links between nodes can save at most, by weight; more than `most` says."""
        above = self._above
        return above[self._index.super_of[a]] + above[self._index.super_of[b]]

    def most(self, a: int, b: int) -> int:
        """Return what a link between two nodes can save at most, by weight: by the flows of least cuts."""
        bridges, total = self._bridges_between(a, b), 0
        for main in self.bounds.readers(self.bounds.nodes_of(bridges)):
            relief_minor = self.bounds.known(main).cheaper.relief_minor
            most_minor = sum(relief_minor.get(segment, 0) for segment in bridges & relief_minor.keys())
            total += min(most_minor * self.bounds.weight.item(main), self._worth(main))
        return total

    def _worth(self, main: int) -> int:
        """Return what a link can save a main at most, by weight."""
        burden_minor = self.bounds.burden_minor_of(main)
        most = burden_minor if self._feed_minor is None else min(burden_minor, self._feed_minor)
        return most * self.bounds.weight.item(main)

    def _bridges_between(self, a: int, b: int) -> set[int]:
        """Return the bridges between two nodes, by way of the supplies."""
        one, other = (self._bridges_above(self._index.super_of.item(node)) for node in (a, b))
        return one ^ other

    def _bridges_above(self, node: int) -> set[int]:
        """Return the bridges between a supernode and its supplies."""
        forest, rows = self._forest
        found, node = set(), node + 1
        while (parent := forest.parent.item(node)) >= 0:
            edge = forest.edge.item(node)
            if edge < len(rows) and forest.labels.item(edge) == 0:
                found.add(rows.item(edge))
            node = parent
        return found

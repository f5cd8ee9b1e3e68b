"""Trees peeled off a graph, and a depth-first walk of what is left: which vertex stands before which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Standing", "stand_before"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Which vertex stands between each vertex and the root.

    Parameters
    ----------
    before : int array
        The nearest vertex whose removal parts a vertex from the root; -1 for none.
    top : int array
        The vertex nearest to `before` among those parted together with it.
    weight : float array, shape (vertices, columns)
        Of a `top`: what is parted together with it.
    """

    before: Ints
    top: Ints
    weight: Floats


def stand_before(tail: Ints, head: Ints, weight: Floats, root: int) -> Standing:
    """Find for every vertex what stands between it and the root.

    Parameters
    ----------
    tail, head : int arrays
        Edges of a connected graph without parallel edges and loops.
    weight : float array, shape (vertices, columns)
        Weight of each vertex.
    root : int
    """
    n = len(weight)
    total = weight.copy()
    before = np.full(n, -1, dtype=np.int64)
    top = np.arange(n, dtype=np.int64)
    alive = _peel(tail, head, total, before, root)
    inner = alive[tail] & alive[head]
    _walk(tail[inner], head[inner], total, before, top, root)
    before[before == root] = -1
    return Standing(before, top, total)


def _peel(tail: Ints, head: Ints, total: Floats, before: Ints, root: int) -> NDArray[np.bool_]:
    """Take leaf after leaf off; a leaf passes its weight on, and what it hung on stands before it."""
    n = len(total)
    degree = np.bincount(tail, minlength=n) + np.bincount(head, minlength=n)
    mixed = np.zeros(n, dtype=np.int64)
    np.bitwise_xor.at(mixed, tail, head)
    np.bitwise_xor.at(mixed, head, tail)
    alive = degree > 0
    alive[root] = True
    leaves = np.flatnonzero(degree == 1)
    while True:
        leaves = leaves[leaves != root]
        if not len(leaves):
            return alive
        on = mixed[leaves]
        before[leaves] = on
        alive[leaves] = False
        np.add.at(total, on, total[leaves])
        np.subtract.at(degree, on, 1)
        np.bitwise_xor.at(mixed, on, leaves)
        degree[leaves] = 0
        on = np.unique(on)
        leaves = on[degree[on] == 1]


def _walk(tail: Ints, head: Ints, total: Floats, before: Ints, top: Ints, root: int) -> None:
    """Walk the core depth first from the root; low points tell what parts what."""
    inside = np.zeros(len(total), dtype=np.bool_)
    inside[tail] = inside[head] = inside[root] = True
    core, number = np.flatnonzero(inside), np.cumsum(inside) - 1
    a, b = number[tail], number[head]
    ends = np.concatenate([a, b])
    order = np.argsort(ends, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(ends, minlength=len(core)))]).tolist()
    neighbour = np.concatenate([b, a])[order].tolist()
    found, parent, parts = _low_points(start, neighbour, int(number[root]))
    sums = total[core].tolist()
    for vertex in reversed(found[1:]):
        mine, above = sums[vertex], sums[parent[vertex]]
        for column, value in enumerate(mine):
            above[column] += value
    total[core] = sums
    stands = [-1] * len(core)
    head_of = list(range(len(core)))
    for vertex in found[1:]:
        above = parent[vertex]
        if parts[vertex]:
            stands[vertex] = above
        else:
            stands[vertex], head_of[vertex] = stands[above], head_of[above]
    placed = np.array(stands, dtype=np.int64)
    before[core] = np.where(placed >= 0, core[placed], -1)
    top[core] = core[np.array(head_of, dtype=np.int64)]


def _low_points(start: list[int], neighbour: list[int], root: int) -> tuple[list[int], list[int], list[bool]]:
    """Return vertices in the order met, their parents, and whether the parent parts them from the root."""
    n = len(start) - 1
    met, low, parent, parts = [-1] * n, [0] * n, [-1] * n, [False] * n
    at = start[:-1]
    met[root] = 0
    found, stack = [root], [root]
    while stack:
        vertex = stack[-1]
        place = at[vertex]
        if place < start[vertex + 1]:
            at[vertex] = place + 1
            other = neighbour[place]
            if met[other] < 0:
                met[other] = low[other] = len(found)
                parent[other] = vertex
                found.append(other)
                stack.append(other)
            elif other != parent[vertex] and met[other] < low[vertex]:
                low[vertex] = met[other]
            continue
        stack.pop()
        above = parent[vertex]
        if above >= 0:
            if low[vertex] < low[above]:
                low[above] = low[vertex]
            parts[vertex] = low[vertex] >= met[above]
    return found, parent, parts

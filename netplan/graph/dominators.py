"""Immediate dominators of an undirected graph: the last vertex that every path from the root passes.

Pendant trees are pruned first; on the core the low points of a depth-first search tell them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.graph.pruning import prune_branches

__all__ = ["DominatorTree", "dominator_tree"]


@dataclass(frozen=True, slots=True, eq=False)
class DominatorTree:
    """The dominators of a graph from its root.

    Parameters
    ----------
    immediate : int array
        Immediate dominator of each vertex: the nearest vertex whose removal parts it from the root; -1 for
        none but the root itself.
    top : int array
        The vertex nearest to `immediate` among those parted together with it.
    weight : float array, shape (vertices, columns)
        Of a `top`: the weight of all that is parted together with it.
    """

    immediate: Ints
    top: Ints
    weight: Floats


def dominator_tree(tail: Ints, head: Ints, weight: Floats, root: int) -> DominatorTree:
    """Find the immediate dominator of every vertex.

    Parameters
    ----------
    tail, head : int arrays
        Edges of a connected graph without parallel edges and loops.
    weight : float array, shape (vertices, columns)
        Weight of each vertex.
    root : int
    """
    n = len(weight)
    keep = np.zeros(n, dtype=np.bool_)
    keep[root] = True
    branches = prune_branches(n, tail, head, keep)
    total = branches.gather_up(weight)
    immediate = np.full(n, -1, dtype=np.int64)
    immediate[branches.child] = branches.parent
    top = np.arange(n, dtype=np.int64)
    inner = np.ones(len(tail), dtype=np.bool_)
    inner[branches.link] = False
    _walk(tail[inner], head[inner], total, immediate, top, root)
    immediate[immediate == root] = -1
    return DominatorTree(immediate, top, total)


def _walk(tail: Ints, head: Ints, total: Floats, immediate: Ints, top: Ints, root: int) -> None:
    """Search the core depth first from the root; low points tell what parts what."""
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
    dominator = [-1] * len(core)
    head_of = list(range(len(core)))
    for vertex in found[1:]:
        above = parent[vertex]
        if parts[vertex]:
            dominator[vertex] = above
        else:
            dominator[vertex], head_of[vertex] = dominator[above], head_of[above]
    placed = np.array(dominator, dtype=np.int64)
    immediate[core] = np.where(placed >= 0, core[placed], -1)
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

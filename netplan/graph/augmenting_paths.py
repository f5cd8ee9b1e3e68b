"""Maximum flow by augmenting paths: one text for a single question and, compiled, for many.

A flow from the source fills the nearest sinks first, so it reaches only a little farther than the minimum
cut. A node that is not explored yet is explored when the flow reaches it: by a call back, or by the caller,
who then calls `maximise` again, which goes on where it was. When no augmenting path is left, every node on
the source's side has all its arcs in the graph, and all that leave that side are full: no part that was never
reached can hold a lesser cut.

The functions take sequences of whole numbers, lists and int64 arrays alike; `compiled_cut` compiles them.
"""

from __future__ import annotations

from collections.abc import Callable, MutableSequence
from typing import Final, NamedTuple

__all__ = [
    "DONE",
    "INFINITE",
    "NONE",
    "STATE_SIZE",
    "UNBOUNDED",
    "UNEXPLORED",
    "Arcs",
    "Residual",
    "Search",
    "begin",
    "forget",
    "maximise",
]

INFINITE: Final = 1 << 52
"""Capacity of an arc that no cut may hold [minor units]."""
NONE: Final = -1
"""No arc, no bottleneck; of a residual capacity: as in the graph."""
UNEXPLORED: Final = -1
"""Stands for the sink capacity of a node that is not explored yet."""
DONE, UNBOUNDED, AT_UNEXPLORED = range(3)
"""How a search ends: with a maximum flow; with a path of infinite capacity; at a node to explore."""
PLACE, COUNT, SOURCES, BOTTLENECKS, CUT_SHORT, SEARCHES, QUESTIONS, VALUE, SEARCHING, LOOKED_AT = range(10)
"""Entries of `Search.state`; how many there are is `STATE_SIZE`."""
STATE_SIZE: Final = 10

Numbers = MutableSequence[int]
Explore = Callable[[int], None]


class Arcs(NamedTuple):
    """A graph whose arcs come in pairs: arc k and arc k ^ 1 run opposite ways along one edge.

    Parameters
    ----------
    first : sequence of int
        First arc that leaves each node; `NONE` where none does.
    following : sequence of int
        Next arc that leaves the same node.
    end : sequence of int
        Node that each arc leads to.
    capacity : sequence of int
        Of each arc [minor units]; from `INFINITE` up it is never cut.
    sink : sequence of int
        Capacity from each node to the sink [minor units]; `UNEXPLORED` until its arcs are there.
    """

    first: Numbers
    following: Numbers
    end: Numbers
    capacity: Numbers
    sink: Numbers


class Residual(NamedTuple):
    """What a flow leaves of each arc and of each way to the sink [minor units]; `NONE`: all of it."""

    arc: Numbers
    sink: Numbers


class Search(NamedTuple):
    """Working space of a search.

    Parameters
    ----------
    seen : sequence of int
        By node: the search that reached it last.
    queue : sequence of int
        Nodes in the order they are reached; the sources first.
    arrived_by : sequence of int
        By node: the arc by which it was reached; `NONE` for a source.
    bottleneck : sequence of int
        By node: the bottleneck it lies behind. A bottleneck is an arc of less capacity than those before it:
        all that is reached behind it gets no more than that.
    available, wanted : sequences of int
        By node: what it may pass to the sink; what is wanted there and behind it [minor units].
    left, before, narrow : sequences of int
        By bottleneck: what it can still serve behind it [minor units]; the bottleneck it lies behind; below
        which capacity an arc behind it is a bottleneck of its own. That is an eighth less than its own, so
        that few stand one behind the other where all stops cost about the same.
    looked, looked_at : sequences of int
        By node: the question in which its arcs were read last; all nodes whose arcs were read in this one.
    state : sequence of int
        See the names of its entries above.
    """

    seen: Numbers
    queue: Numbers
    arrived_by: Numbers
    bottleneck: Numbers
    available: Numbers
    wanted: Numbers
    left: Numbers
    before: Numbers
    narrow: Numbers
    looked: Numbers
    looked_at: Numbers
    state: Numbers


def begin(search: Search, sources: int, value: int) -> None:
    """Begin a question whose sources stand in the queue, with the value of the flow it starts from."""
    state = search.state
    state[QUESTIONS] += 1
    state[SOURCES], state[VALUE] = sources, value
    state[SEARCHING] = state[LOOKED_AT] = 0


def maximise(arcs: Arcs, residual: Residual, search: Search, explore: Explore | None = None) -> int:
    """Augment the flow until no path is left; the nodes reached then are the smallest source side.

    Parameters
    ----------
    arcs : Arcs
    residual : Residual
    search : Search
    explore : callable, optional
        Adds all arcs of a node to the graph, its capacity to the sink among them, and makes the other two as
        long. Compiled, a search cannot call back: it returns instead.

    Returns
    -------
    int
        `DONE`; `UNBOUNDED` where no finite cut exists; `AT_UNEXPLORED` where the node at `PLACE` of the queue
        must be explored first.
    """
    state = search.state
    while True:
        if not state[SEARCHING]:
            state[SEARCHING] = 1
            state[SEARCHES] += 1
            state[PLACE] = state[BOTTLENECKS] = state[CUT_SHORT] = 0
            state[COUNT] = state[SOURCES]
            for place in range(state[SOURCES]):
                node = search.queue[place]
                search.seen[node] = state[SEARCHES]
                search.arrived_by[node] = search.bottleneck[node] = NONE
        ended = search_outward(arcs, residual, search, explore)
        if ended != DONE:
            return ended
        state[SEARCHING] = 0
        if not push(arcs, residual, search) and not state[CUT_SHORT]:
            return DONE


def is_full(left: Numbers, before: Numbers, bottleneck: int) -> bool:
    """Whether the sinks found behind a bottleneck, or behind one before it, take all that it can serve."""
    while bottleneck != NONE:
        if left[bottleneck] <= 0:
            return True
        bottleneck = before[bottleneck]
    return False


def serve(left: Numbers, before: Numbers, bottleneck: int, amount: int) -> None:
    """Count what a sink found behind a bottleneck may take."""
    while bottleneck != NONE:
        amount = min(amount, left[bottleneck])
        left[bottleneck] -= amount
        bottleneck = before[bottleneck]


def search_outward(arcs: Arcs, residual: Residual, search: Search, explore: Explore | None) -> int:
    """Search breadth first from the sources, and no farther behind an arc than its capacity can serve."""
    queue, state, sink, sink_left = search.queue, search.state, arcs.sink, residual.sink
    left, before, behind, available, wanted = (
        search.left,
        search.before,
        search.bottleneck,
        search.available,
        search.wanted,
    )
    looked, question = search.looked, state[QUESTIONS]
    place, count = state[PLACE], state[COUNT]
    while place < count:
        node = queue[place]
        bottleneck = behind[node]
        if bottleneck != NONE and is_full(left, before, bottleneck):
            available[node] = wanted[node] = 0
            state[CUT_SHORT] = 1
            place += 1
            continue
        free = sink[node] if sink_left[node] == NONE else sink_left[node]
        if free == UNEXPLORED:
            if explore is None:
                state[PLACE], state[COUNT] = place, count
                return AT_UNEXPLORED
            explore(node)
            free = sink[node]
        if looked[node] != question:
            looked[node] = question
            search.looked_at[state[LOOKED_AT]] = node
            state[LOOKED_AT] += 1
        place += 1
        available[node] = wanted[node] = free
        if free > 0:
            if bottleneck != NONE:
                serve(left, before, bottleneck, free)
                if free >= INFINITE:
                    continue  # it takes all that can come
            elif free >= INFINITE:
                return UNBOUNDED
        count = reach_neighbours(arcs, residual, search, node, count)
    state[PLACE], state[COUNT] = place, count
    return DONE


def reach_neighbours(arcs: Arcs, residual: Residual, search: Search, node: int, count: int) -> int:
    """Put the nodes that arcs with capacity left lead to at the end of the queue; return its length."""
    following, end, capacity, arc_left = arcs.following, arcs.end, arcs.capacity, residual.arc
    seen, queue, number = search.seen, search.queue, search.state[SEARCHES]
    bottleneck = search.bottleneck[node]
    limit = INFINITE if bottleneck == NONE else search.narrow[bottleneck]
    arc = arcs.first[node]
    while arc != NONE:
        other = end[arc]
        if seen[other] != number:
            remaining = arc_left[arc]
            if remaining == NONE:
                remaining = capacity[arc]
            if remaining > 0:
                seen[other] = number
                search.arrived_by[other] = arc
                queue[count] = other
                count += 1
                search.bottleneck[other] = bottleneck
                if remaining < limit:
                    behind = search.state[BOTTLENECKS]
                    search.left[behind], search.before[behind] = remaining, bottleneck
                    search.narrow[behind] = remaining - (remaining >> 3)
                    search.bottleneck[other] = behind
                    search.state[BOTTLENECKS] = behind + 1
        arc = following[arc]
    return count


def push(arcs: Arcs, residual: Residual, search: Search) -> bool:
    """Push all that the tree of paths carries to the sink; return whether an arc is full."""
    end, capacity, arc_left = arcs.end, arcs.capacity, residual.arc
    queue, arrived_by, available, wanted = search.queue, search.arrived_by, search.available, search.wanted
    count, sources, filled = search.state[COUNT], search.state[SOURCES], False
    for place in range(count - 1, sources - 1, -1):
        node = queue[place]
        if wanted[node]:
            arc = arrived_by[node]
            remaining = capacity[arc] if arc_left[arc] == NONE else arc_left[arc]
            if wanted[node] > remaining:
                wanted[node] = remaining
            wanted[end[arc ^ 1]] += wanted[node]
    for place in range(count):
        node = queue[place]
        carried = wanted[node]
        if not carried:
            continue
        if place >= sources:
            arc = arrived_by[node]
            before = end[arc ^ 1]
            if carried > wanted[before]:
                carried = wanted[before]
            wanted[before] -= carried
            remaining = capacity[arc] if arc_left[arc] == NONE else arc_left[arc]
            if remaining < INFINITE:
                arc_left[arc] = remaining - carried
                filled = filled or remaining == carried
            returning = capacity[arc ^ 1] if arc_left[arc ^ 1] == NONE else arc_left[arc ^ 1]
            if returning < INFINITE:
                arc_left[arc ^ 1] = returning + carried
        if available[node]:
            taken = min(carried, available[node])
            search.state[VALUE] += taken
            if available[node] < INFINITE:
                residual.sink[node] = available[node] - taken
            carried -= taken
        wanted[node] = carried
    return filled


def forget(arcs: Arcs, residual: Residual, search: Search) -> None:
    """Take back what the flow of the last question left, of all arcs and nodes that it changed."""
    for place in range(search.state[LOOKED_AT]):
        node = search.looked_at[place]
        residual.sink[node] = NONE
        arc = arcs.first[node]
        while arc != NONE:
            residual.arc[arc] = residual.arc[arc ^ 1] = NONE
            arc = arcs.following[arc]

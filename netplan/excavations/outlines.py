"""Outlines of excavations along mains, and which of them are one: those nearer than the rules' distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags
from netplan.graph.connected_components import component_labels
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.rules import ExcavationRules

__all__ = ["MergedOutline", "ServedLength", "is_one", "merged_outlines", "outlines_of"]


@dataclass(frozen=True, slots=True, order=True)
class ServedLength:
    """A length of main that has to be laid bare.

    Parameters
    ----------
    pipe : int
        Row of the main.
    from_m, to_m : float
        Chainages of the outermost things on it [m]; equal for a single one.
    """

    pipe: int
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True, eq=False)
class MergedOutline:
    """One excavation of those outlines that are one.

    Parameters
    ----------
    members : tuple of int
        Rows of the outlines, ascending.
    outline : shapely Polygon
        Their outlines and what is dug between them, working CRS [m].
    """

    members: tuple[int, ...]
    outline: Any


def outlines_of(
    network: Network, rules: ExcavationRules, things: Sequence[Sequence[ServedLength]]
) -> NDArray[np.object_]:
    """Return the outline of each thing that is dug for, in the working CRS [m].

    Along each main it reaches ``margin_m`` beyond the outermost thing it serves, straight on where the main
    ends before; across the main it is ``width_m`` wide. Lengths of one thing on several mains make one
    outline.

    Parameters
    ----------
    network : Network
    rules : ExcavationRules
    things : sequence of sequence of ServedLength
        The lengths that each thing takes, one at least.

    Returns
    -------
    object array of shapely geometries, shape (things,)
    """
    lengths = [length for thing in things for length in thing]
    pipe = np.array([length.pipe for length in lengths], dtype=np.int64)
    low = np.array([length.from_m for length in lengths], dtype=float) - rules.margin_m
    high = np.array([length.to_m for length in lengths], dtype=float) + rules.margin_m
    end = network.pipes.length_m[pipe]
    lines = lines_between(network, pipe, np.maximum(low, 0.0), np.minimum(high, end))
    before, beyond = np.maximum(-low, 0.0) * network.scale, np.maximum(high - end, 0.0) * network.scale
    longer = np.array(
        [_lengthened(line, a, b) for line, a, b in zip(lines, before.tolist(), beyond.tolist(), strict=True)],
        dtype=object,
    )
    strips = shapely.buffer(longer, rules.width_m / 2 * network.scale, cap_style="flat", join_style="mitre")
    found = np.empty(len(things), dtype=object)
    start = 0
    for row, thing in enumerate(things):
        own = strips[start : start + len(thing)]
        found[row] = own[0] if len(own) == 1 else shapely.union_all(own)
        start += len(thing)
    return found


def _lengthened(line: Any, before: float, beyond: float) -> Any:
    """Return a line led straight on beyond its two ends [m in the CRS]."""
    if not (before or beyond):
        return line
    xy = shapely.get_coordinates(line)
    step = np.hypot(*np.diff(xy, axis=0).T)
    long = np.flatnonzero(step > 0.0)
    if not len(long):
        return line
    first, last = int(long[0]), int(long[-1])
    start = xy[0] - (xy[first + 1] - xy[first]) / step[first] * before
    stop = xy[-1] + (xy[last + 1] - xy[last]) / step[last] * beyond
    return shapely.linestrings(np.vstack([start, xy, stop]))


def merged_outlines(
    outlines: NDArray[np.object_], *, within_m: float, width_m: float
) -> tuple[MergedOutline, ...]:
    """Return the excavations that outlines make: no two of them are nearer to each other than a distance.

    What is nearer is joined by what lies between: the convex hull of those ends of both that face each other.
    A joined outline may be near to further ones in turn. Which outlines are one does not depend on their
    order.

    Parameters
    ----------
    outlines : array of shapely geometries
    within_m : float
        Nearer than this is one excavation [m in the CRS].
    width_m : float
        Width of an excavation: how far back from the gap the ends reach that face each other [m in the CRS].
    """
    found = [MergedOutline((row,), outline) for row, outline in enumerate(outlines)]
    while len(found) > 1:
        shapes = np.empty(len(found), dtype=object)
        shapes[:] = [one.outline for one in found]
        distance = shapely.distance(shapes[:, None], shapes[None, :])
        a, b = np.nonzero(np.triu(is_one(distance, within_m), 1))
        if not len(a):
            break
        label, count = component_labels(len(found), a, b)
        between = _between(shapes[a], shapes[b], distance[a, b], width_m)
        found = [
            _joined([found[row] for row in np.flatnonzero(label == k)], between[label[a] == k])
            for k in range(count)
        ]
    return tuple(sorted(found, key=lambda one: one.members))


def is_one(distance_m: NDArray[np.float64], within_m: float) -> Flags:
    """Return whether outlines so far apart [m] are one: nearer than a distance, or touching."""
    return np.asarray((distance_m < within_m) | (distance_m <= 0.0))


def _between(
    one: NDArray[np.object_], other: NDArray[np.object_], apart_m: NDArray[np.float64], width_m: float
) -> NDArray[np.object_]:
    """Return what lies between pairs of outlines; nothing where they touch."""
    reach = apart_m + width_m
    facing = shapely.union(
        shapely.intersection(one, shapely.buffer(other, reach, quad_segs=8)),
        shapely.intersection(other, shapely.buffer(one, reach, quad_segs=8)),
    )
    found = np.asarray(shapely.convex_hull(facing), dtype=object)
    found[apart_m <= 0.0] = shapely.Polygon()
    return found


def _joined(some: Sequence[MergedOutline], between: NDArray[np.object_]) -> MergedOutline:
    if len(some) == 1:
        return some[0]
    members = sorted(member for one in some for member in one.members)
    return MergedOutline(tuple(members), shapely.union_all([*(one.outline for one in some), *between]))

"""What stops cost: one stop by method, size and surface, and the cheapest on all simple segments at once.

A segment is unobstructed when it is no valve, carries no fitting and lies in no keep-out area, and simple
when it is one piece besides: both directions then cost the same, and the best place is the nearest one. All
others are worked out one by one, by `stop_placement`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Ints
from netplan.core.constants import MM_PER_M
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cut_model import MINOR_PER_UNIT
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_exclusions import StopExclusions
from netplan.isolation.stop_methods import stop_extent
from netplan.network.vocabulary import Surface
from netplan.rules.rule_set import MethodKind, Rules, StopMethod

__all__ = [
    "SimpleSegments",
    "cost_simple_segments",
    "pit_price_minor",
    "stop_price_minor",
    "unobstructed_segments",
]


def pit_price_minor(rules: Rules, surface: int) -> int:
    """Return the price of one excavation that no method's price includes [minor units].

    Parameters
    ----------
    rules : Rules
        ``excavation.price`` and ``excavation.price_surface``.
    surface : int
        Code of `Surface`.
    """
    excavation = rules.excavation
    extra = float(getattr(excavation.price_surface, Surface(surface).word))
    return round((excavation.price + extra) * MINOR_PER_UNIT)


def stop_price_minor(rules: Rules, method: StopMethod, od_m: float, surface: int) -> int:
    """Return the price of one stop, its excavation included [minor units].

    The price of a bag stop or a squeeze-off includes its excavation. That of a valve does not: the pit in
    which the main is tapped beside it is added.

    Parameters
    ----------
    rules : Rules
        For the price of a valve's pit.
    method : StopMethod
    od_m : float
        Outside diameter of the main [m].
    surface : int
        Code of `Surface`.
    """
    extra = float(getattr(method.price_surface, Surface(surface).word))
    price = round((method.price + method.price_per_mm_od * od_m * MM_PER_M + extra) * MINOR_PER_UNIT)
    return price + (pit_price_minor(rules, surface) if method.kind is MethodKind.VALVE else 0)


@dataclass(frozen=True, slots=True, eq=False)
class SimpleSegments:
    """Per segment: whether it is simple, its cheapest stop from either end, and its gas [minor units]."""

    is_simple: Flags
    cost_minor: Ints
    gas_minor: Ints


def unobstructed_segments(index: SegmentGraph, barred: StopExclusions) -> Flags:
    """Return which segments carry no fitting, lie in no recorded keep-out area and are no valve.

    A valve needs room for its tappings on both sides: each is looked at by itself.
    """
    unobstructed = ~_with_fittings(index)
    valves = index.segment_of[index.network.pieces.valve >= 0]
    unobstructed[valves[valves >= 0]] = False
    if barred.recorded.shapes:
        mains = np.flatnonzero(index.segment_of >= 0)
        near = _near_areas(index, barred)[index.network.pieces.pipe[mains]]
        unobstructed[index.segment_of[mains[near]]] = False
    return unobstructed


def cost_simple_segments(
    index: SegmentGraph,
    rules: Rules,
    gas_minor_per_m3: float,
    unobstructed: Flags,
    refused: NDArray[np.uint8],
) -> SimpleSegments:
    """Return the costs of all simple segments from the codes that refuse methods by piece."""
    network = index.network
    pieces, pipes = network.pieces, network.pipes
    is_simple = unobstructed & (np.diff(index.segment_start) == 1)
    rows = index.segment_pieces[index.segment_start[:-1]][is_simple]
    pipe = pieces.pipe[rows]
    length = pieces.to_m[rows] - pieces.from_m[rows]
    area = 0.25 * np.pi * pipes.bore_m[pipe] ** 2
    codes = refused[rows]
    best = np.full(len(rows), INFINITE, dtype=np.int64)
    sizes, size = np.unique(pipes.od_m[pipe], return_inverse=True)
    surfaces, surface = np.unique(pipes.surface[pipe], return_inverse=True)
    for column, method in enumerate(rules.method):
        extent = [stop_extent(rules, method, float(od)) for od in sizes]
        prices = np.array(
            [[stop_price_minor(rules, method, float(od), int(code)) for code in surfaces] for od in sizes]
        )
        if not len(rows):
            continue
        price = prices.reshape(len(sizes), len(surfaces))[size, surface]
        low = np.maximum(0.0, -np.array([one.near_m for one in extent])[size])
        high = length - np.array([one.far_m for one in extent])[size]
        gas = np.rint(gas_minor_per_m3 * (area * low)).astype(np.int64)
        cost = np.where((codes[:, column] == 0) & (low <= high), price + gas, INFINITE)
        best = np.minimum(best, cost)
    costs = np.full(len(is_simple), INFINITE, dtype=np.int64)
    costs[is_simple] = best
    gas_all = np.rint(gas_minor_per_m3 * index.segment_volume_m3).astype(np.int64)
    return SimpleSegments(is_simple, costs, gas_all)


def _with_fittings(index: SegmentGraph) -> Flags:
    """Return which segments carry a fitting somewhere (ends included: those within a hair's breadth)."""
    pieces = index.network.pieces
    found = np.zeros(len(index.segment_a), dtype=np.bool_)
    if len(index.fitting_key):
        mains = np.flatnonzero(index.segment_of >= 0)
        base = index.pipe_base_m[pieces.pipe[mains]]
        first = np.searchsorted(index.fitting_key, base + pieces.from_m[mains] - 1e-6)
        last = np.searchsorted(index.fitting_key, base + pieces.to_m[mains] + 1e-6)
        found[index.segment_of[mains[last > first]]] = True
    return found


def _near_areas(index: SegmentGraph, barred: StopExclusions) -> Flags:
    """Return which pipes have a bounding box that meets a keep-out area's."""
    pipes = index.network.pipes
    start = pipes.coord_start[:-1]
    low = np.minimum.reduceat(pipes.coords_m, start, axis=0)
    high = np.maximum.reduceat(pipes.coords_m, start, axis=0)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    near = np.zeros(len(pipes), dtype=np.bool_)
    near[barred.recorded.tree.query(boxes)[0]] = True
    return near

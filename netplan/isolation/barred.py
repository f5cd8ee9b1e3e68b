"""Places barred to every stop: keep-out areas, and what the planner forbids."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.isolation.methods import Reach
from netplan.isolation.model import Orders, Stretch
from netplan.isolation.shapes import Block, Leg, Shape
from netplan.network.model import Network

__all__ = ["Barred", "barred_by"]


@dataclass(frozen=True, slots=True, eq=False)
class Barred:
    """Areas (shapely, working CRS) with their reasons, forbidden lengths by pipe, forbidden valves."""

    areas: tuple[Any, ...] = ()
    reasons: tuple[str, ...] = ()
    lengths: dict[int, tuple[Stretch, ...]] = field(default_factory=dict)
    valves: frozenset[int] = frozenset()
    tree: Any = None
    ordered_tree: Any = None
    """Of the areas by order alone: those of the network concern every question alike."""

    def blocks(self, network: Network, shape: Shape, reach: Reach) -> list[Block]:
        """Return what bars places of a shape, zone at its start."""
        blocks = []
        for leg in shape.legs:
            valve = int(network.pieces.valve[leg.piece])
            if valve in self.valves:
                blocks.append(
                    Block(
                        -1.0,
                        shape.length_m + 1.0,
                        "forbidden",
                        f"valve {network.valves.id[valve]} is forbidden by order",
                    )
                )
            for length in self.lengths.get(leg.pipe, ()):
                low, high = _along(leg, length.from_m, length.to_m)
                if high >= leg.start_m - 1e-9 and low <= leg.end_m + 1e-9:
                    blocks.append(
                        Block(
                            max(low, leg.start_m) - 1e-6,
                            min(high, leg.end_m) + 1e-6,
                            "forbidden",
                            "forbidden by order",
                        )
                    )
            for low, high, reason in self._areas_on(network, leg):
                blocks.append(
                    Block(
                        low - reach.most_m - 1e-6,
                        high - reach.least_m + 1e-6,
                        "keep-out",
                        f"keep out: {reason}",
                    )
                )
        return blocks

    def touches(self, network: Network, pieces: NDArray[np.int32]) -> bool:
        """Whether an order may concern any of some pieces of main."""
        pipes, valves = network.pieces.pipe[pieces], network.pieces.valve[pieces]
        if any(int(valve) in self.valves for valve in valves) or any(
            int(pipe) in self.lengths for pipe in pipes
        ):
            return True
        if self.ordered_tree is None:
            return False
        return any(len(self.ordered_tree.query(_box(network, int(pipe)))) for pipe in np.unique(pipes))

    def _near(self, network: Network, pipe: int) -> list[int]:
        """Return the areas whose bounding boxes meet that of a pipe."""
        return sorted(int(row) for row in self.tree.query(_box(network, pipe)))

    def _areas_on(self, network: Network, leg: Leg) -> list[tuple[float, float, str]]:
        if self.tree is None:
            return []
        pipes = network.pipes
        coords = pipes.coords_m[pipes.coord_start[leg.pipe] : pipes.coord_start[leg.pipe + 1]]
        found = []
        near = self._near(network, leg.pipe)
        line = shapely.linestrings(coords) if near else None
        for row in near:
            inside = shapely.intersection(line, self.areas[row])
            for part in shapely.get_parts(inside).tolist():
                ends = shapely.get_coordinates(part)
                if not len(ends):
                    continue
                at = shapely.line_locate_point(line, shapely.points(ends)) / network.scale
                low, high = _along(leg, float(at.min()), float(at.max()))
                if high >= leg.start_m - 5.0 and low <= leg.end_m + 5.0:
                    found.append((low, high, self.reasons[row]))
        return found


def _box(network: Network, pipe: int) -> Any:
    pipes = network.pipes
    coords = pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]]
    return shapely.box(*coords.min(axis=0), *coords.max(axis=0))


def _along(leg: Leg, from_m: float, to_m: float) -> tuple[float, float]:
    a, b = (leg.start_m + leg.sign * (at - leg.chainage_m) for at in (from_m, to_m))
    return (a, b) if a <= b else (b, a)


def barred_by(network: Network, orders: Orders) -> Barred:
    """Return what the network's keep-out areas and the planner's orders bar."""
    areas = (*network.keep_out.geometry.tolist(), *orders.keep_out)
    reasons = (*network.keep_out.reason, *("by order" for _ in orders.keep_out))
    lengths: dict[int, tuple[Stretch, ...]] = {}
    for length in orders.forbid:
        lengths[length.pipe] = (*lengths.get(length.pipe, ()), length)
    tree = shapely.STRtree(np.array(areas, dtype=object)) if areas else None
    ordered = shapely.STRtree(np.array(orders.keep_out, dtype=object)) if orders.keep_out else None
    return Barred(areas, reasons, lengths, frozenset(orders.forbid_valves), tree, ordered)

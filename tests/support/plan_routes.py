"""Routes of bypasses and the carriageways that they cross, by brute force: shares no code with the program."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.network.model import Network
from netplan.rules.rule_set import Rules
from tests.support.route_oracle import MITRE, SEAM_M, XY, shortest_path

__all__ = ["Route", "Routes", "crossings"]

MIDDLE_M: Final = 1.0
STEP_M: Final = 0.01
MAIN_HALF_WIDTH_M: Final = 2.0
ROUNDING_M: Final = 1e-6


@dataclass(frozen=True)
class Route:
    """Length of a route [m], its bends, and the carriageways that it crosses."""

    length_m: float
    xy: tuple[XY, ...]
    crossings: int


class Routes:
    """The ways between tees on one network, kept once known."""

    def __init__(self, network: Network, rules: Rules) -> None:
        self.rules, pipes, base = rules.bypass, network.pipes, network.base
        self.obstacles = [
            shape
            for layer in ("buildings", "water", "rail")
            if layer in base
            for shape in base[layer].geometry.tolist()
        ]
        self.water = base["water"].geometry.tolist() if "water" in base else []
        self.streets = base["streets"].geometry.tolist() if "streets" in base else []
        self.mains = [
            shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
            for row in range(pipes.n_mains)
        ]
        self._known: dict[Any, Route | None] = {}

    def way(self, start: XY, stop: XY) -> Route | None:
        """Return the shortest way within reach: along the streets where there are any, else over all ground."""
        pair = tuple(sorted((start, stop)))
        if pair not in self._known:
            self._known[pair] = self._found(pair[0], pair[1])
        return self._known[pair]

    def _found(self, start: XY, stop: XY) -> Route | None:
        most = self.rules.reach_m / self.rules.slack
        straight = shapely.LineString([start, stop])
        if straight.length > most + ROUNDING_M:
            return None
        near = [shape for shape in self.obstacles if shape.distance(straight) < most]
        wet = [shapely.buffer(shape, -SEAM_M, **MITRE) for shape in self.water]
        if any(shape.intersects(shapely.MultiPoint([start, stop])) for shape in wet):
            return None
        lines = [line for line in self.streets if line.distance(straight) < most]
        for streets in [self._street(straight, most), None] if lines else [None]:
            path = shortest_path(start, stop, near, streets)
            length = math.inf if path is None else sum(map(math.dist, path[1:], path[:-1]))
            if path is not None and length <= most + ROUNDING_M:
                return Route(length, tuple(path), crossings(path, lines))
        return None

    def _street(self, straight: Any, most: float) -> Any:
        wide = [shapely.buffer(line, self.rules.street_half_width_m, **MITRE) for line in self.streets]
        wide += [shapely.buffer(line, MAIN_HALF_WIDTH_M, **MITRE) for line in self.mains]
        return shapely.union_all([shape for shape in wide if shape.distance(straight) < most])


def crossings(path: list[XY], lines: list[Any]) -> int:
    """Return how often a path goes from one side of a centre line to the other, walking it step by step.

    It crosses where it comes into the middle of a street on one side and leaves it on the other, having met
    the line; those nearer than twice the half width of the middle to one before are the same.
    """
    route = shapely.LineString(path)
    at = np.arange(0.0, route.length + STEP_M, STEP_M).clip(max=route.length)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(route, at))
    joined = [] if not lines else list(shapely.get_parts(shapely.line_merge(shapely.union_all(lines))))
    found: list[float] = []
    for line in joined:
        came = met = before = math.nan
        for along, own in zip(at.tolist(), _beside(line, xy).tolist(), strict=True):
            if math.isnan(own):
                came = met = math.nan
            elif abs(own) > MIDDLE_M:
                if came * own < 0.0 and not math.isnan(met):
                    found.append(met)
                came, met = own, math.nan
            elif before * own <= 0.0 and math.isnan(met):
                met = along
            before = own
    gaps = np.diff(sorted(found), prepend=-math.inf)
    return int((gaps > 2.0 * MIDDLE_M).sum())


def _beside(line: Any, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far points lie to the left of a line [m]; NaN beyond its ends."""
    corners = shapely.get_coordinates(line)
    step = np.diff(corners, axis=0)
    size = np.hypot(*step.T)
    unit = step / size[:, None]
    off = xy[:, None, :] - corners[None, :-1, :]
    along = (off * unit).sum(axis=2)
    aside = unit[:, 0] * off[..., 1] - unit[:, 1] * off[..., 0]
    away = np.hypot(aside, np.maximum(np.maximum(-along, along - size), 0.0))
    nearest, rows = away.argmin(axis=1), np.arange(len(xy))
    beyond = ((nearest == 0) & (along[:, 0] < 0.0)) | ((nearest == len(size) - 1) & (along[:, -1] > size[-1]))
    return np.where(beyond, np.nan, np.copysign(away[rows, nearest], aside[rows, nearest]))

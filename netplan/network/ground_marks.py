"""What a crew can see or find near a place and tape from: building corners, junctions, street lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints
from netplan.network.model import Network

__all__ = ["TAPE_REACH_M", "GroundMark", "GroundMarks", "marks_near", "nearest_junction"]

TAPE_REACH_M: Final = 40.0
"""How far a crew tapes to a corner or a street line (own) [m]; to a junction twice as far."""
_CORNERS: Final = 2
_LEAST_ANGLE_DEG: Final = 35.0
_MET: Final = 3
"""Ends of mains from which on their node is a junction [-]."""


@dataclass(frozen=True, slots=True)
class GroundMark:
    """Something on the ground that a distance is taped from.

    Parameters
    ----------
    kind : str
        ``corner``, ``junction`` or ``street``.
    what : str
        What it is, in words.
    x_m, y_m : float
        Where it is [m].
    """

    kind: str
    what: str
    x_m: float
    y_m: float


class GroundMarks:
    """The marks of a whole network, found for one place at a time.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        self._network = network
        self._found: dict[tuple[float, float], tuple[GroundMark, ...]] = {}
        self._addresses: dict[tuple[float, float, float], str] = {}

    def near(self, x_m: float, y_m: float) -> tuple[GroundMark, ...]:
        """Return two building corners apart, the next junction of mains, the street's line.

        Parameters
        ----------
        x_m, y_m : float
            Place in the working CRS [m].
        """
        key = (x_m, y_m)
        if key not in self._found:
            at = np.array([x_m, y_m])
            node, xy = self._junctions
            rows = _near_by_x(self._junctions_by_x, xy[:, 0], x_m, 2 * TAPE_REACH_M)
            rows = rows[np.abs(xy[rows, 1] - y_m) <= 2 * TAPE_REACH_M]
            junction = nearest_junction(at, np.repeat(node[rows], _MET), np.repeat(xy[rows], _MET, axis=0))
            buildings, streets = (self._shapes(name, at) for name in ("buildings", "streets"))
            self._found[key] = marks_near(at, buildings, streets, junction)
        return self._found[key]

    def address_near(self, x_m: float, y_m: float, within_m: float) -> str:
        """Return the address of the nearest meter point within a distance [m]; empty where there is none.

        Parameters
        ----------
        x_m, y_m : float
            Place in the working CRS [m].
        within_m : float
            Greatest distance on the ground [m].
        """
        key = (x_m, y_m, within_m)
        if key not in self._addresses:
            customers, reach = self._network.customers, within_m * self._network.scale
            rows = _near_by_x(self._customers_by_x, customers.x_m, x_m, reach)
            rows = rows[np.abs(customers.y_m[rows] - y_m) <= reach]
            away = np.hypot(customers.x_m[rows] - x_m, customers.y_m[rows] - y_m)
            is_near = len(rows) > 0 and float(away.min()) <= reach
            self._addresses[key] = customers.address[int(rows[np.argmin(away)])] if is_near else ""
        return self._addresses[key]

    @cached_property
    def _junctions(self) -> tuple[Ints, Floats]:
        """Nodes where three mains or more meet, and their places."""
        network = self._network
        pieces, nodes = network.pieces, network.nodes
        rows = (pieces.pipe < network.pipes.n_mains) & (pieces.to_m > pieces.from_m)
        ends = np.concatenate([pieces.from_node[rows], pieces.to_node[rows]])
        met = np.flatnonzero(np.bincount(ends, minlength=len(nodes)) >= _MET)
        return met, np.column_stack([nodes.x_m[met], nodes.y_m[met]])

    @cached_property
    def _junctions_by_x(self) -> Ints:
        return np.argsort(self._junctions[1][:, 0], kind="stable")

    @cached_property
    def _customers_by_x(self) -> Ints:
        return np.argsort(self._network.customers.x_m, kind="stable")

    @cached_property
    def _boxes(self) -> dict[str, tuple[Any, Floats]]:
        """Shapes of the base map and their bounds."""
        held = {}
        for name in ("buildings", "streets"):
            if name in self._network.base:
                shapes = np.asarray(self._network.base[name].geometry.array, dtype=object)
                held[name] = (shapes, shapely.bounds(shapes))
        return held

    def _shapes(self, name: str, at: Floats) -> Any:
        """Return the shapes of a base map layer near a place."""
        if name not in self._boxes:
            return np.zeros(0, dtype=object)
        shapes, box = self._boxes[name]
        low, high = at - TAPE_REACH_M, at + TAPE_REACH_M
        near = (box[:, 0] <= high[0]) & (box[:, 1] <= high[1]) & (box[:, 2] >= low[0]) & (box[:, 3] >= low[1])
        return shapes[near]


def _near_by_x(order: Ints, x_m: Floats, at_m: float, reach_m: float) -> Ints:
    """Return the rows whose x lies within reach of a place [m], ascending; `order` sorts them by x."""
    low = np.searchsorted(x_m, at_m - reach_m, side="left", sorter=order)
    high = np.searchsorted(x_m, at_m + reach_m, side="right", sorter=order)
    rows: Ints = np.sort(order[low:high])
    return rows


def marks_near(at: Floats, buildings: Any, streets: Any, junction: Floats | None) -> tuple[GroundMark, ...]:
    """Return the marks round a place, in the order in which they are taped.

    Parameters
    ----------
    at : float array, shape (2,)
        The place [m].
    buildings, streets : arrays of shapely geometries
        Those near it; others do no harm.
    junction : float array, optional
        The next junction of mains, from `nearest_junction`.
    """
    found = [("corner", "building corner", corner) for corner in _corners(at, buildings)]
    if junction is not None:
        found.append(("junction", "junction of mains, as recorded", junction))
    found += [("street", what, place) for what, place in _street(at, streets)]
    return tuple(GroundMark(kind, what, float(place[0]), float(place[1])) for kind, what, place in found)


def nearest_junction(at: Floats, node: Any, xy: Any) -> Floats | None:
    """Return the nearest place where three ends of mains meet; None where there is none within reach.

    Parameters
    ----------
    at : float array, shape (2,)
        [m]
    node, xy : arrays, shape (n,) and (n, 2)
        Node and place of each end of the mains near it [m].
    """
    which, first, count = np.unique(node, return_index=True, return_counts=True)
    met = first[count >= _MET]
    if not len(met):
        return None
    places: Floats = np.asarray(xy, dtype=float)[met]
    distance = np.hypot(*(places - at).T)
    nearest = int(np.lexsort((which[count >= _MET], distance))[0])
    return places[nearest] if distance[nearest] <= 2 * TAPE_REACH_M else None


def _corners(at: Floats, buildings: Any) -> Sequence[Floats]:
    near = buildings[shapely.dwithin(buildings, shapely.Point(at), TAPE_REACH_M)]
    corners = shapely.get_coordinates(near)
    if not len(corners):
        return []
    distance = np.hypot(*(corners - at).T)
    order = np.lexsort((corners[:, 1], corners[:, 0], distance))
    chosen: list[Floats] = []
    for corner in corners[order]:
        if np.hypot(*(corner - at)) > TAPE_REACH_M or len(chosen) == _CORNERS:
            break
        if all(_angle(corner - at, other - at) >= _LEAST_ANGLE_DEG for other in chosen):
            chosen.append(corner)
    return chosen


def _angle(a: Floats, b: Floats) -> float:
    turn = np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
    # Corners on one line through the stop give a poor fix, opposite or not.
    return float(min(abs(turn), 180.0 - abs(turn)))


def _street(at: Floats, streets: Any) -> list[tuple[str, Floats]]:
    shapes = streets[shapely.dwithin(streets, shapely.Point(at), TAPE_REACH_M)]
    if not len(shapes):
        return []
    is_area = shapely.get_dimensions(shapes) == 2
    what = "kerb line, as mapped" if is_area.any() else "middle of the street, as mapped"
    lines = shapely.boundary(shapes[is_area]) if is_area.any() else shapes
    links = shapely.shortest_line(shapely.Point(at), lines)
    nearest = links[int(np.argmin(shapely.length(links)))]
    return [(what, shapely.get_coordinates(nearest)[-1])]

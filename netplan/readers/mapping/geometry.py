"""Geometries of source layers: put together, their heights in metres."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.network.flat import FlatShapes, Shapes, as_objects
from netplan.network.raw import OddShapes, RawLayer
from netplan.readers.mapping.units import unit_factor

__all__ = ["stacked_odd", "stacked_shapes", "with_height"]


def with_height(shapes: Shapes, unit: str) -> Shapes:
    """Return shapes with heights in metres, read in `unit`; without any where it is ``none``."""
    if unit == "none":
        if isinstance(shapes, FlatShapes):
            return FlatShapes(shapes.kind, np.ascontiguousarray(shapes.coords[:, :2]), shapes.start)
        return np.asarray(shapely.force_2d(shapes), dtype=object)
    times = unit_factor(unit, "m")
    if times == 1.0:
        return shapes
    if isinstance(shapes, FlatShapes):
        scale = np.array([1.0, 1.0, times])[: shapes.coords.shape[1]]
        return FlatShapes(shapes.kind, shapes.coords * scale, shapes.start)
    tall = np.asarray(shapely.has_z(shapes))
    if not tall.any():
        return shapes
    result = shapes.copy()
    result[tall] = shapely.transform(
        shapes[tall], lambda xyz: xyz * np.array([1.0, 1.0, times]), include_z=True
    )
    return result


def stacked_shapes(parts: list[Shapes]) -> Shapes:
    """Return shapes of several parts one after another."""
    flat = [part for part in parts if isinstance(part, FlatShapes)]
    alike = {(part.kind, part.coords.shape[1]) for part in flat}
    if len(flat) < len(parts) or len(alike) != 1:
        return np.concatenate([as_objects(part) for part in parts])
    start: list[NDArray[np.int64]] = [flat[0].start]
    for part in flat[1:]:
        start.append(part.start[1:] + start[-1][-1])
    return FlatShapes(flat[0].kind, np.concatenate([p.coords for p in flat]), np.concatenate(start))


def stacked_odd(parts: list[RawLayer]) -> OddShapes | None:
    """Return what was noticed about the geometries of several parts, one after another."""
    if all(part.odd is None for part in parts):
        return None
    plain = [
        part.odd or OddShapes(np.zeros(len(part), dtype=bool), np.full(len(part), "", dtype=object))
        for part in parts
    ]
    return OddShapes(
        np.concatenate([odd.straightened for odd in plain]), np.concatenate([odd.unread for odd in plain])
    )

"""Geometries from well-known binary, curved ones drawn with straight lines within a tolerance.

Geometries as in ISO/IEC 13249-3 (from memory): circular strings, compound curves, curve polygons and
collections of them. An arc goes through three points; one that ends where it begins is a circle whose middle
point lies opposite.
"""

from __future__ import annotations

import math
import struct
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from netplan.core.arrays import Floats
from netplan.network.raw_layers import LINE, POINT, FlatShapes, OddShapes, Shapes

__all__ = [
    "TOLERANCE_M",
    "UnknownShapeError",
    "has_curves",
    "kind_name",
    "shapes_of_wkb",
    "straightened",
    "tolerance_in",
]

TOLERANCE_M: Final = 1e-3
"""Greatest distance between an arc and the straight lines that stand for it (own) [m]."""

_EARTH_M: Final = 6_378_137.0
"""Equatorial radius (epsg) [m]: a degree is nowhere longer but by a thousandth."""
_MOST_POINTS: Final = 100_000
"""An arc that takes more vertices is none of a pipe or an area (own)."""
_MOST_DEEP: Final = 16
_WIDEST: Final = math.pi / 4
_Z, _M, _SRID = 0x80000000, 0x40000000, 0x20000000

(
    _POINT,
    _LINE,
    _POLYGON,
    _MULTIPOINT,
    _MULTILINE,
    _MULTIPOLYGON,
    _COLLECTION,
    _ARCS,
    _COMPOUND,
    _CURVE_POLYGON,
    _MULTICURVE,
    _MULTISURFACE,
) = range(1, 13)
_CURVED: Final = frozenset({_COLLECTION, _ARCS, _COMPOUND, _CURVE_POLYGON, _MULTICURVE, _MULTISURFACE})
_OTHER: Final = {13: "a curve", 14: "a surface", 15: "a polyhedral surface", 16: "a TIN", 17: "a triangle"}
_KINDS: Final = {
    1: (POINT, 2),
    2: (LINE, 2),
    1001: (POINT, 3),
    1002: (LINE, 3),
    0x80000001: (POINT, 3),
    0x80000002: (LINE, 3),
}
"""Type codes of points and lines in plan and with Z (ISO and extended): kind and coordinates a vertex."""
_POINT_HEAD, _LINE_HEAD = 5, 9


class UnknownShapeError(ValueError):
    """A geometry of a kind that is not read; the message says which, as in ``a TIN``."""


def has_curves(codes: NDArray[np.uint32]) -> NDArray[np.bool_]:
    """Return which type codes of well-known binary may hold arcs: shapely reads the others."""
    return np.isin((codes & 0x0FFFFFFF) % 1000, list(_CURVED))


def kind_name(code: int) -> str | None:
    """Return what a type code stands for where it is of a kind that is not read; None for all others."""
    kind = (code & 0x0FFFFFFF) % 1000
    return None if _POINT <= kind <= _MULTISURFACE else _OTHER.get(kind, f"of geometry type {kind}")


def tolerance_in(crs: CRS | None) -> float:
    """Return `TOLERANCE_M` in the unit of a system's coordinates; that of none is taken for metres."""
    factor = 0.0
    if crs is not None and crs.axis_info:
        factor = float(crs.axis_info[0].unit_conversion_factor)
    if not factor > 0:
        return TOLERANCE_M
    is_angle = crs is not None and crs.is_geographic
    return TOLERANCE_M / (factor * _EARTH_M if is_angle else factor)


def straightened(blob: bytes, tolerance: float) -> tuple[Any, bool]:
    """Return a geometry with straight lines for its arcs, and whether it had any.

    Parameters
    ----------
    blob : bytes
        Well-known binary, ISO or extended, of either byte order. Measures are dropped, heights kept.
    tolerance : float
        Greatest distance between arc and lines [unit of the coordinates].

    Raises
    ------
    UnknownShapeError
        When it holds a kind that is not read, or an arc that takes too many vertices.
    ValueError
        When it is broken; shapely's errors and struct's are possible too.
    """
    reader = _Reader(blob, tolerance)
    shape = reader.shape(0)
    return shape, reader.curved


class _Reader:
    """One geometry, read from its first byte to its last."""

    def __init__(self, blob: bytes, tolerance: float) -> None:
        self._blob, self._at, self._tolerance = blob, 0, tolerance
        self.curved = False

    def shape(self, depth: int) -> Any:
        """Return the geometry that begins here."""
        if depth > _MOST_DEEP:
            raise ValueError("nested too deep")
        order, kind, width, tall = self._head()
        if kind == _POINT:
            xyz = self._coords(1, order, width, tall)
            return shapely.Point() if np.isnan(xyz[0, :2]).any() else shapely.Point(xyz[0])
        if kind in (_LINE, _ARCS, _COMPOUND):
            return _line(self._path(order, kind, width, tall, depth))
        if kind in (_POLYGON, _CURVE_POLYGON):
            return self._polygon(order, kind, width, tall, depth)
        if kind > _MULTISURFACE or kind < _POINT:
            raise UnknownShapeError(kind_name(kind) or "unknown")
        parts = [self.shape(depth + 1) for _ in range(self._count(order))]
        return _gathered(kind, parts)

    def _polygon(self, order: str, kind: int, width: int, tall: bool, depth: int) -> Any:
        rings = []
        for _ in range(self._count(order)):
            if kind == _POLYGON:
                rings.append(self._coords(self._count(order), order, width, tall))
            else:
                rings.append(self._path(*self._head(), depth + 1))
        rings = [ring for ring in rings if len(ring)]
        return shapely.Polygon(rings[0], rings[1:]) if rings else shapely.Polygon()

    def _path(self, order: str, kind: int, width: int, tall: bool, depth: int) -> Floats:
        """Return the vertices of a line, a circular string or a compound curve whose head was read."""
        if depth > _MOST_DEEP:
            raise ValueError("nested too deep")
        count = self._count(order)
        if kind == _LINE:
            return self._coords(count, order, width, tall)
        if kind == _ARCS:
            self.curved = True
            return _through(self._coords(count, order, width, tall), self._tolerance)
        if kind != _COMPOUND:
            raise UnknownShapeError(kind_name(kind) or "a curve of other parts than lines and arcs")
        self.curved = True
        parts = [part for part in (self._path(*self._head(), depth + 1) for _ in range(count)) if len(part)]
        if not parts:
            return np.zeros((0, 2))
        # The next part begins with the vertex that the last one ended with.
        return np.concatenate(
            [parts[0], *(part[1:] if (part[0] == last[-1]).all() else part for last, part in pairwise(parts))]
        )

    def _head(self) -> tuple[str, int, int, bool]:
        """Return byte order, kind, numbers a vertex and whether the third is a height."""
        order = "<" if self._take(1)[0] == 1 else ">"
        code = self._count(order)
        if code & _SRID:
            self._take(4)
        base = code & 0x0FFFFFFF
        thousand = base // 1000
        tall = bool(code & _Z) or thousand in (1, 3)
        measured = bool(code & _M) or thousand in (2, 3)
        return order, base % 1000, 2 + tall + measured, tall

    def _count(self, order: str) -> int:
        return int(struct.unpack(f"{order}I", self._take(4))[0])

    def _coords(self, count: int, order: str, width: int, tall: bool) -> Floats:
        xyz = np.frombuffer(self._take(8 * count * width), dtype=f"{order}f8").reshape(count, width)
        return np.array(xyz[:, : 3 if tall else 2], dtype=np.float64)

    def _take(self, size: int) -> bytes:
        taken = self._blob[self._at : self._at + size]
        if len(taken) < size:
            raise ValueError("ends too early")
        self._at += size
        return taken


def _line(coords: Floats) -> Any:
    return shapely.LineString(coords) if len(coords) else shapely.LineString()


def _gathered(kind: int, parts: list[Any]) -> Any:
    if kind == _MULTIPOINT:
        return shapely.MultiPoint(parts)
    if kind in (_MULTILINE, _MULTICURVE):
        return shapely.MultiLineString(parts)
    if kind in (_MULTIPOLYGON, _MULTISURFACE):
        return shapely.MultiPolygon(parts)
    return shapely.GeometryCollection(parts)


def _through(given: Floats, tolerance: float) -> Floats:
    """Return the vertices of a circular string; the points given stay vertices."""
    if not len(given):
        return given
    if len(given) % 2 == 0 or len(given) < 3:
        raise ValueError("arcs need three points each")
    arcs = [_arc(given[row : row + 3], tolerance) for row in range(0, len(given) - 2, 2)]
    return np.concatenate([given[:1], *arcs])


def _arc(given: Floats, tolerance: float) -> Floats:
    """Return the vertices of an arc after its first one."""
    first, middle, last = given[:, :2] - given[0, :2]
    if not np.isfinite(given[:, :2]).all():
        return given[1:]
    if not last.any():
        centre, turn = middle / 2, 1.0
    else:
        area = float(middle[0] * last[1] - middle[1] * last[0])
        longest = max(float(middle @ middle), float(last @ last))
        if abs(area) <= 1e-12 * longest:
            return given[1:]  # on one straight line
        across = np.array([middle @ middle, last @ last])
        centre = np.array(
            [last[1] * across[0] - middle[1] * across[1], middle[0] * across[1] - last[0] * across[0]]
        ) / (2 * area)
        turn = math.copysign(1.0, area)
    radius = float(np.hypot(*centre))
    if radius == 0.0:
        return given[1:]
    angles = [math.atan2(*(point - centre)[::-1]) for point in (first, middle, last)]
    sweeps = [turn * ((turn * (to - at)) % math.tau) for at, to in pairwise(angles)]
    step = min(4 * math.asin(math.sqrt(min(tolerance / radius, 1.0) / 2)), _WIDEST)
    parts = []
    for row, (angle, sweep) in enumerate(zip(angles, sweeps, strict=False)):
        count = max(math.ceil(abs(sweep) / step), 1)
        if count > _MOST_POINTS:
            raise UnknownShapeError(f"an arc of more than {_MOST_POINTS:,} vertices")
        share = np.arange(1, count + 1) / count
        part = given[row] + share[:, None] * (given[row + 1] - given[row])  # heights
        at = angle + share * sweep
        part[:, :2] = given[0, :2] + centre + radius * np.column_stack([np.cos(at), np.sin(at)])
        part[-1] = given[row + 1]
        parts.append(part)
    return np.concatenate(parts)


def shapes_of_wkb(column: Any, crs: CRS | None) -> tuple[Shapes, OddShapes | None]:
    """Return geometries for an Arrow column of well-known binary, and what was odd about them.

    Where all features are points, or all are lines, their coordinates are read straight from the bytes. Arcs
    become straight lines within `TOLERANCE_M`. What cannot be read, or is of a kind that is not read,
    is None.

    Parameters
    ----------
    column : pyarrow.Array or pyarrow.ChunkedArray
    crs : pyproj.CRS or None
        Reference system of the coordinates, for the tolerance.
    """
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.nulls(0)
    if pa.types.is_null(array.type):
        return np.full(len(array), None, dtype=object), None
    flat = _flat(array)
    if flat is not None:
        return flat, None
    blobs = np.asarray(array.to_numpy(zero_copy_only=False), dtype=object)
    return _shapes(blobs, tolerance_in(crs))


def _shapes(blobs: NDArray[np.object_], tolerance: float) -> tuple[Shapes, OddShapes | None]:
    codes = np.fromiter(map(_code, blobs), dtype=np.uint32, count=len(blobs))
    by_hand = has_curves(codes)
    names = [kind_name(int(code)) for code in np.unique(codes)]
    shapes = np.full(len(blobs), None, dtype=object)
    shapes[~by_hand] = _by_shapely(blobs[~by_hand])
    if not by_hand.any() and not any(names):
        return shapes, None
    curved, unread = np.zeros(len(blobs), dtype=bool), np.full(len(blobs), "", dtype=object)
    for row in np.flatnonzero([kind_name(int(code)) is not None for code in codes]):
        unread[row] = kind_name(int(codes[row]))
    for row in np.flatnonzero(by_hand):
        try:
            shapes[row], curved[row] = straightened(blobs[row], tolerance)
        except UnknownShapeError as error:
            unread[row] = str(error)
        except (ValueError, struct.error, shapely.errors.ShapelyError):
            pass  # broken: as any other geometry that cannot be read
    return shapes, OddShapes(curved, unread) if curved.any() or unread.any() else None


def _by_shapely(blobs: NDArray[np.object_]) -> NDArray[np.object_]:
    try:
        return np.asarray(shapely.from_wkb(blobs, on_invalid="ignore"), dtype=object)
    except NotImplementedError:  # an arc inside a kind that holds none
        return np.asarray([_one_by_shapely(blob) for blob in blobs], dtype=object)


def _one_by_shapely(blob: bytes | None) -> Any:
    try:
        return shapely.from_wkb(blob, on_invalid="ignore")
    except NotImplementedError:
        return None


def _code(blob: bytes | None) -> int:
    """Return the type code at the head of a geometry; that of a point where there is none to read."""
    if blob is None or len(blob) < _POINT_HEAD:
        return 1
    return int.from_bytes(blob[1:5], "little" if blob[0] == 1 else "big")


def _flat(array: Any) -> FlatShapes | None:
    if not len(array) or array.null_count or not pa.types.is_binary(array.type):
        return None
    _, offset_bytes, data = array.buffers()
    offset = np.frombuffer(offset_bytes, dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    body = np.frombuffer(data, dtype=np.uint8)[offset[0] : offset[-1]]
    begin = (offset[:-1] - offset[0]).astype(np.int64)
    size = np.diff(offset).astype(np.int64)
    if size.min() < _LINE_HEAD or (body[begin] != 1).any():
        return None
    kinds = _words(body, begin + 1)
    if (kinds != kinds[0]).any() or int(kinds[0]) not in _KINDS:
        return None
    kind, width = _KINDS[int(kinds[0])]
    head = _POINT_HEAD if kind == POINT else _LINE_HEAD
    count = np.ones(len(begin), dtype=np.int64) if kind == POINT else _words(body, begin + 5).astype(np.int64)
    if (count < (1 if kind == POINT else 2)).any() or (size != head + count * 8 * width).any():
        return None
    keep = np.ones(len(body), dtype=bool)
    keep[(begin[:, None] + np.arange(head)).ravel()] = False
    coords = body[keep].view("<f8").reshape(-1, width)
    if kind == POINT and np.isnan(coords[:, :2]).any():
        return None  # how an empty point is written
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    return FlatShapes(kind, coords.astype(np.float64, copy=False), start)


def _words(body: NDArray[np.uint8], at: NDArray[np.int64]) -> NDArray[np.uint32]:
    return np.ascontiguousarray(body[at[:, None] + np.arange(4)]).view("<u4").ravel()

"""Layers of districts: put together, cut to what lies near another district, and kept as such strips."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from pyproj import CRS

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError, BadNetworkError
from netplan.network.contract import layer_specs
from netplan.network.projection import horizontal
from netplan.network.raw_layers import FlatShapes, RawLayer, RawLayers, Shapes, as_objects
from netplan.readers.sources.wkb_geometry import shapes_of_wkb

__all__ = [
    "NEAR_M",
    "as_if_whole",
    "box_of",
    "margin_in",
    "merged",
    "read_strip",
    "rows_in_box",
    "union_of_columns",
    "with_columns",
    "write_strip",
]

NEAR_M: Final = 60.0
"""What lies so near to a district is kept beside it (own): customers are joined within 50 m [m]."""
_METRES_A_DEGREE: Final = 110_000.0
"""Least length of a degree of latitude, rounded down (own) [m]."""
_SHAPE: Final = "netplan_geometry"


def boxes_of(shapes: Shapes) -> Floats:
    """Return least x and y, greatest x and y of each feature; NaN without a geometry."""
    if not isinstance(shapes, FlatShapes):
        return np.asarray(shapely.bounds(shapes), dtype=float).reshape(-1, 4)
    if not len(shapes):
        return np.zeros((0, 4))
    xy, first = shapes.coords[:, :2], shapes.start[:-1]
    return np.column_stack([np.minimum.reduceat(xy, first), np.maximum.reduceat(xy, first)])


def box_of(layers: Mapping[str, RawLayer]) -> Floats:
    """Return the box of all features of some layers in the CRS of the source; NaN without any."""
    boxes = [boxes_of(layer.geometry) for layer in layers.values() if len(layer)]
    every = np.concatenate([np.zeros((0, 4)), *boxes])
    every = every[np.isfinite(every).all(axis=1)]
    if not len(every):
        return np.full(4, np.nan)
    return np.concatenate([every[:, :2].min(axis=0), every[:, 2:].max(axis=0)])


def margin_in(crs: CRS, box: Floats, margin_m: float) -> Floats:
    """Return a length [m] in the units of a CRS, in x and in y, at least that of the ground within a box."""
    plan = horizontal(crs)
    if not plan.is_geographic:
        return np.full(2, margin_m / float(plan.axis_info[0].unit_conversion_factor))
    degrees = margin_m / _METRES_A_DEGREE
    most = math.radians(min(max(abs(float(box[1])), abs(float(box[3]))), 89.0))
    return np.array([degrees / math.cos(most), degrees])


def rows_in_box(layer: RawLayer, box: Floats, margin: Floats) -> Ints:
    """Return the rows whose boxes touch a box widened by a margin in x and y, in the CRS of the layer."""
    own = boxes_of(layer.geometry)
    near = (own[:, :2] <= box[2:] + margin).all(axis=1) & (own[:, 2:] >= box[:2] - margin).all(axis=1)
    return np.flatnonzero(near)


def merged(parts: Sequence[tuple[str, Mapping[str, RawLayer]]], source: str) -> RawLayers:
    """Put the layers of several districts together; a feature that several hold alike comes once.

    Raises
    ------
    BadNetworkError
        When two districts disagree in their CRS, in the kind of a column, or in a feature of one id.
    """
    names = [name for name in layer_specs() if any(name in layers for _, layers in parts)]
    return RawLayers(
        source,
        {
            name: _merged(name, [(where, layers[name]) for where, layers in parts if name in layers])
            for name in names
        },
    )


def _merged(name: str, parts: Sequence[tuple[str, RawLayer]]) -> RawLayer:
    held = [(where, layer) for where, layer in parts if len(layer)] or list(parts[:1])
    where, first = held[0]
    alike = [first.crs]
    for other, layer in held[1:]:
        if any(layer.crs is crs for crs in alike):
            continue  # comparing takes longer than many a strip
        alike.append(layer.crs)
        if not _same_crs(first.crs, layer.crs):
            raise BadNetworkError(
                f"layer {name}: districts {where} and {other} disagree in their coordinate reference system; "
                "reproject one of them"
            )
    if len(held) == 1:
        return first
    tables = [layer.columns for _, layer in held]
    try:
        columns = pa.concat_tables(tables, promote_options="permissive")
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        # Numbers here and text there: as text, which the contract reads as it would each of them.
        columns = pa.concat_tables([_as_text(table) for table in tables], promote_options="permissive")
    shapes = _joined_shapes([layer.geometry for _, layer in held])
    whole = RawLayer(name, columns, shapes, first.crs)
    count = [len(layer) for _, layer in held]
    return _once(whole, np.repeat(np.arange(len(held)), count), [place for place, _ in held])


def _same_crs(one: CRS | None, other: CRS | None) -> bool:
    if one is None or other is None or one is other:
        return one is other
    return bool(horizontal(one).equals(horizontal(other), ignore_axis_order=True))


def _as_text(table: Any) -> Any:
    return pa.table({name: table[name].cast(pa.string()) for name in table.column_names})


def _joined_shapes(given: Sequence[Shapes]) -> Shapes:
    flat = [shapes for shapes in given if isinstance(shapes, FlatShapes)]
    alike = len({(shapes.kind, shapes.coords.shape[1]) for shapes in flat}) == 1
    if len(flat) < len(given) or not alike:
        return np.concatenate([as_objects(shapes) for shapes in given])
    start, at = [np.zeros(1, np.int64)], 0
    for shapes in flat:
        start.append(shapes.start[1:] + at)
        at += int(shapes.start[-1])
    coords = np.concatenate([shapes.coords for shapes in flat])
    return FlatShapes(flat[0].kind, coords, np.concatenate(start))


def _once(layer: RawLayer, part: Ints, names: Sequence[str]) -> RawLayer:
    """Return a layer without the features that stand alike in an earlier part.

    Two parts of one district are strips of it beside two others: a feature is in both alike.

    Raises
    ------
    BadNetworkError
        When one id stands for different features of two districts.
    """
    district = np.unique(np.array(names), return_inverse=True)[1][part]
    codes = _codes(layer, is_kept_twice=len(set(names)) < len(names))
    order = np.lexsort([part, codes])
    same = (codes[order][1:] == codes[order][:-1]) & (codes[order][1:] >= 0)
    twice = np.flatnonzero(same & (part[order][1:] != part[order][:-1]))
    if not len(twice):
        return layer
    one, other = order[twice], order[twice + 1]
    for row, again in zip(one.tolist(), other.tolist(), strict=True):
        if district[row] != district[again] and not _alike(layer, row, again):
            ident = layer.columns["id"][row].as_py()
            raise BadNetworkError(
                f"layer {layer.name}: {ident} stands in districts {names[part[row]]} and "
                f"{names[part[again]]} with different records; keep one of them"
            )
    keep = np.ones(len(layer), dtype=bool)
    keep[other] = False
    return layer.take(np.flatnonzero(keep))


def _codes(layer: RawLayer, *, is_kept_twice: bool) -> Ints:
    """Return a number for each feature, the same for those that may be one; -1 where none can be."""
    if "id" in layer.columns.column_names:
        named = layer.columns["id"].combine_chunks().cast(pa.string()).dictionary_encode().indices
        return np.asarray(named.fill_null(-1).to_numpy(zero_copy_only=False)).astype(np.int64)
    if not is_kept_twice:
        return np.full(len(layer), -1, dtype=np.int64)
    # Without ids only strips are compared: a feature of one district beside two others.
    known: dict[object, int] = {}
    shapes = shapely.to_wkb(as_objects(layer.geometry))
    rows = zip(shapes, map(repr, layer.columns.to_pylist()), strict=True)
    return np.array([known.setdefault(row, len(known)) for row in rows], dtype=np.int64)


def _alike(layer: RawLayer, row: int, other: int) -> bool:
    two = layer.take(np.array([row, other]))
    shapes = as_objects(two.geometry)
    one, another = two.columns.to_pylist()
    return bool(one == another and shapely.to_wkb(shapes[0]) == shapely.to_wkb(shapes[1]))


def with_columns(raw: RawLayers, known: Mapping[str, Sequence[str]], crs: CRS | None) -> RawLayers:
    """Return layers with those, and with those columns, that any district of the source has; empty there."""
    layers = dict(raw.layers)
    for name, columns in known.items():
        if name not in layers:
            layers[name] = RawLayer(name, pa.table({}), np.zeros(0, dtype=object), crs)
        table, spec = layers[name].columns, layer_specs()[name]
        numbers = {column.name for column in spec.columns if column.kind == "number"}
        for column in columns:
            if column not in table.column_names:
                kind = pa.float64() if column in numbers else pa.string()
                table = table.append_column(column, pa.nulls(len(layers[name]), kind))
        layer = layers[name]
        layers[name] = RawLayer(name, table, layer.geometry, layer.crs, layer.odd)
    return RawLayers(raw.source, layers, raw.findings)


def union_of_columns(some: Iterable[Mapping[str, Sequence[str]]]) -> dict[str, list[str]]:
    """Return the columns that any of some districts has, by layer."""
    known: dict[str, dict[str, None]] = {}
    for layers in some:
        for layer, columns in layers.items():
            known.setdefault(layer, {}).update(dict.fromkeys(columns))
    return {layer: list(columns) for layer, columns in known.items()}


def as_if_whole(known: Mapping[str, list[str]], recorded: set[str], crs: CRS) -> RawLayers:
    """Return layers of one empty feature, with the columns that any district has."""
    layers = {}
    for name, columns in known.items():
        count = int(name in recorded)
        table = pa.table({column: pa.nulls(count, pa.string()) for column in columns})
        layers[name] = RawLayer(name, table, np.full(count, None, dtype=object), crs)
    return RawLayers("", layers)


def write_strip(folder: Path, name: str, layers: Mapping[str, RawLayer]) -> None:
    """Keep what of a district lies near another one; `name` is the number of the district."""
    folder.mkdir(parents=True, exist_ok=True)
    for layer in layers.values():
        shapes = pa.array(list(shapely.to_wkb(as_objects(layer.geometry))), type=pa.binary())
        table = layer.columns.append_column(_SHAPE, shapes)
        pq.write_table(table, folder / f"{name}.{layer.name}.parquet", compression="lz4")


def read_strip(folder: Path, names: Iterable[str], crs: CRS | None) -> dict[str, dict[str, RawLayer]]:
    """Read the strips of some districts that lie near one: layers by district.

    Raises
    ------
    BadInputError
        When one cannot be read.
    """
    found: dict[str, dict[str, RawLayer]] = {}
    for name in names:
        found[name] = {}
        for file in sorted(folder.glob(f"{name}.*.parquet")):
            layer = file.name.split(".")[1]
            try:
                table = pq.read_table(file)
            except (OSError, pa.ArrowException) as error:
                raise BadInputError(f"{file}: cannot be read; index the source again") from error
            shapes, _ = shapes_of_wkb(table[_SHAPE], crs)
            found[name][layer] = RawLayer(layer, table.drop_columns([_SHAPE]), shapes, crs)
    return found

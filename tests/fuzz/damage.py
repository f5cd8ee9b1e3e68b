"""Ways of damaging layers in memory: rows, columns, values, geometry, coordinate systems."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from tests.support.hamlet import HOSTILE

__all__ = ["WAYS", "damaged"]

Layers = dict[str, gpd.GeoDataFrame]
Rng = np.random.Generator
Way = Callable[[Layers, str, Rng], None]

TEXTS = (
    *HOSTILE,
    "",
    " ",
    "None",
    "nan",
    "NULL",
    "12,5",
    "1e400",
    "-1",
    "0x10",
    "a\x00b",
    "\x1b[2J\x1b[31mred",
    "line\nbreak\ttab\r",
    "M1;M2",
    "M1:2",
    "/etc/passwd",
    "../../x",
    "Größe",
    "\u0130stanbul",
    "\U0001f525",
    "e\u0301",
    "yes",
    "open",
    "PE80",
    "LP",
    "MP",
)
NUMBERS = (0.0, -0.0, -1.0, 1e-12, 0.5, 1.0, 17.0, 63.0, 1e3, 1e9, 1e300, -1e300, np.nan, np.inf, -np.inf)


def damaged(layers: Layers, rng: Rng) -> tuple[Layers, list[str]]:
    """Return a damaged copy of layers, and what was done to it."""
    copy = {name: frame.copy() for name, frame in layers.items()}
    done = []
    for _ in range(int(rng.choice([1, 1, 1, 2, 2, 3, 5]))):
        if not copy:
            break
        name = str(rng.choice(sorted(copy)))
        if rng.random() < 0.5 and "mains" in copy:
            name = "mains"
        way = WAYS[int(rng.integers(len(WAYS)))]
        done.append(f"{way.__name__} {name}")
        way(copy, name, rng)
    return copy, done


def _some(frame: gpd.GeoDataFrame, rng: Rng) -> Any:
    """Return the positions of one row, a few or all."""
    if not len(frame):
        return np.zeros(0, dtype=int)
    count = int(rng.choice([1, 1, 3, 10, len(frame)]))
    return rng.choice(len(frame), size=min(count, len(frame)), replace=False)


def _column(frame: gpd.GeoDataFrame, rng: Rng) -> str | None:
    names = [str(name) for name in frame.columns if name != frame.geometry.name]
    return str(rng.choice(names)) if names else None


def drop_rows(layers: Layers, name: str, rng: Rng) -> None:
    """Leave rows out."""
    layers[name] = (
        layers[name].drop(index=layers[name].index[_some(layers[name], rng)]).reset_index(drop=True)
    )


def repeat_rows(layers: Layers, name: str, rng: Rng) -> None:
    """Write rows twice, sometimes with ids of their own."""
    frame = layers[name]
    again = frame.iloc[_some(frame, rng)].copy()
    if rng.random() < 0.5 and "id" in again:
        again["id"] = [f"again-{k}" for k in range(len(again))]
    layers[name] = gpd.GeoDataFrame(pd.concat([frame, again], ignore_index=True), crs=frame.crs)


def shuffle_rows(layers: Layers, name: str, rng: Rng) -> None:
    """Write the rows in another order."""
    layers[name] = layers[name].iloc[rng.permutation(len(layers[name]))].reset_index(drop=True)


def drop_column(layers: Layers, name: str, rng: Rng) -> None:
    """Leave a column out."""
    column = _column(layers[name], rng)
    if column is not None:
        layers[name] = layers[name].drop(columns=column)


def swap_columns(layers: Layers, name: str, rng: Rng) -> None:
    """Write one column's values into another."""
    one, other = _column(layers[name], rng), _column(layers[name], rng)
    if one is not None and other is not None:
        layers[name] = layers[name].assign(**{one: layers[name][other], other: layers[name][one]})


def retype_column(layers: Layers, name: str, rng: Rng) -> None:
    """Give a column another type."""
    column = _column(layers[name], rng)
    if column is None:
        return
    values = layers[name][column]
    n = len(values)
    kinds: list[Callable[[], Any]] = [
        lambda: values.astype(str),
        lambda: pd.Categorical(values.astype(str)),
        lambda: pd.array([bool(k % 2) for k in range(n)], dtype="boolean"),
        lambda: pd.to_datetime(["2001-02-03"] * n),
        lambda: [str(v).encode() for v in values],
        lambda: [[1, 2]] * n,
        lambda: [{"a": 1}] * n,
        lambda: pd.array(np.arange(n), dtype="Int64"),
        lambda: [None] * n,
        lambda: np.arange(n, dtype=float),
        lambda: [v if k % 2 else k for k, v in enumerate(values)],
        lambda: np.full(n, 2**62),
        lambda: pd.to_timedelta(np.arange(n), unit="s"),
        lambda: np.full(n, "x" * 5000),
    ]
    layers[name] = layers[name].assign(**{column: kinds[int(rng.integers(len(kinds)))]()})


def set_values(layers: Layers, name: str, rng: Rng) -> None:
    """Write a wrong value into some rows of a column."""
    column = _column(layers[name], rng)
    if column is None:
        return
    frame = layers[name]
    values = list(frame[column])
    is_number = pd.api.types.is_numeric_dtype(frame[column])
    pool: tuple[Any, ...] = NUMBERS if is_number and rng.random() < 0.8 else TEXTS
    value = pool[int(rng.integers(len(pool)))]
    for row in _some(frame, rng):
        values[int(row)] = value
    layers[name] = frame.assign(**{column: values})


def scale_values(layers: Layers, name: str, rng: Rng) -> None:
    """Take a number for one in another unit."""
    frame = layers[name]
    names = [c for c in frame.columns if c != "geometry" and pd.api.types.is_numeric_dtype(frame[c])]
    if names:
        column = str(rng.choice(names))
        factor = float(rng.choice([0.001, 0.01, 0.0393701, 0.1, 10, 25.4, 1000, -1]))
        layers[name] = frame.assign(**{column: frame[column].astype(float) * factor})


def drop_layer(layers: Layers, name: str, rng: Rng) -> None:
    """Leave a layer out, or all its rows."""
    if rng.random() < 0.5:
        del layers[name]
    else:
        layers[name] = layers[name].iloc[:0]


def swap_layers(layers: Layers, name: str, rng: Rng) -> None:
    """Write one layer under the name of another."""
    other = str(rng.choice(sorted(layers)))
    layers[name], layers[other] = layers[other], layers[name]


def other_crs(layers: Layers, name: str, rng: Rng) -> None:
    """Take away, change or really change the coordinate reference system of one layer or all."""
    chosen = sorted(layers) if rng.random() < 0.5 else [name]
    code = [None, 4326, 3857, 25833, 2263, 4978, 27700, 5514, 32661][int(rng.integers(9))]
    really = rng.random() < 0.5
    for layer in chosen:
        frame = layers[layer]
        if code is None:
            layers[layer] = frame.set_crs(None, allow_override=True)
        elif really and frame.crs is not None:
            layers[layer] = frame.to_crs(code)
        else:
            layers[layer] = frame.set_crs(code, allow_override=True)


def move(layers: Layers, name: str, rng: Rng) -> None:
    """Move some features a little or far."""
    reach = float(rng.choice([1e-4, 0.03, 0.06, 0.4, 3.0, 50.0, 1e5, 1e12]))
    _reshape(layers, name, rng, lambda xy: xy + rng.normal(0, reach, (1, 2)))


def jitter(layers: Layers, name: str, rng: Rng) -> None:
    """Move each vertex for itself."""
    reach = float(rng.choice([1e-4, 0.01, 0.05, 0.5, 5.0]))
    _reshape(layers, name, rng, lambda xy: xy + rng.normal(0, reach, xy.shape))


def bad_coordinates(layers: Layers, name: str, rng: Rng) -> None:
    """Write numbers that are none, or absurd ones, into coordinates."""
    value = float(rng.choice([np.nan, np.inf, -np.inf, 0.0, 1e20, 1e300, -1e9]))
    axis = int(rng.integers(2))

    def change(xy: Any) -> Any:
        xy = xy.copy()
        xy[int(rng.integers(len(xy))) :, axis] = value
        return xy

    _reshape(layers, name, rng, change)


def turn_axes(layers: Layers, name: str, rng: Rng) -> None:
    """Swap east and north."""
    _reshape(layers, name, rng, lambda xy: xy[:, ::-1])


def squash(layers: Layers, name: str, rng: Rng) -> None:
    """Draw features to a point or to a tenth of a millimetre."""
    factor = float(rng.choice([0.0, 1e-6, 1e-3]))
    _reshape(layers, name, rng, lambda xy: xy[:1] + (xy - xy[:1]) * factor)


def heights(layers: Layers, name: str, rng: Rng) -> None:
    """Give features heights, odd ones among them."""
    height = float(rng.choice([0.0, 120.0, 1e9, -1e6, np.inf]))
    layers[name] = layers[name].set_geometry(shapely.force_3d(layers[name].geometry.to_numpy(), height))


def other_geometry(layers: Layers, name: str, rng: Rng) -> None:
    """Give features a geometry of another kind, or none."""
    kinds: list[Callable[[Any], Any]] = [
        lambda shape: None,
        lambda shape: shapely.LineString(),
        lambda shape: shape.centroid,
        lambda shape: shape.buffer(1.0),
        lambda shape: shapely.GeometryCollection([shape, shape.centroid]),
        lambda shape: shapely.MultiPoint(shapely.get_coordinates(shape)),
        lambda shape: shapely.MultiLineString([_line(shape), _line(shape.buffer(3.0).boundary)]),
        lambda shape: shapely.MultiLineString([_line(shape)]),
        lambda shape: shapely.LinearRing(shapely.get_coordinates(shape.buffer(2.0))),
        lambda shape: shapely.segmentize(_line(shape), 0.05) if _line(shape).length else _line(shape),
        lambda shape: shapely.reverse(_line(shape)),
        lambda shape: shapely.LineString([*_line(shape).coords, *_line(shape).coords[::-1]]),
        lambda shape: shapely.Point(),
        lambda shape: shapely.Polygon(),
    ]
    _replace(layers, name, rng, kinds[int(rng.integers(len(kinds)))])


def _line(shape: Any) -> Any:
    corners = shapely.get_coordinates(shape)
    return shapely.LineString(corners if len(corners) > 1 else np.vstack([corners, corners + 1.0]))


def _replace(layers: Layers, name: str, rng: Rng, change: Callable[[Any], Any]) -> None:
    frame = layers[name]
    shapes = frame.geometry.to_numpy().copy()
    for row in _some(frame, rng)[:200]:
        shape = shapes[int(row)]
        if shape is not None and not shape.is_empty and np.isfinite(shapely.get_coordinates(shape)).all():
            shapes[int(row)] = change(shape)
    layers[name] = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))


def _reshape(layers: Layers, name: str, rng: Rng, change: Callable[[Any], Any]) -> None:
    frame = layers[name]
    shapes = frame.geometry.to_numpy().copy()
    rows = [int(row) for row in _some(frame, rng) if shapes[int(row)] is not None]
    for row in rows:
        # A ring that no longer closes cannot even be made.
        with suppress(shapely.errors.GEOSException):
            if not shapes[row].is_empty:
                shapes[row] = shapely.transform(shapes[row], change)
    layers[name] = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))


WAYS: tuple[Way, ...] = (
    drop_rows,
    repeat_rows,
    shuffle_rows,
    drop_column,
    swap_columns,
    retype_column,
    set_values,
    set_values,
    set_values,
    set_values,
    scale_values,
    drop_layer,
    swap_layers,
    other_crs,
    move,
    jitter,
    bad_coordinates,
    turn_axes,
    squash,
    heights,
    other_geometry,
    other_geometry,
)

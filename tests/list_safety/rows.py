"""Changes of features: left out, swapped among each other, split into several layers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from tests.list_safety.exports import Export
from tests.list_safety.mutant import Change, Mutant, Rng, UnfitError, names_of, pick, set_column
from tests.list_safety.witnesses import hanging_on

__all__ = [
    "drop_feature",
    "drop_pair",
    "drop_rows_of_value",
    "repeat_feature",
    "split_layer",
    "swap_addresses",
    "swap_places",
    "swap_service_ids",
    "swap_values",
]

_DROPPED: Final = (
    "customers",
    "customers",
    "services",
    "mains",
    "valves",
    "regulators",
    "fittings",
    "keep_out",
)
_OF_VALUE: Final = (
    ("customers", "street"),
    ("customers", "category"),
    ("customers", "priority"),
    ("customers", "postcode"),
    ("mains", "street"),
    ("mains", "status"),
    ("mains", "system"),
    ("mains", "material"),
    ("services", "excess_flow_valve"),
    ("valves", "state"),
    ("services", "status"),
)
_SWAPPED: Final = (
    ("customers", "priority"),
    ("customers", "meters"),
    ("customers", "annual_kwh"),
    ("customers", "category"),
    ("mains", "status"),
    ("mains", "system"),
    ("mains", "od_mm"),
    ("mains", "id"),
    ("services", "status"),
    ("services", "id"),
    ("valves", "state"),
    ("valves", "id"),
    ("regulators", "outlet_mbar"),
)


def _ids(export: Export, layer: str, rows: Any) -> list[str]:
    key = "station_id" if layer == "sensing_points" else "id"
    if not export.has(layer, key):
        return []
    return [str(value) for value in export.values(layer, key).iloc[rows]]


def _without(export: Export, layer: str, rows: Any) -> Export:
    frame = export.frame(layer)
    return export.with_frame(layer, frame.drop(index=frame.index[rows]).reset_index(drop=True))


def _near_work(export: Export, layer: str, rng: Rng, work: Any) -> int:
    """Return a feature, of six drawn the one nearest the work, so that most changes touch the list."""
    frame = export.frame(layer)
    if not len(frame):
        raise UnfitError
    drawn = rng.integers(len(frame), size=6)
    gap = frame.geometry.iloc[drawn].distance(work).to_numpy()
    return int(drawn[int(np.argmin(gap))])


def drop_feature(export: Export, rng: Rng, work: Any) -> Mutant:
    """Leave one feature out."""
    layer = str(pick(rng, [name for name in _DROPPED if name in export.layer_of]))
    row = _near_work(export, layer, rng, work)
    ids = _ids(export, layer, [row])
    about = frozenset([*ids, *hanging_on(export, layer, row)])
    return Mutant(
        export,
        _without(export, layer, [row]),
        Change(
            "drop a feature",
            f"{layer} {ids[0] if ids else row}",
            frozenset([layer, "services", "customers", "mains", "sensing_points", "regulators"]),
            frozenset(ids),
            about,
            rows=(layer, row),
        ),
    )


def drop_pair(export: Export, rng: Rng, work: Any) -> Mutant:
    """Leave a customer and its service out together."""
    row = _near_work(export, "customers", rng, work)
    named = [s for s in str(export.values("customers", "service_id").iloc[row] or "").split(";") if s]
    services = np.flatnonzero(export.values("services", "id").astype(str).isin(named))
    if not len(services):
        raise UnfitError
    ids = _ids(export, "customers", [row])
    after = _without(_without(export, "customers", [row]), "services", services)
    return Mutant(
        export,
        after,
        Change(
            "drop a pair",
            f"customer {ids[0]} with {named}",
            frozenset(["customers", "services"]),
            frozenset([*ids, *named]),
            frozenset([*ids, *named]),
            rows=(row, tuple(services.tolist())),
        ),
    )


def drop_rows_of_value(export: Export, rng: Rng) -> Mutant:
    """Leave out all features that have one value of a column."""
    layer, column = pick(rng, [pair for pair in _OF_VALUE if export.has(*pair)])
    values = export.values(layer, column).fillna("").astype(str)
    kinds = [value for value in sorted(set(values)) if value and (values == value).sum() < len(values)]
    value = pick(rng, kinds)
    rows = np.flatnonzero(values == value)
    ids = _ids(export, layer, rows)
    hung = [name for row in rows[:200] for name in hanging_on(export, layer, int(row))]
    return Mutant(
        export,
        _without(export, layer, rows),
        Change(
            "drop all of a value",
            f"{len(rows)} {layer} of {column} {value!r}",
            frozenset([layer, "services", "customers", "mains"]),
            frozenset([*ids, value]),
            frozenset([*ids, *hung]),
            rows=(layer, tuple(rows.tolist())),
        ),
    )


def repeat_feature(export: Export, rng: Rng, work: Any) -> Mutant:
    """Write a feature twice, the second time under another id, moved a little."""
    layer = str(pick(rng, [name for name in ("customers", "services", "mains") if name in export.layer_of]))
    row = _near_work(export, layer, rng, work)
    frame = export.frame(layer)
    again = frame.iloc[[row]].copy()
    (old,) = _ids(export, layer, [row])
    again[export.column(layer, "id")] = f"{old}b"
    again = again.set_geometry(again.geometry.translate(float(rng.choice([0.0, 0.02, 0.8])), 0.0))
    after = export.with_frame(
        layer, gpd.GeoDataFrame(pd.concat([frame, again], ignore_index=True), crs=frame.crs)
    )
    about = frozenset([old, f"{old}b", *hanging_on(export, layer, row)])
    return Mutant(
        export,
        after,
        Change("repeat a feature", f"{layer} {old}", frozenset([layer, "services"]), frozenset([old]), about),
    )


def _two_customers(export: Export, rng: Rng, work: Any) -> tuple[int, int]:
    """Return a customer and one of its neighbours."""
    one = _near_work(export, "customers", rng, work)
    places = export.frame("customers").geometry
    gap = places.distance(places.iloc[one]).to_numpy()
    near = [int(k) for k in np.argsort(gap, kind="stable")[1 : 1 + int(rng.choice([1, 4, 15]))]]
    return one, int(pick(rng, near))


def _swapped(export: Export, layer: str, columns: tuple[str, ...], one: int, other: int) -> Export:
    for column in columns:
        if export.has(layer, column):
            values = list(export.values(layer, column))
            values[one], values[other] = values[other], values[one]
            export = set_column(export, layer, column, values)
    return export


def _pair(kind: str, export: Export, columns: tuple[str, ...], one: int, other: int) -> Mutant:
    after = _swapped(export, "customers", columns, one, other)
    ids = _ids(export, "customers", [one, other])
    services = [str(v) for v in export.values("customers", "service_id").iloc[[one, other]]]
    about = frozenset([*ids, *(s for text in services for s in text.split(";") if s)])
    return Mutant(
        export,
        after,
        Change(
            kind,
            f"customers {ids[0]} and {ids[1]}: {', '.join(columns)}",
            frozenset(["customers", "services"]),
            about,
            about,
            rows=(one, other),
        ),
    )


def swap_service_ids(export: Export, rng: Rng, work: Any) -> Mutant:
    """Swap the service ids of two neighbours."""
    return _pair("swap two service ids", export, ("service_id",), *_two_customers(export, rng, work))


def swap_addresses(export: Export, rng: Rng, work: Any) -> Mutant:
    """Swap the addresses of two customers: the line alone, or with street, number and postcode."""
    columns = ("address",) if rng.random() < 0.5 else ("address", "street", "number", "postcode")
    return _pair("swap two addresses", export, columns, *_two_customers(export, rng, work))


def swap_places(export: Export, rng: Rng, work: Any) -> Mutant:
    """Swap the places of two customers."""
    one, other = _two_customers(export, rng, work)
    mutant = _pair("swap two places", export, (), one, other)
    frame = export.frame("customers").copy()
    shapes = frame.geometry.to_numpy().copy()
    shapes[one], shapes[other] = shapes[other], shapes[one]
    frame = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    return replace(mutant, after=export.with_frame("customers", frame))


def swap_values(export: Export, rng: Rng, work: Any) -> Mutant:
    """Swap the values that two features have in one column."""
    layer, column = pick(rng, [pair for pair in _SWAPPED if export.has(*pair)])
    values = list(export.values(layer, column))
    one = _near_work(export, layer, rng, work)
    rest = [k for k, value in enumerate(values) if value != values[one]]
    other = int(pick(rng, rest))
    ids = _ids(export, layer, [one, other])
    hung = [*hanging_on(export, layer, one), *hanging_on(export, layer, other)]
    return Mutant(
        export,
        _swapped(export, layer, (column,), one, other),
        Change(
            "swap two values",
            f"{layer} {ids[0]} and {ids[1]}: {column} {values[one]} and {values[other]}",
            frozenset([layer, "services", "customers", "mains"]),
            frozenset(names_of(export, layer, column) - {layer, export.layer_of[layer]}),
            frozenset([*ids, *hung]),
            rows=(layer, column, one, other),
        ),
    )


def split_layer(export: Export, rng: Rng) -> Mutant:
    """Write a layer as two, as districts do."""
    layer = str(
        pick(rng, [name for name in ("customers", "mains", "services", "valves") if name in export.layer_of])
    )
    frame = export.frame(layer)
    if len(frame) < 2:
        raise UnfitError
    x = shapely_x(frame)
    first = x <= float(np.quantile(x, float(rng.choice([0.3, 0.5, 0.9]))))
    if first.all():
        raise UnfitError
    old = export.layer_of[layer]
    one, other = pick(
        rng,
        ((old, f"{old}_2"), (f"{old}_1", f"{old}_2"), (f"{old}_north", f"{old}_south"), (old, "district_b")),
    )
    frames = {name: some for name, some in export.frames.items() if name != old}
    frames[one] = frame[first].reset_index(drop=True)
    frames[other] = frame[~first].reset_index(drop=True)
    return Mutant(
        export,
        replace(export, frames=frames),
        Change(
            "split a layer",
            f"{old} as {one} and {other}",
            frozenset([layer]),
            frozenset([layer, one, other]),
            frozenset(_ids(export, layer, np.flatnonzero(~first))),
        ),
    )


def shapely_x(frame: gpd.GeoDataFrame) -> Any:
    """Return the east of the middle of each feature."""
    return frame.geometry.centroid.x.to_numpy()

"""Changes of geometry: features and layers shifted, other reference systems, other heights."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from tests.list_safety.exports import Export
from tests.list_safety.mutant import Change, Mutant, Rng, UnfitError, names_of, pick
from tests.list_safety.witnesses import hanging_on

__all__ = ["other_crs", "other_heights", "reverse_lines", "shift_feature", "shift_layer"]

_SHIFTS_M = (0.3, 0.3, 0.8, 2.0, 6.0, 15.0, 30.0)
_LAYERS = (
    "customers",
    "customers",
    "services",
    "services",
    "mains",
    "valves",
    "regulators",
    "sensing_points",
    "fittings",
)


def _by(rng: Rng, reach_m: float) -> tuple[float, float]:
    angle = float(rng.uniform(0, 2 * np.pi))
    return reach_m * float(np.cos(angle)), reach_m * float(np.sin(angle))


def shift_feature(export: Export, rng: Rng, work: Any) -> Mutant:
    """Move one feature."""
    layer = str(pick(rng, [name for name in _LAYERS if name in export.layer_of]))
    frame = export.frame(layer)
    if not len(frame):
        raise UnfitError
    drawn = rng.integers(len(frame), size=6)
    row = int(drawn[int(np.argmin(frame.geometry.iloc[drawn].distance(work).to_numpy()))])
    reach = float(pick(rng, _SHIFTS_M))
    dx, dy = _by(rng, reach)
    shapes = frame.geometry.to_numpy().copy()
    shapes[row] = shapely.transform(shapes[row], lambda xy: xy + np.array([dx, dy]))
    moved = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    after = export.with_frame(layer, moved)
    key = "station_id" if layer == "sensing_points" else "id"
    name = str(export.values(layer, key).iloc[row])
    about = frozenset([name, *hanging_on(export, layer, row), *hanging_on(after, layer, row)])
    layers = frozenset([layer, "services", "customers", "mains", "valves", "regulators"])
    return Mutant(
        export,
        after,
        Change(
            "shift a feature",
            f"{layer} {name} by {reach:g} m",
            layers,
            frozenset([name]),
            about,
            rows=(layer, row, reach),
        ),
    )


def shift_layer(export: Export, rng: Rng) -> Mutant:
    """Move all features of a layer alike."""
    layer = str(pick(rng, export.layer_of))
    reach = float(pick(rng, _SHIFTS_M))
    frame = export.frame(layer)
    moved = frame.set_geometry(frame.geometry.translate(*_by(rng, reach)))
    layers = frozenset([layer, "mains", "services", "customers", "regulators", "valves"])
    return Mutant(
        export,
        export.with_frame(layer, moved),
        Change(
            "shift a layer",
            f"{layer} by {reach:g} m",
            layers,
            frozenset(names_of(export, layer)),
            frozenset(_ids(export)),
            rows=(layer, reach),
        ),
    )


def other_crs(export: Export, rng: Rng) -> Mutant:
    """Write the coordinates in another reference system, or only its name: of one layer, or of all."""
    names = (
        set(export.layer_of.values())
        if rng.random() < 0.5
        else {export.layer_of[str(pick(rng, export.layer_of))]}
    )
    code = int(rng.choice([4326, 25833, 3857, 2263, 25832, 31468]))
    really = rng.random() < 0.5 or export.file_format == "geojson"
    frames = dict(export.frames)
    for name in names:
        frame = frames[name]
        frames[name] = frame.to_crs(code) if really else frame.set_crs(code, allow_override=True)
    layers = frozenset(layer for layer, name in export.layer_of.items() if name in names)
    words = f"{'in' if really else 'said to be in'} EPSG:{code}: {', '.join(sorted(names))}"
    about = frozenset({*names, *layers, "reference system", "crs", "CRS", "coordinates"})
    return Mutant(
        export,
        replace(export, frames=frames),
        Change("another CRS", words, layers, about, rows=(tuple(sorted(layers)), really, code)),
    )


def other_heights(export: Export, rng: Rng) -> Mutant:
    """Give pipes heights in feet, wrong ones, or none."""
    layer = str(pick(rng, ("mains", "services")))
    frame = export.frame(layer)
    how = str(pick(rng, ("in feet", "none", "zero", "a thousand times")))
    shapes = frame.geometry.to_numpy()
    if how == "none":
        changed = shapely.force_2d(shapes)
    else:
        factor = {"in feet": 1 / 0.3048, "zero": 0.0, "a thousand times": 1000.0}[how]
        flat = shapely.force_3d(shapes, 40.0)
        changed = shapely.transform(flat, lambda xyz: xyz * np.array([1.0, 1.0, factor]), include_z=True)
    after = export.with_frame(
        layer, frame.set_geometry(gpd.GeoSeries(changed, index=frame.index, crs=frame.crs))
    )
    about = frozenset([*names_of(export, layer), "height", "heights"])
    return Mutant(
        export,
        after,
        Change(
            "other heights",
            f"{layer} {how}",
            frozenset([layer]),
            about,
            frozenset(_ids(export)),
            rows=(layer, how),
        ),
    )


def reverse_lines(export: Export, rng: Rng) -> Mutant:
    """Draw services from the house to the main; the list must stay as it is."""
    frame = export.frame("services")
    turned = shapely.reverse(frame.geometry.to_numpy())
    rows = rng.random(len(frame)) < 0.5
    shapes = np.where(rows, turned, frame.geometry.to_numpy())
    after = export.with_frame(
        "services", frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    )
    return Mutant(
        export, after, Change("reverse services", f"{int(rows.sum())} services", frozenset(["services"]))
    )


def _ids(export: Export) -> list[str]:
    return [
        str(value)
        for layer in ("mains", "services", "customers", "valves", "regulators")
        if export.has(layer, "id")
        for value in export.values(layer, "id")
    ]

"""Towns cut into districts: every feature in the one that its middle lies in, as a partition does."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from netplan.readers import write_layers

__all__ = ["beside_each_other", "cut_into_districts", "district_of", "with_services_near"]

Layers = Mapping[str, gpd.GeoDataFrame]


def district_of(layers: Layers, across: int, up: int) -> dict[str, NDArray[np.str_]]:
    """Return the district of each feature by layer: a grid of rectangles over the mains, named by its cells."""
    low_x, low_y, high_x, high_y = layers["mains"].total_bounds
    wide, high = (high_x - low_x) / across, (high_y - low_y) / up

    def named(frame: gpd.GeoDataFrame) -> NDArray[np.str_]:
        box = frame.geometry.bounds
        x, y = (box["minx"] + box["maxx"]) / 2, (box["miny"] + box["maxy"]) / 2
        column = np.clip((x - low_x) // wide, 0, across - 1).astype(int)
        row = np.clip((y - low_y) // high, 0, up - 1).astype(int)
        return np.array([f"D{r}{c}" for r, c in zip(row, column, strict=True)])

    found = {name: named(frame) for name, frame in layers.items() if len(frame)}
    if "sensing_points" in found:
        # A control line is recorded with its station.
        station = dict(zip(layers["regulators"]["id"], found["regulators"], strict=True))
        own = zip(layers["sensing_points"]["station_id"], found["sensing_points"], strict=True)
        found["sensing_points"] = np.array([station.get(name, district) for name, district in own])
    return found


def cut_into_districts(layers: Layers, folder: Path, across: int = 2, up: int = 2) -> Path:
    """Write a folder of GeoParquet layers for each district that holds something."""
    of = district_of(layers, across, up)
    folder.mkdir(parents=True, exist_ok=True)
    for district in sorted({name for names in of.values() for name in names.tolist()}):
        held: dict[str, Any] = {
            name: frame[of[name] == district].reset_index(drop=True)
            for name, frame in layers.items()
            if name in of and (of[name] == district).any()
        }
        write_layers(held, folder / district)
    return folder


def with_services_near(layers: Layers, within_m: float = 50.0) -> dict[str, gpd.GeoDataFrame]:
    """Return layers whose customers name no service that ends far from them: a partition has to keep both."""
    found = dict(layers)
    end = dict(zip(layers["services"]["id"], layers["services"].geometry, strict=True))
    customers = layers["customers"].copy()
    customers["service_id"] = [
        ";".join(name for name in str(names).split(";") if end[name].distance(place) <= within_m)
        for names, place in zip(customers["service_id"], customers.geometry, strict=True)
    ]
    found["customers"] = customers
    return found


def beside_each_other(one: Layers, other: Layers, apart_m: float) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of two towns, the second so far to the east of the first, its ids with a B before."""
    east = one["mains"].total_bounds[2] - other["mains"].total_bounds[0] + apart_m
    found = dict(one)
    for name, frame in other.items():
        moved = frame.copy()
        moved["geometry"] = moved.geometry.translate(east, 0.0)
        for column in ("id", "station_id", "inlet_valve"):
            if column in moved:
                moved[column] = [
                    "B" + str(value) if isinstance(value, str) and value else value for value in moved[column]
                ]
        if "service_id" in moved:
            moved["service_id"] = [
                ";".join("B" + one for one in value.split(";")) if isinstance(value, str) and value else value
                for value in moved["service_id"]
            ]
        found[name] = _stacked([one[name], moved]) if name in one else moved
    return found


def _stacked(frames: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    columns = dict.fromkeys(column for frame in frames for column in frame.columns if column != "geometry")
    held = {
        column: [
            value
            for frame in frames
            for value in (frame[column].tolist() if column in frame else [None] * len(frame))
        ]
        for column in columns
    }
    shapes = [shape for frame in frames for shape in frame.geometry]
    return gpd.GeoDataFrame(held, geometry=shapes, crs=frames[0].crs)

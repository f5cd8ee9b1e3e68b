"""Stages as layers in the working CRS."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from netplan.core.constants import MM_PER_M
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.linear_reference import lines_between, points_at
from netplan.network.work_section import work_section
from netplan.staging import RenewalStage, Staging

__all__ = ["customer_words", "stage_layers", "stage_table"]


def stage_table(staging: Staging) -> pd.DataFrame:
    """Return one row a stage."""
    meters = staging.network.customers.meters
    rows = [
        {
            "stage": number,
            "from_m": round(stage.from_m, 3),
            "to_m": round(stage.to_m, 3),
            "length_m": round(stage.to_m - stage.from_m, 3),
            "work": "; ".join(f"{p.main_id}:{p.from_m:.3f}:{p.to_m:.3f}" for p in stage.parts),
            "stops": len(stage.cut.stops),
            "stops_shared_with_before": len(stage.shared),
            "customers_off": len(stage.off),
            "meters_off": int(meters[stage.off].sum()),
            "gas_volume_m3": round(stage.cut.gas_volume_m3, 3),
            "burden_alone": stage.burden_minor / MINOR_PER_UNIT,
            "shared": stage.shared_minor / MINOR_PER_UNIT,
            "burden": (stage.burden_minor - stage.shared_minor) / MINOR_PER_UNIT,
        }
        for number, stage in enumerate(staging.stages, 1)
    ]
    return pd.DataFrame(rows)


def stage_layers(staging: Staging) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers work, zones, stops and customers of all stages."""
    found: dict[str, list[Any]] = {"work": [], "zones": [], "stops": [], "customers": []}
    shapes: dict[str, list[Any]] = {name: [] for name in found}
    for number, stage in enumerate(staging.stages, 1):
        _add_lines(staging, number, stage, found, shapes)
        _add_points(staging, number, stage, found, shapes)
    return {
        name: gpd.GeoDataFrame(
            pd.DataFrame(rows), geometry=np.array(shapes[name], dtype=object), crs=staging.network.crs
        )
        for name, rows in found.items()
        if rows
    }


def _add_lines(
    staging: Staging,
    number: int,
    stage: RenewalStage,
    found: dict[str, list[Any]],
    shapes: dict[str, list[Any]],
) -> None:
    network = staging.network
    section = work_section(network, stage.parts)
    pieces = [part for zone in stage.cut.zones for part in zone.pieces if part.to_m > part.from_m]
    for name, rows in (
        (
            "work",
            list(zip(section.pipe.tolist(), section.from_m.tolist(), section.to_m.tolist(), strict=True)),
        ),
        ("zones", [(part.pipe, part.from_m, part.to_m) for part in pieces]),
    ):
        for pipe, low, high in rows:
            layer = "mains" if pipe < network.pipes.n_mains else "services"
            found[name].append(
                {
                    "stage": number,
                    "layer": layer,
                    "pipe_id": network.pipes.id[pipe],
                    "from_m": round(low, 3),
                    "to_m": round(high, 3),
                }
            )
        shapes[name] += list(
            lines_between(network, *(np.array(column) for column in zip(*rows, strict=True)))
        )


def _add_points(
    staging: Staging,
    number: int,
    stage: RenewalStage,
    found: dict[str, list[Any]],
    shapes: dict[str, list[Any]],
) -> None:
    network, stops = staging.network, stage.cut.stops
    at = points_at(network, np.array([s.pipe for s in stops]), np.array([s.chainage_m for s in stops]))
    for row, stop in enumerate(stops):
        found["stops"].append(
            {
                "stage": number,
                "main_id": network.pipes.id[stop.pipe],
                "chainage_m": round(stop.chainage_m, 3),
                "method": stop.method,
                "valve_id": network.valves.id[stop.valve] if stop.valve >= 0 else "",
                "od_mm": round(float(network.pipes.od_m[stop.pipe]) * MM_PER_M, 1),
                "made_before": row in stage.shared,
                "price": stop.price_minor / MINOR_PER_UNIT,
            }
        )
        shapes["stops"].append(shapely.Point(at[row]))
    for row in stage.off.tolist():
        found["customers"].append({"stage": number, **customer_words(staging, row)})
        customers = network.customers
        shapes["customers"].append(shapely.Point(customers.x_m[row], customers.y_m[row]))


def customer_words(staging: Staging, row: int) -> dict[str, Any]:
    """Return what is said of a customer that is off."""
    customers = staging.network.customers
    return {
        "customer_id": customers.id[row],
        "address": customers.address[row],
        "meters": int(customers.meters[row]),
    }

"""The folder of a renewal in stages: a table, layers, a map of every stage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from netplan.core.constants import MM_PER_M
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.linear_reference import lines_between, points_at
from netplan.network.work_section import work_section
from netplan.outputs.atomic_writes import Target, write_folder
from netplan.outputs.layers import write_layers
from netplan.outputs.map.stage_map import stage_map
from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.output_folders import check_stages_target
from netplan.staging import RenewalStage, Staging

__all__ = ["customer_attributes", "stage_layers", "stage_table", "write_stages_folder"]


FoundRows = dict[str, list[tuple[dict[str, Any], Any]]]
"""Attributes and shape of each row found, by layer."""


def write_stages_folder(
    staging: Staging,
    out: Path,
    *,
    overwrite: bool = False,
    target: Target | None = None,
    units: Figures = METRIC,
) -> Path:
    """Write the table, the layers and a map of every stage into one folder.

    `target` is what `check_stages_target` returned before the stages were computed; `units` are those of the
    maps, table and layers stay metric.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written.
    """
    place = target or check_stages_target(out, overwrite=overwrite)
    layers = stage_layers(staging)
    table = stage_table(staging)
    table["work"] = [spreadsheet_safe(text) for text in table["work"]]

    def make(part: Path) -> None:
        table.to_csv(part / "stages.csv", index=False, encoding="utf-8-sig", lineterminator="\r\n")
        write_layers(layers, part / "stages.gpkg")
        for number in range(1, len(staging.stages) + 1):
            text = stage_map(staging, layers, number, units=units)
            (part / f"stage-{number}.html").write_text(text, encoding="utf-8")

    return write_folder(place, make)


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
    found: FoundRows = {"work": [], "zones": [], "stops": [], "customers": []}
    for number, stage in enumerate(staging.stages, 1):
        _add_lines(staging, number, stage, found)
        _add_points(staging, number, stage, found)
    return {
        name: gpd.GeoDataFrame(
            pd.DataFrame([row for row, _ in rows]),
            geometry=np.array([shape for _, shape in rows], dtype=object),
            crs=staging.network.crs,
        )
        for name, rows in found.items()
        if rows
    }


def _add_lines(staging: Staging, number: int, stage: RenewalStage, found: FoundRows) -> None:
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
        lines = lines_between(network, *(np.array(column) for column in zip(*rows, strict=True)))
        for (pipe, low, high), line in zip(rows, lines, strict=True):
            attributes = {
                "stage": number,
                "layer": "mains" if pipe < network.pipes.n_mains else "services",
                "pipe_id": network.pipes.id[pipe],
                "from_m": round(low, 3),
                "to_m": round(high, 3),
            }
            found[name].append((attributes, line))


def _add_points(staging: Staging, number: int, stage: RenewalStage, found: FoundRows) -> None:
    network, stops = staging.network, stage.cut.stops
    at = points_at(network, np.array([s.pipe for s in stops]), np.array([s.chainage_m for s in stops]))
    for row, stop in enumerate(stops):
        attributes = {
            "stage": number,
            "main_id": network.pipes.id[stop.pipe],
            "chainage_m": round(stop.chainage_m, 3),
            "method": stop.method,
            "valve_id": network.valves.id[stop.valve] if stop.valve >= 0 else "",
            "od_mm": round(float(network.pipes.od_m[stop.pipe]) * MM_PER_M, 1),
            "made_before": row in stage.shared,
            "price": stop.price_minor / MINOR_PER_UNIT,
        }
        found["stops"].append((attributes, shapely.Point(at[row])))
    customers = network.customers
    for row in stage.off.tolist():
        place = shapely.Point(customers.x_m[row], customers.y_m[row])
        found["customers"].append(({"stage": number, **customer_attributes(staging, row)}, place))


def customer_attributes(staging: Staging, row: int) -> dict[str, Any]:
    """Return what is said of a customer that is off."""
    customers = staging.network.customers
    return {
        "customer_id": customers.id[row],
        "address": customers.address[row],
        "meters": int(customers.meters[row]),
    }

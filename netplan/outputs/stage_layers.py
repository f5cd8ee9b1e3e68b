"""The layers of a renewal in stages: work, zones, stops, bypasses and customers off, each with its stage."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from netplan.network.linear_reference import PipeLines
from netplan.outputs.layers.layers_of_plan import option_layers, work_rows
from netplan.outputs.layers.pipe_places import PipePlaces
from netplan.staging import RenewalStage, Staging

__all__ = ["stage_layers"]


def stage_layers(staging: Staging) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of the option that each stage takes; a layer without rows is left out.

    Parameters
    ----------
    staging : Staging

    Returns
    -------
    dict of str to GeoDataFrame
        ``work, zones, stops, bypasses, customers``, each with the number of the stage in ``stage``; of
        stops, ``before_id`` is the stop of the stage before in whose place it is, and ``new_pipe_of_stage``
        the earlier stage that has renewed the main there, 0 for none.
    """
    places = PipePlaces(staging.network, PipeLines.of(staging.network))
    found: dict[str, list[gpd.GeoDataFrame]] = {}
    for number, stage in enumerate(staging.stages, 1):
        for name, rows in _layers_of(staging, stage, places).items():
            if len(rows):
                found.setdefault(name, []).append(rows.assign(stage=number))
    return {
        name: gpd.GeoDataFrame(
            pd.concat(parts, ignore_index=True), geometry="geometry", crs=staging.network.crs
        )
        for name, parts in found.items()
    }


def _layers_of(staging: Staging, stage: RenewalStage, places: PipePlaces) -> dict[str, gpd.GeoDataFrame]:
    option = stage.option
    layers = option_layers(option, places)
    before = {one.stop_id: one.before_id for one in stage.sharing.stops}
    stops = layers["stops"]
    stops["before_id"] = [before.get(name, "") for name in stops["stop_id"]]
    stops["new_pipe_of_stage"] = [stage.in_new_pipe.get(name, 0) for name in stops["stop_id"]]
    return {
        "work": work_rows(stage.result.plan, places),
        "zones": layers["zones"],
        "stops": stops,
        "bypasses": places.frame(
            ("option", "bypass_id", "kind", "bore_mm", "parallel", "length_m"),
            (
                (
                    *(option.rank, one.id, one.kind, one.bore_mm, one.parallel, one.length_m),
                    shapely.LineString(one.course),
                )
                for one in option.bypasses
            ),
        ),
        "customers": _customers_off(staging, stage, places),
    }


def _customers_off(staging: Staging, stage: RenewalStage, places: PipePlaces) -> gpd.GeoDataFrame:
    customers = staging.network.customers
    rows: list[tuple[Any, ...]] = []
    for one in stage.option.customers:
        if one.effect == "off":
            row = customers.id.find(one.id)
            rows.append(
                (one.id, one.address, one.meters, shapely.Point(customers.x_m[row], customers.y_m[row]))
            )
    return places.frame(("customer_id", "address", "meters"), rows)

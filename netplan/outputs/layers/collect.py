"""All layers of a plan in one dictionary."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from netplan.network.pipe_lines import PipeLines
from netplan.outputs.layers.base import base_rows, condition_rows
from netplan.outputs.layers.works import Places, work_rows, works_of
from netplan.planfile import write_state
from netplan.planfile.plan_result import PlanResult
from netplan.planning.option_records.state_extent import extent_of

__all__ = ["plan_layers"]


def plan_layers(result: PlanResult) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of plan.gpkg, in the network's working CRS.

    Layers of an option carry its rank in `option`. A network below 50,000 pieces is drawn whole for each
    option; of a larger one, the surroundings of the work, and `conditions` says so.

    Parameters
    ----------
    result : PlanResult
        A plan with the network it is for and each option's solved state.

    Returns
    -------
    dict of str to GeoDataFrame
        ``work, stops, tappings, zones, bypasses, customers, pipes, nodes, stations, gauges, purge_points,
        fallback, in_doubt, refused``, the recorded ones of ``streets, buildings, water, rail``, and
        ``conditions``, which has no geometry. Pressures [mbar gauge], flows [m³/h at 15 °C, 101.325 kPa],
        lengths [m].
    """
    network, plan = result.network, result.plan
    lines = PipeLines.of(network)
    places = Places(network, lines)
    of_options: dict[str, list[gpd.GeoDataFrame]] = {}
    for option, state in zip(plan.options, result.states, strict=True):
        written = write_state(state, network.crs)
        left_out = written.pop("conditions")  # of every option the same
        for name, rows in (works_of(option, places) | written).items():
            of_options.setdefault(name, []).append(rows)
    layers = {"work": work_rows(plan, places)}
    layers |= {name: _stack(parts) for name, parts in of_options.items()}
    layers |= base_rows(network, extent_of(network, lines, plan.work, plan.options))
    layers["conditions"] = pd.concat([condition_rows(plan), left_out], ignore_index=True)
    return layers


def _stack(parts: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    filled = [part for part in parts if len(part)]
    if not filled:
        return parts[0]
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=parts[0].crs)

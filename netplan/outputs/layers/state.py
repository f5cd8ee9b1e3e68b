"""Layers of a solved state: pipes, nodes, stations, customers and bypasses of one option."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from netplan.demand import customer_pressure
from netplan.network.model import Network
from netplan.network.words import Category, Layer
from netplan.outputs.layers.cuts import PipeLines
from netplan.outputs.layers.extent import Extent
from netplan.plan.model import Option
from netplan.plan.result import FlowPicture, PieceState

__all__ = ["OTHER_SYSTEM", "bypass_rows", "customer_rows", "node_rows", "pipe_rows", "station_rows"]

_MM_PER_M = 1000.0
_PA_PER_MBAR = 100.0
_SECONDS_PER_HOUR = 3600.0
_STATES = np.array([state.word for state in PieceState], dtype=object)
OTHER_SYSTEM = "other system"
"""State of a pipe of another pressure system in the same street: not solved, not touched by the work."""
_LAYERS = np.array([layer.word for layer in Layer], dtype=object)
_CATEGORIES = np.array(Category.words(), dtype=object)


def pipe_rows(
    network: Network, lines: PipeLines, option: int, picture: FlowPicture, extent: Extent
) -> gpd.GeoDataFrame:
    """Return the drawn pieces of pipe with their state and flow."""
    rows = np.flatnonzero(extent.pieces(picture))
    pipe = picture.pipe[rows].astype(np.int64)
    valve = picture.valve[rows]
    has_valve = np.flatnonzero(valve >= 0)
    valve_id = np.full(len(rows), None, dtype=object)
    valve_id[has_valve] = network.valves.id.take(valve[has_valve]).numpy()
    columns = {
        "option": np.full(len(rows), option, np.int32),
        "layer": _LAYERS[(pipe >= network.pipes.n_mains).astype(int)],
        "pipe_id": network.pipes.id.take(pipe).numpy(),
        "from_m": picture.from_m[rows],
        "to_m": picture.to_m[rows],
        "state": np.where(extent.own[pipe], _STATES[picture.state[rows]], OTHER_SYSTEM),
        "system": np.array(network.systems, dtype=object)[network.pipes.system[pipe]],
        "valve_id": valve_id,
        "bore_mm": picture.bore_m[rows] * _MM_PER_M,
        "roughness_mm": picture.roughness_m[rows] * _MM_PER_M,
        "loss_coefficient": picture.loss_coefficient[rows],
        "length_m": picture.length_m[rows],
        "from_node": picture.from_node[rows],
        "to_node": picture.to_node[rows],
        "flow_m3h": picture.flow_m3h[rows],
        "pressure_from_mbar": picture.node_pressure_mbar[picture.from_node[rows]],
        "pressure_to_mbar": picture.node_pressure_mbar[picture.to_node[rows]],
        "od_mm": network.pipes.od_m[pipe] * _MM_PER_M,
        "street": network.pipes.street.take(pipe).numpy(),
        "record_date": network.pipes.record_date.take(pipe).numpy(),
    }
    geometry = lines.parts(pipe, picture.from_m[rows], picture.to_m[rows])
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=network.crs)


def node_rows(
    network: Network, option: int, picture: FlowPicture, drawn: NDArray[np.bool_]
) -> gpd.GeoDataFrame:
    """Return the nodes that drawn pieces and bypasses end at."""
    links = drawn | (picture.pipe < 0)
    node = np.unique(np.concatenate([picture.from_node[links], picture.to_node[links]]))
    columns = {
        "option": np.full(len(node), option, np.int32),
        "node": node,
        "height_m": picture.node_height_m[node],
        "demand_m3h": picture.node_demand_m3h[node],
        "pressure_mbar": picture.node_pressure_mbar[node],
        "pressure_before_mbar": np.full(len(node), np.nan)
        if picture.node_before_mbar is None
        else picture.node_before_mbar[node],
    }
    points = shapely.points(picture.node_x_m[node], picture.node_y_m[node])
    return gpd.GeoDataFrame(columns, geometry=points, crs=network.crs)


def station_rows(network: Network, option: int, picture: FlowPicture) -> gpd.GeoDataFrame:
    """Return the regulator stations that lie on a main, with what they give."""
    stations = network.stations
    rows = np.flatnonzero(stations.node >= 0)
    node = stations.node[rows]
    columns = {
        "option": np.full(len(rows), option, np.int32),
        "station_id": stations.id.take(rows).numpy(),
        "node": node,
        "outlet_mbar": stations.outlet_pa_gauge[rows] / _PA_PER_MBAR,
        "max_outlet_mbar": stations.max_outlet_pa_gauge[rows] / _PA_PER_MBAR,
        "capacity_m3h": stations.capacity_m3_per_s_std[rows] * _SECONDS_PER_HOUR,
        "flow_m3h": picture.station_flow_m3h,
        "sensing_node": stations.sensing_node[rows],
    }
    points = shapely.points(picture.node_x_m[node], picture.node_y_m[node])
    return gpd.GeoDataFrame(columns, geometry=points, crs=network.crs)


def bypass_rows(network: Network, option: Option, picture: FlowPicture) -> gpd.GeoDataFrame:
    """Return the bypasses as links of the state; parallel lines are one row with their number."""
    rows = np.flatnonzero(picture.pipe < 0)
    ids = [picture.link_id[row] for row in rows]
    records = []
    for bypass in option.bypasses:
        own = [row for row, id_ in zip(rows, ids, strict=True) if id_ == bypass.id]
        ends = [(bypass.from_.x, bypass.from_.y), (bypass.to.x, bypass.to.y)]
        first = own[0] if own else None
        records.append(
            {
                "option": option.rank,
                "bypass_id": bypass.id,
                "kind": bypass.kind,
                "from_main": bypass.from_.main_id,
                "from_chainage_m": bypass.from_.chainage_m,
                "to_main": bypass.to.main_id,
                "to_chainage_m": bypass.to.chainage_m,
                "from_node": -1 if first is None else int(picture.from_node[first]),
                "to_node": -1 if first is None else int(picture.to_node[first]),
                "length_m": bypass.length_m,
                "bore_mm": bypass.bore_mm,
                "parallel": bypass.parallel,
                "roughness_mm": np.nan if first is None else float(picture.roughness_m[first]) * _MM_PER_M,
                "loss_coefficient": bypass.loss_coefficient,
                "flow_m3h": bypass.flow_m3h,
                "drop_mbar": bypass.drop_mbar,
                "velocity_m_s": bypass.velocity_m_s,
                "pressure_from_mbar": bypass.pressure_from_mbar,
                "pressure_to_mbar": bypass.pressure_to_mbar,
                "minimum_air_temp_c": _float(bypass.minimum_air_temp_c),
                "geometry": shapely.LineString(ends),
            }
        )
    return _frame(records, _BYPASS_COLUMNS, network.crs)


_BYPASS_COLUMNS = (
    *("option", "bypass_id", "kind", "from_main", "from_chainage_m", "to_main", "to_chainage_m", "from_node"),
    *(
        "to_node",
        "length_m",
        "bore_mm",
        "parallel",
        "roughness_mm",
        "loss_coefficient",
        "flow_m3h",
        "drop_mbar",
    ),
    *("velocity_m_s", "pressure_from_mbar", "pressure_to_mbar", "minimum_air_temp_c"),
)


def _float(value: float | None) -> float:
    return float("nan") if value is None else value


def _frame(records: list[dict[str, object]], columns: tuple[str, ...], crs: str) -> gpd.GeoDataFrame:
    if records:
        return gpd.GeoDataFrame(records, geometry="geometry", crs=crs)
    return gpd.GeoDataFrame({name: [] for name in columns}, geometry=[], crs=crs)


def customer_rows(network: Network, option: Option, picture: FlowPicture, extent: Extent) -> gpd.GeoDataFrame:
    """Return the customers with what happens to them; `effect` is missing where nothing does.

    Customers that stand by for a fallback are marked in `standby`. The priority note is left out on purpose.
    What demand rests on (`annual_kwh`, `peak_kw`, `meters`, `part`, every node drawn from in `nodes`) is
    there so that a bypass can be sized for other weather from the file alone.
    """
    customers = network.customers
    affected = {row.id: row for row in option.customers}
    standby = set(option.standby)
    rows = _customers_drawn(network, extent, affected.keys() | standby)
    ids = customers.id.take(rows).numpy()
    touched = [affected.get(id_) for id_ in ids]
    columns: dict[str, object] = {
        "option": np.full(len(rows), option.rank, np.int32),
        "customer_id": ids,
        "effect": [None if row is None else row.effect for row in touched],
        "cause": [None if row is None else row.cause for row in touched],
        "kept_by": [None if row is None else row.kept_by for row in touched],
        "standby": np.array([id_ in standby for id_ in ids], dtype=bool),
        "address": customers.address.take(rows).numpy(),
        "street": customers.street.take(rows).numpy(),
        "number": customers.number.take(rows).numpy(),
        "postcode": customers.postcode.take(rows).numpy(),
        "category": _CATEGORIES[customers.category[rows]],
        "priority": customers.priority.take(rows).numpy(),
        "language": customers.language.take(rows).numpy(),
        "meters": customers.meters[rows],
        "demand_m3h": picture.customer_demand_m3h[rows],
        "pressure_mbar": picture.customer_pressure_mbar[rows],
        "node": picture.customer_node[rows],
        "annual_kwh": customers.annual_kwh[rows],
        "peak_kw": customers.peak_kw[rows],
    } | _fed_by(network, picture, rows)
    points = shapely.points(customers.x_m[rows], customers.y_m[rows])
    return gpd.GeoDataFrame(pd.DataFrame(columns), geometry=points, crs=network.crs)


def _fed_by(network: Network, picture: FlowPicture, rows: NDArray[np.int64]) -> dict[str, object]:
    """Return part, nodes drawn from, and pressure before any stop; none if not known."""
    before, in_zone, part = picture.node_before_mbar, picture.node_in_zone, picture.customer_part
    if before is None or in_zone is None or part is None:
        return {}
    customers = network.customers
    has_gas = ~in_zone & ~np.isnan(before)
    start, at = customers.attach_start, customers.attach_node
    drawn_from = [at[start[row] : start[row + 1]] for row in rows.tolist()]
    return {
        "part": part[rows],
        "nodes": [";".join(str(n) for n in some[has_gas[some]].tolist()) for some in drawn_from],
        "pressure_before_mbar": customer_pressure(customers, before)[rows],
    }


def _customers_drawn(network: Network, extent: Extent, named: set[str]) -> NDArray[np.int64]:
    customers = network.customers
    if extent.whole:
        return np.arange(len(customers))
    drawn = extent.inside(customers.x_m, customers.y_m)
    places = [customers.id.find(id_) for id_ in sorted(named)]
    drawn[[place for place in places if place >= 0]] = True
    return np.flatnonzero(drawn)

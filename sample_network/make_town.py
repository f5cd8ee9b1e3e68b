"""Make the invented town: ``python -m sample_network.make_town`` writes town.gpkg anew."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

from netplan.readers import write_layers
from sample_network.ground import CRS, ORIGIN, RAIL, height_m, rail_land, river, smooth, to_map
from sample_network.houses import House, make_houses
from sample_network.mains import Main, lay_mains
from sample_network.people import make_people
from sample_network.plant import medium_pressure, outlet_mains, station_rows
from sample_network.planted import dead_and_planned, priority_households, slip_in_mains, slip_in_rows
from sample_network.points import make_fittings, make_valves
from sample_network.records import write_records
from sample_network.roads import Road, make_roads
from sample_network.sizing import stretches
from sample_network.streets import street_graph
from sample_network.valve_records import write_valve_records

__all__ = ["FILE", "SEED", "town_layers", "write_town"]

SEED: Final = 20260
FILE: Final = Path(__file__).parent / "town.gpkg"
_TIME: Final = "2026-01-01T00:00:00.000Z"
_MEDICAL: Final = ((300.0, 700.0), (1080.0, 20.0))
"""About where the two households of medical need live, local metres."""

_MAIN_COLUMNS: Final = (
    "material", "od_mm", "sdr", "bore_mm", "mop_mbar", "street", "surface", "year", "resin", "joint", "host",
    "depth_m", "record_date",
)  # fmt: skip


def _main_row(main: Main) -> dict[str, Any]:
    row = {"id": main.id} | {name: main.facts.get(name) for name in _MAIN_COLUMNS}
    xy = np.asarray(main.line.coords)[:, :2]
    z = np.round(height_m(xy[:, 0], xy[:, 1]) - float(main.facts["depth_m"]), 2)
    line = shapely.LineString(np.column_stack([xy, z]))
    return row | {"system": main.system, "status": main.status, "geometry": line}


def _frame(rows: list[dict[str, Any]]) -> gpd.GeoDataFrame:
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    frame["geometry"] = [_moved(g) for g in frame.geometry]
    return frame


def _moved(shape: Any) -> Any:
    if shape.has_z:
        return shapely.transform(shape, lambda c: np.round(c + np.array((*ORIGIN, 0.0)), 3), include_z=True)
    return to_map(shape)


def _base(roads: list[Road], houses: list[House]) -> dict[str, gpd.GeoDataFrame]:
    names = {
        "hospital": "Ring Road Hospital",
        "school": "Lapwing Avenue School",
        "care home": "Hazel Close Care Home",
        "laundry works": "Estate Laundry Works",
    }
    return {
        "streets": _frame([{"name": r.name, "geometry": r.line.simplify(0.2)} for r in roads]),
        "buildings": _frame([{"name": names.get(h.tag, h.tag), "geometry": h.shape} for h in houses]),
        "water": _frame([{"name": "River Lindle", "geometry": river()}]),
        "rail": _frame([{"name": "branch line", "geometry": smooth(RAIL).simplify(0.2)}]),
        "keep_out": _frame(
            [
                {"reason": "river and its banks", "geometry": river().buffer(4.0)},
                {"reason": "railway land", "geometry": rail_land().buffer(3.0)},
            ]
        ),
    }


def town_layers(seed: int = SEED) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of the town; the same seed gives the same town."""
    rng = np.random.default_rng(seed)
    graph = street_graph(rng)
    roads = make_roads(graph, rng)
    houses = make_houses(roads, rng)
    mains = lay_mains(roads, stretches(graph, roads, houses), rng)
    write_records(mains, roads, rng)
    slip_in_mains(mains, roads)
    mains += outlet_mains(mains, roads, houses)
    mains += medium_pressure(roads, houses)
    mains += dead_and_planned(mains)
    for n, main in enumerate(mains):
        main.id = f"M{n + 1:04d}"
    services, customers = make_people(houses, roads, mains, rng)
    regulators, sensing = station_rows(houses, mains)
    gate = next(m for m in mains if m.system == "MP").line.coords[0]
    priority_households(customers, _MEDICAL)
    rows = {
        "mains": [_main_row(m) for m in mains],
        "services": services,
        "customers": customers,
        "regulators": regulators,
        "sensing_points": sensing,
        "valves": make_valves(mains, services, rng),
        "fittings": make_fittings(mains, services, rng),
        "injections": [{"id": "GATE-1", "system": "MP", "geometry": shapely.Point(gate)}],
    }
    slip_in_rows(rows, rng)
    write_valve_records(rows["valves"], mains)
    return {name: _frame(table) for name, table in rows.items()} | _base(roads, houses)


def write_town(path: Path = FILE) -> Path:
    """Write the town as a GeoPackage, in place of an earlier one."""
    fresh = path.with_suffix(".new.gpkg")
    fresh.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _TIME})
    try:
        return write_layers(town_layers(), fresh).replace(path)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


if __name__ == "__main__":
    print(write_town())

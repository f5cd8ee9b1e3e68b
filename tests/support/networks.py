"""Tiny networks for tests, written as plain rows and built through the public door.

    network = build(
        mains=[main("M1", (0, 0), (100, 0)), main("M2", (100, 0), (200, 0), od_mm=63)],
        services=[service("S1", (50, 0), (50, 8))],
        customers=[customer("C1", (50, 8), service_id="S1")],
        regulators=[station("R1", (0, 0))],
        valves=[valve("V1", (100, 0))],
    )

Coordinates are metres east and north of a corner of the test grid: Gauss-Krueger zone 3 on its central
meridian, where the scale is 1, so that chainages are plain distances.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import geopandas
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.topology import fed_nodes

CRS = "EPSG:31467"
EAST_M, NORTH_M = 3_500_000.0, 5_400_000.0
Row = dict[str, Any]
XY = tuple[float, ...]


def main(id: str, *points: XY, **columns: Any) -> Row:  # noqa: A002
    """Return a row of the mains layer: PE100, 110 mm, SDR 11 unless said otherwise."""
    return {"id": id, "material": "PE100", "od_mm": 110.0, "sdr": 11.0, **columns, "geometry": line(*points)}


def service(id: str, *points: XY, **columns: Any) -> Row:  # noqa: A002
    """Return a row of the services layer: PE80, 32 mm, SDR 11 unless said otherwise."""
    return {"id": id, "material": "PE80", "od_mm": 32.0, "sdr": 11.0, **columns, "geometry": line(*points)}


def customer(id: str, at: XY, **columns: Any) -> Row:  # noqa: A002
    """Return a row of the customers layer: a household with 18,000 kWh a year."""
    return {"id": id, "address": f"{id} Example Row", "annual_kwh": 18000.0, **columns, "geometry": point(at)}


def station(id: str, at: XY, **columns: Any) -> Row:  # noqa: A002
    """Return a row of the regulators layer: 27 mbar, at most 50 mbar in a fault."""
    row = {"id": id, "outlet_mbar": 27.0, "max_outlet_mbar": 50.0, **columns}
    return {**row, "geometry": point(at)}


def valve(id: str, at: XY, state: str = "open", **columns: Any) -> Row:  # noqa: A002
    """Return a row of the valves layer: open and operable."""
    return {"id": id, "state": state, "operable": "yes", **columns, "geometry": point(at)}


def fitting(id: str, at: XY, kind: str = "coupler", **columns: Any) -> Row:  # noqa: A002
    """Return a row of the fittings layer."""
    return {"id": id, "kind": kind, **columns, "geometry": point(at)}


def injection(id: str, at: XY, **columns: Any) -> Row:  # noqa: A002
    """Return a row of the injections layer."""
    return {"id": id, **columns, "geometry": point(at)}


def sensing_point(station_id: str, at: XY) -> Row:
    """Return a row of the sensing_points layer."""
    return {"station_id": station_id, "geometry": point(at)}


def keep_out(reason: str, *corners: XY) -> Row:
    """Return a row of the keep_out layer."""
    return {"reason": reason, "geometry": Polygon([_moved(corner) for corner in corners])}


def line(*points: XY) -> LineString:
    """Return a line on the test grid."""
    return LineString([_moved(corner) for corner in points])


def point(at: XY) -> Point:
    """Return a point on the test grid."""
    return Point(_moved(at))


def layers(crs: str = CRS, **rows: Iterable[Mapping[str, Any]]) -> dict[str, geopandas.GeoDataFrame]:
    """Return GeoDataFrames by layer name from rows by layer name."""
    return {name: _frame(list(some), crs) for name, some in rows.items()}


def build(*, strict: bool = True, crs: str = CRS, **rows: Iterable[Mapping[str, Any]]) -> Network:
    """Build a network from rows by layer name; customers may be left out."""
    return build_network(layers(crs, **{"customers": (), **rows}), strict=strict)


def node_at(network: Network, at: XY) -> int:
    """Return the row of the node nearest to a place on the test grid."""
    x, y, *_ = _moved(at)
    return int(((network.nodes.x_m - x) ** 2 + (network.nodes.y_m - y) ** 2).argmin())


def customers_cut_off(network: Network, carries: np.ndarray) -> np.ndarray:
    """Return the rows of customers that no station reaches over some pieces, and one does over the open ones."""
    customers = network.customers
    who = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))

    def fed(nodes: np.ndarray) -> np.ndarray:
        found = np.zeros(len(customers), dtype=bool)
        found[who[nodes[customers.attach_node]]] = True
        return found

    return np.flatnonzero(fed(fed_nodes(network)) & ~fed(fed_nodes(network, carries)))


def codes(network: Network) -> list[str]:
    """Return the codes of the network's findings, in order."""
    return [finding.code for finding in network.findings]


def _moved(corner: Sequence[float]) -> tuple[float, ...]:
    return (corner[0] + EAST_M, corner[1] + NORTH_M, *corner[2:])


def _frame(rows: list[Mapping[str, Any]], crs: str) -> geopandas.GeoDataFrame:
    shapes: list[BaseGeometry | None] = [row["geometry"] for row in rows]
    columns = pd.DataFrame([{k: v for k, v in row.items() if k != "geometry"} for row in rows])
    if not len(columns.columns):
        columns = pd.DataFrame({"id": pd.Series(dtype=object), "address": pd.Series(dtype=object)})
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs)

"""A long street fed from both ends, with side streets at its far end: input for pipes that are set aside.

The trunk T00 … T11 runs east, 100 m each, a station at either end. Work lies on T02. Side streets B0 … B5 leave
the far end and end blind; L1 and L2 join two tees of the trunk near the far end, a second way for its gas.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas

from tests.support.networks import Row, customer, fitting, layers, main, service, station

__all__ = ["WORK", "aside_layers", "aside_rows"]

WORK = ("T02", 48.0, 52.0)
Rows = dict[str, list[Row]]
Changed = Mapping[str, dict[str, Any]]


def aside_rows(changed: Changed | None = None) -> Rows:
    """Return the rows of the town, some of its mains and services with other columns, by id."""
    mains = [
        main(f"T{k:02d}", (100.0 * k, 0), (100.0 * k + 100.0, 0), od_mm=180.0, year=2005, street="Long Row")
        for k in range(12)
    ]
    mains += [
        main(
            f"B{k}",
            (700.0 + 100.0 * k, 0),
            (700.0 + 100.0 * k, -60.0),
            od_mm=125.0,
            year=2005,
            street=f"Side {k}",
        )
        for k in range(5)
    ]
    mains += [
        main("L1", (900, 0), (900, 70), od_mm=125.0, year=2005, street="Loop Row"),
        main("L2", (900, 70), (1100, 0), od_mm=125.0, year=2005, street="Loop Row"),
    ]
    services, customers = [], []
    for k in range(48):
        x = 100.0 * (k // 4) + (12.0, 25.0, 70.0, 88.0)[k % 4]
        services.append(service(f"S{k:02d}", (x, 0), (x, 8), wall_mm=3.0))
        customers.append(
            customer(
                f"C{k:02d}", (x, 8), service_id=f"S{k:02d}", address=f"{k} Long Row", annual_kwh=24_000.0
            )
        )
    for k, x in enumerate((730.0, 930.0)):
        services.append(service(f"S{90 + k}", (x - 30.0, -40.0), (x - 22.0, -40.0), wall_mm=3.0))
        customers.append(
            customer(f"C{90 + k}", (x - 22.0, -40.0), service_id=f"S{90 + k}", address=f"{k} Side Row")
        )
    rows: Rows = {
        "mains": mains,
        "services": services,
        "customers": customers,
        "regulators": [
            station("R1", (0, 0), capacity_m3h=800.0),
            station("R2", (1200, 0), capacity_m3h=800.0),
        ],
        "fittings": [fitting("F1", (1200, 0), "coupler")],
    }
    for row in (*mains, *services):
        row.update((changed or {}).get(row["id"], {}))
    return rows


def aside_layers(changed: Changed | None = None) -> dict[str, geopandas.GeoDataFrame]:
    """Return the layers of the town, some of its mains and services with other columns, by id."""
    rows: dict[str, Any] = dict(aside_rows(changed))
    return layers(**rows)

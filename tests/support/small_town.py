"""A few streets with one of everything that a layer may hold: input for tests of reading."""

from __future__ import annotations

import geopandas

from tests.support.networks import (
    customer,
    fitting,
    injection,
    keep_out,
    layers,
    main,
    sensing_point,
    service,
    station,
    valve,
)

__all__ = ["small_town"]


def small_town() -> dict[str, geopandas.GeoDataFrame]:
    """Return layers of a ring of mains with services, fed by two stations."""
    corners = [(0.0, 0.0), (160.0, 0.0), (160.0, 120.25), (0.0, 120.25)]
    sides = list(zip(corners, [*corners[1:], corners[0]], strict=True))
    mains = [
        main(f"M{k}", one, other, street=f"Straße {k}", record_date="2019-03-01", year=1990 + k)
        for k, (one, other) in enumerate(sides)
    ]
    mains.append(main("M9", (80, 0), (80, 120.25), od_mm=90, mop_mbar=75, depth_m=0.85, resin="XY 23"))
    houses = [(x, 8.0) for x in range(10, 155, 12) if x != 82] + [(88.0, y) for y in range(20, 110, 15)]
    services, customers = [], []
    for k, (x, y) in enumerate(houses):
        tap = (x, 0.0) if y == 8 else (80.0, y)
        services.append(service(f"S{k:02}", tap, (x, y), excess_flow_valve="yes"))
        customers.append(
            customer(
                f"C{k:02}",
                (x, y),
                service_id=f"S{k:02}",
                street="Elm Bow",
                number=str(k),
                priority="school" if k == 7 else None,
                priority_note="Größe – äöü 'quoted' \"twice\" ; <b>&amp;" if k == 7 else None,
                annual_kwh=12_000.0 + k / 3,
            )
        )
    return layers(
        mains=mains,
        services=services,
        customers=customers,
        regulators=[
            station("R1", (0, 0), capacity_m3h=400.5, max_outlet_mbar=60.0),
            station("R2", (160, 120.25), max_outlet_mbar=60.0),
        ],
        sensing_points=[sensing_point("R1", (5, 0))],
        valves=[valve("V1", (50, 0)), valve("V2", (80, 60), state="closed")],
        fittings=[fitting("F1", (18, 0), "tapping_tee"), fitting("F2", (120, 120.25), "coupler")],
        injections=[injection("I1", (0, 120.25))],
        keep_out=[keep_out("river", (5, 5), (9, 5), (9, 9))],
    )

"""The open Schutterwald gas network as layers of the input contract.

Source: Kisse, Braun, Letzgus, Kneiske, "A GIS-Based Planning Approach for Urban Power and Natural Gas
Distribution Grids with Different Heat Pump Scenarios", Energies 13, 4052 (2020), doi 10.3390/en13164052,
supplementary material, as shipped with pandapipes (BSD 3-clause). No CRS is stored with it; EPSG:31467
places it in the town it is named after.

The set is a medium-pressure network at 1 bar. Declared as a low-pressure case here: outlet and fault pressure
50 mbar and a quarter of the stored mean demand, which `MILD` and `pinned_rules` bring about at the worst hour.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from netplan.rules import Rules, read_rules

CRS = "EPSG:31467"
MAINS = 1053
CUSTOMERS = 1506
KWH_PER_M3 = 10.0
"""Own round figure for turning the stored volume into energy."""
MILD_C = 11.5
"""Air temperature at which the quarter of the mean demand flows at the worst hour, within a few percent."""


@dataclass(frozen=True)
class Case:
    """How the set is declared: station pressures [mbar gauge] and the share of the stored demand."""

    outlet_mbar: float = 50.0
    fault_mbar: float = 50.0
    demand_share: float = 0.25


@lru_cache(maxsize=1)
def stored() -> Any:
    """Return the set as pandapipes ships it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandapipes.networks

        return pandapipes.networks.schutterwald_gas()


def layers(case: Case | None = None) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers mains, services, customers and regulators."""
    case = case or Case()
    net = stored()
    place = net.junction_geodata.join(net.junction["height_m"])
    xyz = place[["x", "y", "height_m"]].to_numpy(float)
    row = {junction: i for i, junction in enumerate(place.index)}
    pipes = net.pipe
    ends = np.stack([pipes.from_junction.map(row), pipes.to_junction.map(row)], axis=1)
    lines = shapely.linestrings(xyz[ends])
    is_main = (pipes["type"] == "pipe").to_numpy()

    mains = gpd.GeoDataFrame(
        {
            "id": [f"M{i}" for i in pipes.index[is_main]],
            "material": "PE100",
            "od_mm": [180.0 if d == 147.2 else 125.0 for d in pipes.inner_diameter_mm[is_main]],
            "sdr": [17.0 if d == 110.2 else 11.0 for d in pipes.inner_diameter_mm[is_main]],
        },
        geometry=lines[is_main],
        crs=CRS,
    )
    services = gpd.GeoDataFrame(
        {
            "id": [f"S{i}" for i in pipes.index[~is_main]],
            "material": "PE100",
            "od_mm": 63.0,
            "bore_mm": pipes.inner_diameter_mm[~is_main].to_numpy(float),
        },
        geometry=lines[~is_main],
        crs=CRS,
    )
    of_junction = dict(zip(pipes.to_junction[~is_main], services["id"], strict=True))
    of_junction.update(dict(zip(pipes.from_junction[~is_main], services["id"], strict=True)))
    sinks = net.sink
    customers = gpd.GeoDataFrame(
        {
            "id": [f"C{i}" for i in sinks.index],
            "address": [f"House {i}" for i in sinks.index],
            "annual_kwh": sinks.demand_m3_per_a.to_numpy(float) * KWH_PER_M3 * case.demand_share,
            "service_id": [of_junction[j] for j in sinks.junction],
        },
        geometry=shapely.points(xyz[[row[j] for j in sinks.junction]][:, :2]),
        crs=CRS,
    )
    regulators = gpd.GeoDataFrame(
        {"id": ["R1"], "outlet_mbar": [case.outlet_mbar], "max_outlet_mbar": [case.fault_mbar]},
        geometry=shapely.points(xyz[[row[j] for j in net.ext_grid.junction]][:, :2]),
        crs=CRS,
    )
    return {"mains": mains, "services": services, "customers": customers, "regulators": regulators}


def pinned_rules() -> Rules:
    """Return the shipped rules without margins and uplifts on demand: the stored mean is meant as it is."""
    plain = {"margin": 0.0, "small_group": 0.0, "within_hour": 0.0, "forecast_margin_c": 0.0}
    return read_rules(None, {"demand": plain})

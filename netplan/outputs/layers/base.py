"""Base map layers, cut to the surroundings, and the conditions table."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from netplan.network.model import Network
from netplan.planfile.model import Plan
from netplan.planning.option_records.state_extent import Extent

__all__ = ["BASE_LAYERS", "base_rows", "condition_rows"]

BASE_LAYERS = ("streets", "buildings", "water", "rail")


def base_rows(network: Network, extent: Extent) -> dict[str, gpd.GeoDataFrame]:
    """Return the base map layers that the network records, cut to the surroundings of the work."""
    box = shapely.box(*extent.box)
    layers = {}
    for name in BASE_LAYERS:
        source = network.base.get(name)
        if source is None or not len(source):
            continue
        layer = source[[c for c in ("name",) if c in source.columns] + [source.geometry.name]]
        layer = layer.rename_geometry("geometry") if source.geometry.name != "geometry" else layer
        touching = layer[layer.intersects(box)]
        if name != "buildings":
            touching = touching.assign(geometry=touching.intersection(box))
        touching = touching[~touching.is_empty].reset_index(drop=True)
        if len(touching):
            layers[name] = touching
    return layers


def condition_rows(plan: Plan) -> pd.DataFrame:
    """Return what the states were solved for, as name, value and unit; the states say what they leave out."""
    conditions, gas, pressure = plan.conditions, plan.rules.get("gas", {}), plan.rules.get("pressure", {})
    rows = [
        ("caution", plan.caution, ""),
        ("network", plan.network.content_sha256, "sha256"),
        ("start", conditions.start or "any working day", "local time"),
        ("hours", conditions.hours, "h"),
        ("air_temp_c", conditions.air_temp_c, "°C"),
        ("ground_temp_c", conditions.ground_temp_c, "°C"),
        ("demand_total_m3h", conditions.demand_total_m3h, "m³/h at 15 °C, 101.325 kPa"),
        ("worst_hour", conditions.worst_hour, "local time"),
        ("gas", gas.get("name") or _composition(gas.get("composition") or {}), "name or mole fractions"),
        ("minimum_mbar", pressure.get("minimum_mbar", ""), "mbar gauge"),
        ("margin_mbar", pressure.get("margin_mbar", ""), "mbar"),
        ("length_scale", plan.network.length_scale, "planar over true length"),
        ("note", conditions.note, ""),
    ]
    return pd.DataFrame(
        [(name, str(value), unit) for name, value, unit in rows], columns=["name", "value", "unit"]
    )


def _composition(parts: dict[str, float]) -> str:
    return ", ".join(f"{name} {share:g}" for name, share in sorted(parts.items()))

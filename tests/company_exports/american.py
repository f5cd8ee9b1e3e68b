"""An American utility: a GeoPackage in US survey feet, inches, psi, therms."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from tests.company_exports.words import Frames, words_of

__all__ = ["american"]

_MBAR_PER_PSI: Final = 68.94757293168361
_MBAR_PER_INH2O: Final = 2.490889
_KWH_PER_THERM: Final = 29.307107
_KW_PER_BTUH: Final = 0.29307107 / 1000
_CFH_PER_M3H: Final = 35.31466672148859
_MM_PER_IN: Final = 25.4
_M_PER_FT: Final = 0.3048
_US_FEET_PER_M: Final = 3937 / 1200

_MATERIAL_US: Final = {"PE80": "MDPE", "PE100": "HDPE", "cast_iron": "CI", "steel": "STL"}
_STATUS_US: Final = {"live": "In Service", "abandoned": "Retired", "proposed": "Proposed"}
_SURFACE_US: Final = {"footway": "Sidewalk", "carriageway": "Street", "verge": "Grass"}
_JOINT_US: Final = {"fusion": "Heat Fusion", "socket": "Bell & Spigot", "mechanical": "Compression"}
_HOST_US: Final = {"none": "N/A", "iron": "Cast Iron"}
_YES_US: Final = {"yes": "Y", "no": "N", "unknown": "U"}
_SYSTEM_US: Final = {"LP": "Utilization", "MP": "Intermediate"}
_CATEGORY_US: Final = {
    "household": "RES",
    "business": "COM",
    "industry": "IND",
    "public": "GOV",
}
_STATE_US: Final = {"open": "Normally Open", "closed": "Normally Closed", "unknown": "Unknown"}


def _in_us_feet(layers: Frames) -> Frames:
    """Return the layers in a grid of US survey feet that has the projection of the sample's."""
    description = next(iter(layers.values())).crs.to_json_dict()
    foot = {"type": "LinearUnit", "name": "US survey foot", "conversion_factor": 1200 / 3937}
    for axis in description["coordinate_system"]["axis"]:
        axis["unit"] = foot
    description.pop("id", None)
    description["name"] = "own grid (ftUS)"
    crs = CRS.from_json_dict(description)

    def feet(coordinates: Any) -> Any:
        return np.round(coordinates * _US_FEET_PER_M, 4)

    def moved(frame: Any) -> Any:
        shapes = frame.geometry.to_numpy()
        tall = bool(shapely.has_z(shapes).all())
        return frame.set_geometry(
            gpd.GeoSeries(shapely.transform(shapes, feet, include_z=tall), index=frame.index, crs=crs)
        )

    return {name: moved(frame) for name, frame in layers.items()}


def _pipes_us(pipes: Any) -> Any:
    frame = pipes[["geometry"]].assign(
        PipeNo=pipes["id"],
        Material=words_of(pipes["material"], _MATERIAL_US),
        OD_IN=(pipes["od_mm"] / _MM_PER_IN).round(4),
        DR=pipes["sdr"],
        ID_IN=(pipes["bore_mm"] / _MM_PER_IN).round(4),
        PressureTier=words_of(pipes["system"], _SYSTEM_US),
        ServiceState=words_of(pipes["status"], _STATUS_US),
    )
    if "mop_mbar" in pipes:
        frame = frame.assign(
            MAOP_PSIG=(pipes["mop_mbar"] / _MBAR_PER_PSI).round(4),
            StreetName=pipes["street"],
            Cover=words_of(pipes["surface"], _SURFACE_US),
            YearLaid=pipes["year"],
            Resin=pipes["resin"],
            Jointing=words_of(pipes["joint"], _JOINT_US),
            CasedIn=words_of(pipes["host"], _HOST_US),
            DepthFt=(pipes["depth_m"] / _M_PER_FT).round(4),
            SurveyDate=pipes["record_date"],
        )
    else:
        frame = frame.assign(EFV=words_of(pipes["excess_flow_valve"], _YES_US))
    return frame


def american(layers: Frames, folder: Path) -> Path:
    layers = _in_us_feet(layers)
    meters, stations, valves = layers["customers"], layers["regulators"], layers["valves"]
    fittings, gates = layers["fittings"], layers["injections"]
    tables = {
        "DIST_PIPE": _pipes_us(layers["mains"]),
        "SERVICE_PIPE": _pipes_us(layers["services"]),
        "METERS": meters[["geometry"]].assign(
            MeterNo=meters["id"],
            SiteAddress=meters["address"],
            StreetName=meters["street"],
            HouseNo=meters["number"],
            Zip=meters["postcode"],
            Tariff=words_of(meters["category"], _CATEGORY_US),
            CriticalCode=meters["priority"],
            CriticalNote=meters["priority_note"],
            MeterCount=meters["meters"],
            AnnualTherms=(meters["annual_kwh"] / _KWH_PER_THERM).round(2),
            LoadBtuh=(meters["peak_kw"] / _KW_PER_BTUH).round(0),
            FedByPipe=meters["service_id"],
            ServiceRegulator=words_of(meters["service_regulator"], _YES_US),
            Language=meters["language"],
        ),
        "DISTRICT_REG": stations[["geometry"]].assign(
            StationNo=stations["id"],
            OutletInWC=(stations["outlet_mbar"] / _MBAR_PER_INH2O).round(4),
            ReliefSetPsig=(stations["max_outlet_mbar"] / _MBAR_PER_PSI).round(4),
            CapacityCFH=(stations["capacity_m3h"] * _CFH_PER_M3H).round(1),
            PressureTier=words_of(stations["system"], _SYSTEM_US),
            ServiceState=words_of(stations["status"], _STATUS_US),
        ),
        "SENSING_TAP": layers["sensing_points"].rename(columns={"station_id": "StationNo"}),
        "STOP_VALVE": valves[["geometry"]].assign(
            ValveNo=valves["id"],
            ValvePosition=words_of(valves["state"], _STATE_US),
            Operable=words_of(valves["operable"], _YES_US),
            PressureTier=words_of(valves["system"], _SYSTEM_US),
        ),
        "PIPE_FITTING": fittings[["geometry"]].assign(
            FittingNo=fittings["id"],
            FittingKind=fittings["kind"].str.replace("_", " ").str.title(),
            PressureTier=words_of(fittings["system"], _SYSTEM_US),
        ),
        "GAS_ENTRY": gates[["geometry"]].assign(
            EntryNo=gates["id"], PressureTier=words_of(gates["system"], _SYSTEM_US)
        ),
        "NO_DIG": layers["keep_out"].rename(columns={"reason": "Why"}),
        "STREET_LINE": layers["streets"].rename(columns={"name": "StreetName"}),
        "BUILDING_OUTLINE": layers["buildings"].rename(columns={"name": "BuildingName"}),
        "WATER_AREA": layers["water"].rename(columns={"name": "WaterName"}),
        "RAIL_TRACK": layers["rail"].rename(columns={"name": "RailName"}),
    }
    place = folder / "utility.gpkg"
    for name, frame in tables.items():
        frame.to_file(place, layer=name, driver="GPKG", engine="pyogrio", FID="gid")
    return place

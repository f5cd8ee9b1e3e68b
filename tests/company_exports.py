"""The sample town as three invented companies would export it, each in its own words.

``python -m tests.company_exports FOLDER`` writes all three; the mapping of each lies under tests/mappings.

- ``german``: a folder of Shapefiles, one table of pipes for mains and services, German words, sizes as text,
  decimal commas, bar and centimetres.
- ``american``: a GeoPackage in US survey feet, inches, psi, inches of water column, therms, BTU/h.
- ``coded``: GeoParquet and GeoJSON beside each other, code numbers for every word, ids with colons and prefixes,
  rows in another order.

The first and the last lose nothing. The second is rounded as such records are: inches and feet to four decimals.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from netplan.cli.sample import sample_network

__all__ = ["CODES", "EXPORTS", "MAPPINGS", "write_export"]

Frames = dict[str, Any]
EXPORTS: Final = ("german", "american", "coded")
MAPPINGS: Final = Path(__file__).parent / "mappings"
_LAYERS: Final = (
    "mains",
    "services",
    "customers",
    "regulators",
    "sensing_points",
    "valves",
    "fittings",
    "injections",
    "keep_out",
    "streets",
    "buildings",
    "water",
    "rail",
)
_MBAR_PER_PSI: Final = 68.94757293168361
_MBAR_PER_INH2O: Final = 2.490889
_KWH_PER_THERM: Final = 29.307107
_KW_PER_BTUH: Final = 0.29307107 / 1000
_CFH_PER_M3H: Final = 35.31466672148859
_MM_PER_IN: Final = 25.4
_M_PER_FT: Final = 0.3048
_US_FEET_PER_M: Final = 3937 / 1200


def write_export(name: str, folder: Path) -> Path:
    """Write one export into a folder that does not exist yet; return what `gas-netplan` is to be given."""
    layers = {layer: gpd.read_file(sample_network(), layer=layer) for layer in _LAYERS}
    folder.mkdir(parents=True)
    writers = {"german": _german, "american": _american, "coded": _coded}
    return writers[name](layers, folder)


def _words(column: Any, words: dict[Any, Any]) -> Any:
    return column.map(lambda word: words.get(word, word))


# --- German -----------------------------------------------------------------------------------------------

_MATERIAL_DE: Final = {"PE80": "PE 80", "PE100": "PE 100", "cast_iron": "Grauguss", "steel": "Stahl"}
_STATUS_DE: Final = {"live": "in Betrieb", "abandoned": "stillgelegt", "proposed": "geplant"}
_SURFACE_DE: Final = {"footway": "Gehweg", "carriageway": "Fahrbahn", "verge": "Grünstreifen"}
_JOINT_DE: Final = {"fusion": "geschweißt", "socket": "Muffe", "mechanical": "Klemmverbinder"}
_HOST_DE: Final = {"none": "", "iron": "Gussrohr"}
_YES_DE: Final = {"yes": "ja", "no": "nein", "unknown": "unbekannt"}
_SYSTEM_DE: Final = {"LP": "ND", "MP": "MD"}
_CATEGORY_DE: Final = {
    "household": "Haushalt",
    "business": "Gewerbe",
    "industry": "Industrie",
    "public": "Öffentlich",
}
_PRIORITY_DE: Final = {
    "hospital": "Krankenhaus",
    "care_home": "Pflegeheim",
    "school": "Schule",
    "medical": "Heimbeatmung",
    "process": "Prozesswärme",
}
_STATE_DE: Final = {"open": "auf", "closed": "zu", "unknown": "unbekannt"}
_FITTING_DE: Final = {
    "tee": "T-Stück",
    "elbow": "Bogen",
    "coupler": "Muffe",
    "reducer": "Reduktion",
    "cap": "Endkappe",
    "tapping_tee": "Anbohrschelle",
    "transition": "Übergang",
    "squeeze_mark": "Abquetschstelle",
}


def _size_de(row: Any) -> str:
    od = f"{row.od_mm:g}".replace(".", ",")
    return f"d {od} SDR {row.sdr:g}".replace(".", ",") if row.sdr == row.sdr else f"d {od}"


def _pipes_de(pipes: Any, kind: str) -> Any:
    shapes = pipes.geometry
    if kind != "Versorgungsleitung":
        # One Shapefile holds one kind of line: services, drawn without heights, get a height of zero.
        shapes = gpd.GeoSeries(shapely.force_3d(shapes.to_numpy(), 0.0), crs=pipes.crs)
    empty = pd.Series([""] * len(pipes))
    nothing = pd.Series([np.nan] * len(pipes))
    return gpd.GeoDataFrame(
        {
            "LEITNR": pipes["id"],
            "ART": kind,
            "WERKSTOFF": _words(pipes["material"], _MATERIAL_DE),
            "NENNWEITE": [_size_de(row) for row in pipes.itertuples()],
            "DI_MM": pipes["bore_mm"],
            "MOP_BAR": pipes.get("mop_mbar", nothing) / 1000.0,
            "NETZ": _words(pipes["system"], _SYSTEM_DE),
            "STRASSE": pipes.get("street", empty),
            "OBERFLAE": _words(pipes.get("surface", empty), _SURFACE_DE),
            "ZUSTAND": _words(pipes["status"], _STATUS_DE),
            "BAUJAHR": pipes.get("year", nothing),
            "ROHRTYP": pipes.get("resin", empty),
            "VERBINDUNG": _words(pipes.get("joint", empty), _JOINT_DE),
            "SCHUTZROHR": _words(pipes.get("host", empty), _HOST_DE),
            "DECKUNG_CM": pipes.get("depth_m", nothing) * 100.0,
            "STAND": pipes.get("record_date", empty),
            "GSW": _words(pipes.get("excess_flow_valve", empty), _YES_DE),
        },
        geometry=shapes,
        crs=pipes.crs,
    )


def _german(layers: Frames, folder: Path) -> Path:
    pipes = [
        _pipes_de(layers["mains"], "Versorgungsleitung"),
        _pipes_de(layers["services"], "Hausanschluss"),
    ]
    customers, stations, valves = layers["customers"], layers["regulators"], layers["valves"]
    fittings, sources = layers["fittings"], layers["injections"]
    tables = {
        "LEITUNG": gpd.GeoDataFrame(pd.concat(pipes, ignore_index=True), crs=pipes[0].crs),
        "ZAEHLPUNKT": customers[["geometry"]].assign(
            ZP_NR=customers["id"],
            ANSCHRIFT=customers["address"],
            STRASSE=customers["street"],
            HAUSNR=customers["number"],
            PLZ=customers["postcode"],
            KUNDENART=_words(customers["category"], _CATEGORY_DE),
            SCHUTZ=_words(customers["priority"], _PRIORITY_DE),
            HINWEIS=customers["priority_note"],
            ANZ_ZAEHL=customers["meters"],
            JAHRESVERB=[
                f"{kwh:.1f}".replace(".", ",") if kwh == kwh else "" for kwh in customers["annual_kwh"]
            ],
            LEISTUNG=customers["peak_kw"],
            HA_NR=customers["service_id"].fillna("").str.replace(";", ","),
            HAUSREGLER=_words(customers["service_regulator"], _YES_DE),
            SPRACHE=customers["language"],
        ),
        "REGELANL": stations[["geometry"]].assign(
            ANL_NR=stations["id"],
            P_AUS=stations["outlet_mbar"],
            P_MAX_BAR=stations["max_outlet_mbar"] / 1000.0,
            LEISTUNG=stations["capacity_m3h"],
            NETZ=_words(stations["system"], _SYSTEM_DE),
            ZUSTAND=_words(stations["status"], _STATUS_DE),
        ),
        "IMPULS": layers["sensing_points"].rename(columns={"station_id": "ANL_NR"}),
        "SCHIEBER": valves[["geometry"]].assign(
            SCHIEBERNR=valves["id"],
            STELLUNG=_words(valves["state"], _STATE_DE),
            GANGBAR=_words(valves["operable"], _YES_DE),
            NETZ=_words(valves["system"], _SYSTEM_DE),
        ),
        "FORMTEIL": fittings[["geometry"]].assign(
            TEIL_NR=fittings["id"],
            BAUART=_words(fittings["kind"], _FITTING_DE),
            NETZ=_words(fittings["system"], _SYSTEM_DE),
        ),
        "EINSPEIS": sources[["geometry"]].assign(
            EINSP_NR=sources["id"], NETZ=_words(sources["system"], _SYSTEM_DE)
        ),
        "SPERRFL": layers["keep_out"].rename(columns={"reason": "GRUND"}),
        "STRASSEN": layers["streets"].rename(columns={"name": "NAME"}),
        "GEBAEUDE": layers["buildings"].rename(columns={"name": "NAME"}),
        "GEWAESSER": layers["water"].rename(columns={"name": "NAME"}),
        "BAHN": layers["rail"].rename(columns={"name": "NAME"}),
    }
    for name, frame in tables.items():
        frame.to_file(folder / f"{name}.shp", driver="ESRI Shapefile", engine="pyogrio", encoding="UTF-8")
    return folder


# --- American ---------------------------------------------------------------------------------------------

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
    description["name"] = "Prairie county grid (ftUS)"
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
        AssetID=pipes["id"],
        Material=_words(pipes["material"], _MATERIAL_US),
        OD_IN=(pipes["od_mm"] / _MM_PER_IN).round(4),
        DR=pipes["sdr"],
        ID_IN=(pipes["bore_mm"] / _MM_PER_IN).round(4),
        PressureSystem=_words(pipes["system"], _SYSTEM_US),
        LifecycleStatus=_words(pipes["status"], _STATUS_US),
    )
    if "mop_mbar" in pipes:
        frame = frame.assign(
            MAOP_PSIG=(pipes["mop_mbar"] / _MBAR_PER_PSI).round(4),
            StreetName=pipes["street"],
            Cover=_words(pipes["surface"], _SURFACE_US),
            InstallYear=pipes["year"],
            Resin=pipes["resin"],
            JointType=_words(pipes["joint"], _JOINT_US),
            CasedIn=_words(pipes["host"], _HOST_US),
            DepthFt=(pipes["depth_m"] / _M_PER_FT).round(4),
            LastVerified=pipes["record_date"],
        )
    else:
        frame = frame.assign(EFV=_words(pipes["excess_flow_valve"], _YES_US))
    return frame


def _american(layers: Frames, folder: Path) -> Path:
    layers = _in_us_feet(layers)
    meters, stations, valves = layers["customers"], layers["regulators"], layers["valves"]
    fittings, gates = layers["fittings"], layers["injections"]
    tables = {
        "GasMain": _pipes_us(layers["mains"]),
        "GasService": _pipes_us(layers["services"]),
        "MeterLocation": meters[["geometry"]].assign(
            PremiseID=meters["id"],
            ServiceAddress=meters["address"],
            StreetName=meters["street"],
            HouseNumber=meters["number"],
            ZipCode=meters["postcode"],
            RateClass=_words(meters["category"], _CATEGORY_US),
            CriticalCode=meters["priority"],
            CriticalNote=meters["priority_note"],
            MeterCount=meters["meters"],
            AnnualTherms=(meters["annual_kwh"] / _KWH_PER_THERM).round(2),
            LoadBtuh=(meters["peak_kw"] / _KW_PER_BTUH).round(0),
            ServiceLineID=meters["service_id"],
            ServiceRegulator=_words(meters["service_regulator"], _YES_US),
            Language=meters["language"],
        ),
        "RegulatorStation": stations[["geometry"]].assign(
            StationID=stations["id"],
            OutletInWC=(stations["outlet_mbar"] / _MBAR_PER_INH2O).round(4),
            ReliefSetPsig=(stations["max_outlet_mbar"] / _MBAR_PER_PSI).round(4),
            CapacityCFH=(stations["capacity_m3h"] * _CFH_PER_M3H).round(1),
            PressureSystem=_words(stations["system"], _SYSTEM_US),
            LifecycleStatus=_words(stations["status"], _STATUS_US),
        ),
        "ControlLineTap": layers["sensing_points"].rename(columns={"station_id": "StationID"}),
        "GasValve": valves[["geometry"]].assign(
            AssetID=valves["id"],
            NormalPosition=_words(valves["state"], _STATE_US),
            Operable=_words(valves["operable"], _YES_US),
            PressureSystem=_words(valves["system"], _SYSTEM_US),
        ),
        "GasFitting": fittings[["geometry"]].assign(
            AssetID=fittings["id"],
            FittingType=fittings["kind"].str.replace("_", " ").str.title(),
            PressureSystem=_words(fittings["system"], _SYSTEM_US),
        ),
        "GateStation": gates[["geometry"]].assign(
            AssetID=gates["id"], PressureSystem=_words(gates["system"], _SYSTEM_US)
        ),
        "NoDigArea": layers["keep_out"].rename(columns={"reason": "Why"}),
        "StreetCenterline": layers["streets"].rename(columns={"name": "FullName"}),
        "BuildingFootprint": layers["buildings"].rename(columns={"name": "FullName"}),
        "Hydrography": layers["water"].rename(columns={"name": "FullName"}),
        "Railroad": layers["rail"].rename(columns={"name": "FullName"}),
    }
    place = folder / "prairie.gpkg"
    for name, frame in tables.items():
        frame.to_file(place, layer=name, driver="GPKG", engine="pyogrio", FID="OBJECTID")
    return place


# --- Coded ------------------------------------------------------------------------------------------------

CODES: Final[dict[str, tuple[str, ...]]] = {
    "material": ("steel", "cast_iron", "PE80", "PE100"),
    "status": ("proposed", "live", "abandoned"),
    "surface": ("carriageway", "footway", "verge"),
    "joint": ("mechanical", "socket", "fusion"),
    "host": ("none", "iron"),
    "system": ("MP", "LP"),
    "category": ("industry", "public", "household", "business"),
    "state": ("unknown", "closed", "open"),
    "operable": ("unknown", "no", "yes"),
    "excess_flow_valve": ("unknown", "no", "yes"),
    "kind": (
        "cap",
        "coupler",
        "elbow",
        "reducer",
        "squeeze_mark",
        "tapping_tee",
        "tee",
        "transition",
    ),
    "priority": ("", "care_home", "hospital", "medical", "process", "school"),
}


def _coded_frame(frame: Any, names: dict[str, str], prefix: str, seed: int) -> Any:
    held = {name: new for name, new in names.items() if name in frame}
    coded = frame[[*held, "geometry"]].copy()
    for column, words in CODES.items():
        if column in held:
            coded[column] = [words.index(word) for word in coded[column]]
    for column in ("id", "service_id", "station_id"):
        if column in held:
            own = "svc" if column == "service_id" else prefix
            coded[column] = [
                "|".join(f"{own}:{part.replace('-', ':')}" for part in ids.split(";")) if ids else None
                for ids in coded[column].fillna("")
            ]
    return coded.rename(columns=held).sample(frac=1.0, random_state=seed).reset_index(drop=True)


def _coded(layers: Frames, folder: Path) -> Path:
    pipe = {
        "id": "globalId",
        "material": "matCode",
        "od_mm": "outsideDiameter",
        "sdr": "ratio",
        "bore_mm": "insideDiameter",
        "system": "networkLevel",
        "status": "lifeCode",
        "mop_mbar": "mop",
        "street": "thoroughfare",
        "surface": "coverCode",
        "year": "yearLaid",
        "resin": "grade",
        "joint": "jointCode",
        "host": "hostCode",
        "depth_m": "cover",
        "record_date": "verifiedOn",
        "excess_flow_valve": "efvCode",
    }
    point = {
        "id": "globalId",
        "address": "label",
        "number": "houseNo",
        "postcode": "postCode",
        "category": "useCode",
        "priority": "careCode",
        "priority_note": "careNote",
        "meters": "meterCount",
        "annual_kwh": "energyYear",
        "peak_kw": "powerPeak",
        "service_id": "fedBy",
        "service_regulator": "hasRegulator",
        "language": "lang",
        "outlet_mbar": "setPoint",
        "max_outlet_mbar": "faultPoint",
        "capacity_m3h": "capacity",
        "station_id": "ofStation",
        "state": "positionCode",
        "operable": "operableCode",
        "kind": "typeCode",
    }
    names = {**pipe, **point, "reason": "note", "name": "label"}
    files = {
        "mains": ("pipe_main.parquet", "net"),
        "services": ("pipe_branch.parquet", "svc"),
        "customers": ("delivery_point.parquet", "dp"),
        "regulators": ("pressure_station.geojson", "reg"),
        "sensing_points": ("pressure_tap.geojson", "reg"),
        "valves": ("shutoff.geojson", "val"),
        "fittings": ("component.parquet", "cmp"),
        "injections": ("entry_point.geojson", "ent"),
        "keep_out": ("restriction.geojson", ""),
        "streets": ("road.parquet", ""),
        "buildings": ("building.parquet", ""),
        "water": ("waterbody.parquet", ""),
        "rail": ("railway.parquet", ""),
    }
    for seed, (layer, (file, prefix)) in enumerate(files.items()):
        frame = _coded_frame(layers[layer], names, prefix, seed)
        if "hasRegulator" in frame:
            frame["hasRegulator"] = frame["hasRegulator"] == "yes"
        if file.endswith(".parquet"):
            frame.to_parquet(folder / file, index=False)
        else:
            frame.to_file(folder / file, driver="GeoJSON", engine="pyogrio", COORDINATE_PRECISION=6)
    return folder


if __name__ == "__main__":
    for each in EXPORTS:
        print(write_export(each, Path(sys.argv[1]) / each))  # noqa: T201

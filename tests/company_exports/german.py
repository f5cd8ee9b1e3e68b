"""A German utility: Shapefiles, one table of pipes, sizes as text, decimal commas."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from tests.company_exports.words import Frames, words_of

__all__ = ["german"]

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
            "WERKSTOFF": words_of(pipes["material"], _MATERIAL_DE),
            "NENNWEITE": [_size_de(row) for row in pipes.itertuples()],
            "DI_MM": pipes["bore_mm"],
            "MOP_BAR": pipes.get("mop_mbar", nothing) / 1000.0,
            "NETZ": words_of(pipes["system"], _SYSTEM_DE),
            "STRASSE": pipes.get("street", empty),
            "OBERFLAE": words_of(pipes.get("surface", empty), _SURFACE_DE),
            "ZUSTAND": words_of(pipes["status"], _STATUS_DE),
            "BAUJAHR": pipes.get("year", nothing),
            "ROHRTYP": pipes.get("resin", empty),
            "VERBINDUNG": words_of(pipes.get("joint", empty), _JOINT_DE),
            "SCHUTZROHR": words_of(pipes.get("host", empty), _HOST_DE),
            "DECKUNG_CM": pipes.get("depth_m", nothing) * 100.0,
            "STAND": pipes.get("record_date", empty),
            "GSW": words_of(pipes.get("excess_flow_valve", empty), _YES_DE),
        },
        geometry=shapes,
        crs=pipes.crs,
    )


def german(layers: Frames, folder: Path) -> Path:
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
            KUNDENART=words_of(customers["category"], _CATEGORY_DE),
            SCHUTZ=words_of(customers["priority"], _PRIORITY_DE),
            HINWEIS=customers["priority_note"],
            ANZ_ZAEHL=customers["meters"],
            JAHRESVERB=[
                f"{kwh:.1f}".replace(".", ",") if kwh == kwh else "" for kwh in customers["annual_kwh"]
            ],
            LEISTUNG=customers["peak_kw"],
            HA_NR=customers["service_id"].fillna("").str.replace(";", ","),
            HAUSREGLER=words_of(customers["service_regulator"], _YES_DE),
            SPRACHE=customers["language"],
        ),
        "REGELANL": stations[["geometry"]].assign(
            ANL_NR=stations["id"],
            P_AUS=stations["outlet_mbar"],
            P_MAX_BAR=stations["max_outlet_mbar"] / 1000.0,
            LEISTUNG=stations["capacity_m3h"],
            NETZ=words_of(stations["system"], _SYSTEM_DE),
            ZUSTAND=words_of(stations["status"], _STATUS_DE),
        ),
        "IMPULS": layers["sensing_points"].rename(columns={"station_id": "ANL_NR"}),
        "SCHIEBER": valves[["geometry"]].assign(
            SCHIEBERNR=valves["id"],
            STELLUNG=words_of(valves["state"], _STATE_DE),
            GANGBAR=words_of(valves["operable"], _YES_DE),
            NETZ=words_of(valves["system"], _SYSTEM_DE),
            UMDREHUNG=valves["turns_to_close"],
            DREHSINN=valves["closing_direction"],
            KAPPE=valves["cover_type"],
            ZUL_BETAET=valves["last_operated"],
            DN=valves["size_mm"],
            BEMERKUNG=valves["remark"],
        ),
        "FORMTEIL": fittings[["geometry"]].assign(
            TEIL_NR=fittings["id"],
            BAUART=words_of(fittings["kind"], _FITTING_DE),
            NETZ=words_of(fittings["system"], _SYSTEM_DE),
        ),
        "EINSPEIS": sources[["geometry"]].assign(
            EINSP_NR=sources["id"], NETZ=words_of(sources["system"], _SYSTEM_DE)
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

"""A company of code numbers: GeoParquet beside GeoJSON, ids with colons, rows in another order."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from tests.company_exports.words import Frames

__all__ = ["CODES", "coded"]

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


def coded(layers: Frames, folder: Path) -> Path:
    pipe = {
        "id": "recordNo",
        "material": "matCode",
        "od_mm": "outsideDiameter",
        "sdr": "ratio",
        "bore_mm": "insideDiameter",
        "system": "pressureClass",
        "status": "conditionCode",
        "mop_mbar": "mop",
        "street": "roadName",
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
        "id": "recordNo",
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
        "turns_to_close": "turns",
        "closing_direction": "closeDirection",
        "cover_type": "lid",
        "last_operated": "lastOperation",
        "size_mm": "nominalSize",
        "remark": "remarks",
    }
    names = {**pipe, **point, "reason": "note", "name": "label"}
    files = {
        "mains": ("pipe_main.parquet", "net"),
        "services": ("pipe_branch.parquet", "svc"),
        "customers": ("delivery_point.parquet", "dp"),
        "regulators": ("pressure_station.geojson", "reg"),
        "sensing_points": ("pressure_tap.geojson", "reg"),
        "valves": ("shutoff.geojson", "val"),
        "fittings": ("pipe_piece.parquet", "cmp"),
        "injections": ("entry_point.geojson", "ent"),
        "keep_out": ("restriction.geojson", ""),
        "streets": ("road.parquet", ""),
        "buildings": ("building.parquet", ""),
        "water": ("river.parquet", ""),
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

"""Exports of a town: under the contract's names, or under others with the mapping that explains them."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pyogrio

from tests.list_safety.towns import Layers

__all__ = ["FORMATS", "Export", "exported", "write_export"]

FORMATS: Final = ("gpkg", "gpkg", "geojson", "mapped", "mapped")
"""Ways an export is written, in turn: one GeoPackage, a folder of GeoJSON, a GeoPackage with a mapping."""

_LAYERS: Final = {
    "mains": "Pipe",
    "services": "Branch",
    "customers": "Supply",
    "regulators": "Governor",
    "sensing_points": "Impulse",
    "valves": "Cock",
    "fittings": "Item",
    "injections": "Entry",
    "keep_out": "NoDig",
}
_COLUMNS: Final = {
    "id": "No",
    "material": "Matl",
    "od_mm": "Outside",
    "sdr": "Ratio",
    "wall_mm": "Thick",
    "bore_mm": "Inside",
    "mop_mbar": "MostBar",
    "system": "Tier",
    "street": "Road",
    "status": "Stage",
    "year": "Laid",
    "address": "Premises",
    "number": "House",
    "postcode": "Area",
    "category": "Class",
    "priority": "Care",
    "priority_note": "CareText",
    "meters": "Count",
    "annual_kwh": "YearMWh",
    "peak_kw": "LoadKW",
    "service_id": "BranchNo",
    "service_regulator": "OwnReg",
    "language": "Tongue",
    "outlet_mbar": "OutletBar",
    "max_outlet_mbar": "FaultBar",
    "capacity_m3h": "MostFlow",
    "station_id": "GovernorNo",
    "state": "Pos",
    "operable": "Moves",
    "kind": "Sort",
    "reason": "Why",
}
_UNITS: Final = {
    "annual_kwh": ("MWh", 1000.0),
    "mop_mbar": ("bar", 1000.0),
    "outlet_mbar": ("bar", 1000.0),
    "max_outlet_mbar": ("bar", 1000.0),
}
_WORDS: Final[dict[str, dict[str, str]]] = {
    "status": {"live": "in use", "abandoned": "left in ground", "proposed": "drawn only"},
    "system": {"LP": "low", "MP": "medium"},
    "state": {"open": "O", "closed": "S", "unknown": "?"},
    "operable": {"yes": "turns", "no": "stuck", "unknown": "?"},
    "priority": {
        "care_home": "home for the old",
        "medical": "oxygen",
        "school": "pupils",
        "process": "works",
        "hospital": "wards",
    },
}
"""Words of the other export, where they are not those of the contract."""


@dataclass(frozen=True, slots=True, eq=False)
class Export:
    """Layers as a source holds them.

    Parameters
    ----------
    frames : dict
        Layers by the source's names.
    layer_of : dict
        Source name of each layer of the contract.
    column_of : dict
        Source name of each column of the contract, by (layer, column).
    words : dict
        Source word of each word of the contract, by column.
    file_format : str
        One of `FORMATS`.
    mapping : str
        The mapping; empty for none.
    """

    frames: dict[str, gpd.GeoDataFrame]
    layer_of: dict[str, str]
    column_of: dict[tuple[str, str], str]
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    file_format: str = "gpkg"
    mapping: str = ""

    def frame(self, layer: str) -> gpd.GeoDataFrame:
        """Return a layer by its name in the contract."""
        return self.frames[self.layer_of[layer]]

    def column(self, layer: str, column: str) -> str:
        """Return what the source calls a column of the contract."""
        return self.column_of[(layer, column)]

    def values(self, layer: str, column: str) -> Any:
        """Return a column by its name in the contract."""
        return self.frame(layer)[self.column(layer, column)]

    def has(self, layer: str, column: str) -> bool:
        """Return whether the source holds a column of the contract."""
        return (layer, column) in self.column_of

    def columns(self, layer: str) -> list[str]:
        """Return the columns of the contract that the source holds of a layer."""
        return [column for of, column in self.column_of if of == layer]

    def word(self, column: str, word: str) -> str:
        """Return what the source writes for a word of the contract."""
        return self.words.get(column, {}).get(word, word)

    def meant(self, column: str, word: str) -> str:
        """Return the word of the contract that a word of the source stands for."""
        return next((own for own, other in self.words.get(column, {}).items() if other == word), word)

    def with_frame(self, layer: str, frame: gpd.GeoDataFrame) -> Export:
        """Return an export with another frame in place of a layer."""
        return replace(self, frames={**self.frames, self.layer_of[layer]: frame})


def exported(layers: Layers, file_format: str) -> Export:
    """Return a town as an export of a format."""
    if file_format != "mapped":
        columns = {
            (layer, str(name)): str(name)
            for layer, frame in layers.items()
            for name in frame.columns
            if name != "geometry"
        }
        return Export(dict(layers), {layer: layer for layer in layers}, columns, {}, file_format)
    frames, columns = {}, {}
    for layer, frame in layers.items():
        names = {
            str(name): _COLUMNS.get(str(name), str(name)) for name in frame.columns if name != "geometry"
        }
        columns |= {(layer, name): other for name, other in names.items()}
        frames[_LAYERS[layer]] = _in_other_words(frame).rename(columns=names)
    held = {layer: _LAYERS[layer] for layer in layers}
    return Export(frames, held, columns, _WORDS, file_format, _mapping(held, columns))


def _in_other_words(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    changed = {}
    for name in frame.columns:
        if name in _WORDS:
            changed[name] = [_WORDS[name].get(value, value) for value in frame[name]]
        elif name in _UNITS:
            changed[name] = frame[name].astype(float) / _UNITS[name][1]
    return frame.assign(**changed)


def _mapping(layers: Mapping[str, str], columns: Mapping[tuple[str, str], str]) -> str:
    lines = []
    for layer, source in layers.items():
        lines += [f"[[{layer}]]", f'source = "{source}"', "", f"[{layer}.columns]"]
        for (of, name), other in columns.items():
            if of != layer:
                continue
            rule = f'from = "{other}"'
            if name in _UNITS:
                rule += f', unit = "{_UNITS[name][0]}"'
            if name in _WORDS:
                each = ", ".join(f'"{word}" = "{own}"' for own, word in _WORDS[name].items())
                rule += f", values = {{ {each} }}"
            lines.append(f"{name} = {{ {rule} }}")
        lines.append("")
    return "\n".join(lines)


def write_export(export: Export, folder: Path) -> tuple[Path, Path | None]:
    """Write an export into an empty folder; return the network's path and that of the mapping, if any."""
    # Nobody needs these files after a loss of power, and waiting for the disk is most of the time.
    pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})
    place = folder / ("network.gpkg" if export.file_format != "geojson" else "network")
    if export.file_format == "geojson":
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
    for name, frame in export.frames.items():
        if export.file_format == "geojson":
            # Digits enough that a place stays the same to the micrometre.
            pyogrio.write_dataframe(frame, place / f"{name}.geojson", COORDINATE_PRECISION=7)
        else:
            pyogrio.write_dataframe(frame, place, layer=name, append=place.exists())
    if not export.mapping:
        return place, None
    (folder / "mapping.toml").write_text(export.mapping, encoding="utf-8")
    return place, folder / "mapping.toml"

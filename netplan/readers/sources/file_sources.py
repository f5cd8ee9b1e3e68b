"""Sources on disk: one GeoPackage, one file geodatabase, or a folder of files."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.network.raw_layers import RawLayer, without_single_collections
from netplan.readers.sources.file_limits import (
    LIMITS,
    FileLimits,
    guard_file,
    guard_geodatabase,
    guard_inside,
    guard_rows,
    guard_table,
)
from netplan.readers.sources.geoparquet import fields_of_geoparquet, read_geoparquet, rows_of_parquet
from netplan.readers.sources.layer_source import Area, Field, content_of_files
from netplan.readers.sources.ogr import OgrLayer, layer_names, look_at_ogr, read_ogr

__all__ = ["FolderSource", "GeoPackageSource", "GeodatabaseSource", "is_geodatabase"]

_PARQUET: Final = (".parquet", ".geoparquet")
_OGR: Final = (".geojson", ".json", ".shp")
_BESIDE_SHP: Final = (".shx", ".dbf", ".prj", ".cpg")
_OTHER: Final = (
    *(".gpkg", ".gdb", ".sqlite", ".gml", ".kml", ".kmz", ".tab", ".mif", ".fgb", ".dxf", ".dwg"),
    *(".geojsonl", ".ndjson", ".csv", ".tsv", ".txt", ".xlsx", ".xls", ".ods", ".dbf", ".zip", ".gz", ".7z"),
)
"""Endings of files that may hold a layer, but are not read from a folder."""


class _GdalSource:
    """Layers that GDAL finds in one file or folder; each is looked at once."""

    def __init__(self, path: Path, limits: FileLimits) -> None:
        self._path = path
        self._limits = limits
        self._seen: dict[str, OgrLayer] = {}

    @property
    def name(self) -> str:
        """The path."""
        return str(self._path)

    def layer_names(self) -> tuple[str, ...]:
        """Return the names of the layers, sorted."""
        return layer_names(self._path)

    def fields(self, layer: str) -> tuple[Field, ...]:
        """Return the columns of a layer."""
        return self._look(layer).fields

    def read(self, layer: str, columns: Sequence[str], *, within: Area | None = None) -> RawLayer:
        """Read some columns of a layer and its geometry."""
        return read_ogr(self._look(layer), columns, within)

    def count(self, layer: str) -> int:
        """Return how many features a layer has."""
        return self._look(layer).rows

    def _look(self, layer: str) -> OgrLayer:
        if layer not in self._seen:
            held = look_at_ogr(self._path, layer, layer)
            guard_rows(f"{self._path}: layer {layer}", held.rows, self._limits)
            self._seen[layer] = held
        return self._seen[layer]


class GeoPackageSource(_GdalSource):
    """The layers of one GeoPackage.

    Parameters
    ----------
    path : Path
        The file.
    limits : FileLimits
        How large it may be.
    """

    def __init__(self, path: Path, limits: FileLimits = LIMITS) -> None:
        if path.suffix.lower() != ".gpkg":
            raise BadInputError(f"{path}: is no GeoPackage; give a .gpkg file or a folder of layers")
        guard_file(path, limits)
        super().__init__(path, limits)

    def content_key(self, within: Area | None, layers: Collection[str]) -> str:  # noqa: ARG002
        """Return a digest of the file, and of the journal beside it that may hold newer rows."""
        journal = self._path.with_name(f"{self._path.name}-wal")
        return content_of_files([self._path, *([journal] if journal.is_file() else [])])

    def _look(self, layer: str) -> OgrLayer:
        if layer not in self._seen:
            guard_table(self._path, layer)
        return super()._look(layer)


def is_geodatabase(path: Path) -> bool:
    """Return whether a folder is named as a file geodatabase is."""
    return path.suffix.lower() == ".gdb"


class GeodatabaseSource(_GdalSource):
    """The layers of one file geodatabase (FileGDB): a folder named ``….gdb``; it is only read.

    Parameters
    ----------
    path : Path
        The folder.
    limits : FileLimits
        How large it may be.
    """

    def __init__(self, path: Path, limits: FileLimits = LIMITS) -> None:
        super().__init__(path, limits)
        self._files = guard_geodatabase(path, limits)

    def read(self, layer: str, columns: Sequence[str], *, within: Area | None = None) -> RawLayer:
        """Read some columns of a layer and its geometry."""
        raw = super().read(layer, columns, within=within)
        # A geodatabase stores every line and area as one of several parts, be it a single one.
        return replace(raw, geometry=without_single_collections(raw.geometry))

    def content_key(self, within: Area | None, layers: Collection[str]) -> str:  # noqa: ARG002
        """Return a digest of all files but the locks that other programs leave."""
        return content_of_files(file for file in self._files if file.suffix.lower() != ".lock")


class FolderSource:
    """A folder of GeoParquet, GeoJSON and Shapefiles; a layer is named as its file, without the ending.

    Parameters
    ----------
    path : Path
        The folder.
    limits : FileLimits
        How large its files may be.
    """

    def __init__(self, path: Path, limits: FileLimits = LIMITS) -> None:
        self._path = path
        self._limits = limits
        self._guarded: set[Path] = set()
        self._files: dict[str, list[Path]] = {}
        self._seen: dict[str, OgrLayer] = {}
        self._others: list[str] = []
        for file in sorted(path.iterdir()):
            if file.suffix.lower() in (*_PARQUET, *_OGR) and file.is_file():
                self._files.setdefault(file.stem, []).append(file)
            elif not file.name.startswith("."):
                self._others += _others(file)
        if not self._files:
            raise BadInputError(
                f"{path}: holds no layers; put mains.parquet, mains.geojson or mains.shp and the others there"
            )

    @property
    def name(self) -> str:
        """The path."""
        return str(self._path)

    def layer_names(self) -> tuple[str, ...]:
        """Return the names of the layers, sorted."""
        return tuple(sorted(self._files))

    def fields(self, layer: str) -> tuple[Field, ...]:
        """Return the columns of a layer."""
        file = self._file(layer)
        return (
            fields_of_geoparquet(file) if file.suffix.lower() in _PARQUET else self._look(layer, file).fields
        )

    def read(self, layer: str, columns: Sequence[str], *, within: Area | None = None) -> RawLayer:
        """Read some columns of a layer and its geometry."""
        file = self._file(layer)
        if file.suffix.lower() in _PARQUET:
            return read_geoparquet(file, layer, columns, within, self._limits)
        return read_ogr(self._look(layer, file), columns, within)

    def count(self, layer: str) -> int:
        """Return how many features a layer has; -1 where the file does not say."""
        file = self._file(layer)
        return rows_of_parquet(file) if file.suffix.lower() in _PARQUET else self._look(layer, file).rows

    def other_files(self) -> tuple[str, ...]:
        """Return files of other kinds, and those of a folder within, which are no layers here."""
        beside = {
            file.stem for some in self._files.values() for file in some if file.suffix.lower() == ".shp"
        }
        is_beside = [name.lower().endswith(".dbf") and name[:-4] in beside for name in self._others]
        return tuple(sorted(name for name, own in zip(self._others, is_beside, strict=True) if not own))

    def content_key(self, within: Area | None, layers: Collection[str]) -> str:  # noqa: ARG002
        """Return a digest of the files of all layers, and of the names of those that are none."""
        files = [file for held in self._files.values() for file in held]
        beside = [
            file.with_suffix(suffix)
            for file in files
            if file.suffix.lower() == ".shp"
            for suffix in (*_BESIDE_SHP, *(suffix.upper() for suffix in _BESIDE_SHP))
        ]
        held = content_of_files(sorted({*files, *(file for file in beside if file.is_file())}))
        return "\n".join((held, *(repr(name) for name in self.other_files())))

    def _look(self, layer: str, file: Path) -> OgrLayer:
        # GeoJSON is read whole to be looked at, so once is enough.
        if layer not in self._seen:
            held = look_at_ogr(file, layer)
            guard_rows(f"{self._path}: layer {layer}", held.rows, self._limits)
            self._seen[layer] = held
        return self._seen[layer]

    def _file(self, layer: str) -> Path:
        files = self._files.get(layer, [])
        if len(files) > 1:
            names = " and ".join(file.name for file in files)
            raise BadInputError(f"{self._path}: layer {layer} stands in {names}; keep one of them")
        if not files:
            raise BadInputError(f"{self._path}: holds no layer {layer}; correct its name")
        if files[0] not in self._guarded:
            guard_inside(files[0], self._path)
            guard_file(files[0], self._limits)
            self._guarded.add(files[0])
        return files[0]


def _others(path: Path) -> list[str]:
    """Return names of files that may hold a layer: of kinds not read, or in a folder of its own."""
    if path.suffix.lower() in _OTHER:
        return [path.name]
    try:
        inside = sorted(path.iterdir()) if path.is_dir() and not path.is_symlink() else []
    except OSError:
        return []
    return [f"{path.name}/{file.name}" for file in inside if file.suffix.lower() in (*_PARQUET, *_OGR)]

"""Sources by district: a folder that holds a network for each, or a schema with a district column."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Protocol

from netplan.core.errors import BadInputError
from netplan.core.extras import require_extra
from netplan.core.input_paths import network_path
from netplan.network.contract import layer_specs
from netplan.readers.sources.file_limits import LIMITS, FileLimits
from netplan.readers.sources.file_sources import FolderSource, GeoPackageSource
from netplan.readers.sources.layer_source import HasContentKey, LayerSource

__all__ = ["DistrictSource", "FolderDistricts", "content_of", "open_districts"]

_LAYER_FILES: Final = (".parquet", ".geoparquet", ".geojson", ".json", ".shp")
_GEOPACKAGE: Final = ".gpkg"


class DistrictSource(Protocol):
    """A source whose features stand in one district each."""

    @property
    def name(self) -> str:
        """What the source is called in messages; never holds a password."""

    def districts(self) -> tuple[str, ...]:
        """Return the names of the districts, sorted."""

    def layers_of(self, district: str) -> LayerSource:
        """Return the source of the layers of one district.

        Raises
        ------
        BadInputError
            When it is not there, or cannot be read.
        """

    def quick_key(self, district: str) -> str:
        """Return a text that differs when the district was written to, found without reading it."""


class FolderDistricts:
    """A folder of districts: each a folder of layers or a GeoPackage, named after the district.

    Parameters
    ----------
    path : Path
    limits : FileLimits
        How large the files of a district may be.
    """

    def __init__(self, path: Path, limits: FileLimits = LIMITS) -> None:
        self._path, self._limits = path, limits
        self._places: dict[str, Path] = {}
        loose = []
        for entry in sorted(path.iterdir()):
            if entry.name.startswith("."):
                continue
            if entry.is_dir() or entry.suffix.lower() == _GEOPACKAGE:
                name = entry.name if entry.is_dir() else entry.stem
                if name in self._places:
                    raise BadInputError(f"{path}: district {name} is a folder and a file; keep one of them")
                self._places[name] = entry
            elif entry.suffix.lower() in _LAYER_FILES:
                loose.append(entry.name)
        if loose:
            raise BadInputError(
                f"{path}: holds {loose[0]} beside the districts; give each district a folder of its own, "
                "and put the layers there"
            )
        if not self._places:
            raise BadInputError(f"{path}: holds no district; give each a folder of layers or a GeoPackage")

    @property
    def name(self) -> str:
        """The path."""
        return str(self._path)

    def districts(self) -> tuple[str, ...]:
        """Return the names of the folders and GeoPackages, sorted."""
        return tuple(sorted(self._places))

    def layers_of(self, district: str) -> LayerSource:
        """Return the source of one district."""
        place = self._place(district)
        return FolderSource(place, self._limits) if place.is_dir() else GeoPackageSource(place, self._limits)

    def quick_key(self, district: str) -> str:
        """Return names, sizes and times of the files of a district."""
        place = self._place(district)
        files = sorted(file for file in place.iterdir() if file.is_file()) if place.is_dir() else [place]
        stats = [(file.name, file.stat()) for file in files]
        return "\n".join(f"{name} {stat.st_size} {stat.st_mtime_ns}" for name, stat in stats)

    def _place(self, district: str) -> Path:
        if district not in self._places:
            raise BadInputError(f"{self._path}: holds no district {district}; put it back, or index again")
        return self._places[district]


def open_districts(text: str, column: str | None = None, limits: FileLimits = LIMITS) -> DistrictSource:
    """Return the source by district that a text names.

    Parameters
    ----------
    text : str
        Path of a folder of districts, or URL of a PostGIS database.
    column : str, optional
        Column of the tables that names the district; of a database alone, there it is needed.
    limits : FileLimits

    Raises
    ------
    BadInputError
        When there is no district.
    MissingExtraError
        When it is a database and the extra `database` is not installed.
    """
    path = network_path(text)
    if path is None:
        if not column:
            raise BadInputError(
                "--column: a database needs it; name the column that holds the district of each row"
            )
        require_extra("database", "A network in a database")
        from netplan.readers.districts.postgis_districts import PostgisDistricts

        return PostgisDistricts(text, column)
    if column:
        raise BadInputError("--column is for a database; a folder names its districts by their folders")
    if not path.is_dir():
        raise BadInputError(f"{path}: is no folder of districts; give each district a folder in one folder")
    return FolderDistricts(path, limits)


def content_of(source: LayerSource) -> str:
    """Return a text that differs whenever anything in a district differs."""
    return source.content_key(None, set(layer_specs())) if isinstance(source, HasContentKey) else ""

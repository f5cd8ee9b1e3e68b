"""Opening a source: from the path or database URL that a person writes to the layers behind it."""

from __future__ import annotations

from pathlib import Path

from netplan.core.errors import BadInputError
from netplan.core.extras import require_extra
from netplan.core.input_paths import network_path
from netplan.readers.sources.file_limits import LIMITS, FileLimits
from netplan.readers.sources.file_sources import (
    FolderSource,
    GeodatabaseSource,
    GeoPackageSource,
    is_geodatabase,
)
from netplan.readers.sources.layer_source import LayerSource

__all__ = ["open_source"]


def open_source(text: str | Path, limits: FileLimits = LIMITS) -> LayerSource:
    """Return the source that a text names.

    Parameters
    ----------
    text : str or Path
        Path of a GeoPackage, of a file geodatabase (a folder ``….gdb``), or of a folder of ``.parquet``,
        ``.geojson`` and ``.shp`` files; or the standard URL of a PostGIS database, with ``schema=NAME`` among
        its parameters.
    limits : FileLimits
        How large files may be; `UNLIMITED` for any size.

    Raises
    ------
    BadInputError
        When there is nothing that can be read.
    MissingExtraError
        When it is a database and the extra `database` is not installed.
    """
    path = network_path(text)
    if path is None:
        require_extra("database", "A network in a database")
        from netplan.readers.sources.postgis import PostgisSource

        return PostgisSource(str(text))
    try:
        if path.is_dir() and is_geodatabase(path.resolve()):
            return GeodatabaseSource(path.resolve(), limits)
        if path.is_dir():
            return FolderSource(path, limits)
        return GeoPackageSource(path, limits)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error}); check the file") from error

"""Layers of a GeoPackage or of a folder of files, as they stand."""

from __future__ import annotations

from pathlib import Path

from netplan.errors import BadInputError
from netplan.network.bulk import no_collecting
from netplan.network.contract import layer_specs
from netplan.network.raw import RawLayer, RawLayers
from netplan.readers.geoparquet import read_geoparquet
from netplan.readers.ogr import layer_names, read_ogr

__all__ = ["read_layers"]

_PARQUET = (".parquet", ".geoparquet")
_OGR = (".geojson", ".json", ".shp")


def read_layers(path: str | Path) -> RawLayers:
    """Read the layers of the input contract that a source holds, untouched.

    Parameters
    ----------
    path : str or Path
        One GeoPackage, or a folder of ``<layer>.parquet``, ``.geojson`` or ``.shp`` files. Other files,
        layers and columns are left alone.

    Raises
    ------
    BadInputError
        When the path holds no network, a layer stands in two files, or a file cannot be read.
    """
    place = Path(path)
    try:
        with no_collecting():
            layers = _layers(place)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error}); check the file") from error
    return RawLayers(str(path), layers)


def _layers(path: Path) -> dict[str, RawLayer]:
    if path.is_dir():
        return _folder(path)
    if path.is_file():
        return _geopackage(path)
    raise BadInputError(f"{path}: no such file or folder; give a GeoPackage or a folder of layers")


def _geopackage(path: Path) -> dict[str, RawLayer]:
    if path.suffix.lower() != ".gpkg":
        raise BadInputError(f"{path}: is no GeoPackage; give a .gpkg file or a folder of layers")
    held = layer_names(path)
    found = {name: read_ogr(path, name, layer=name) for name in layer_specs() if name in held}
    if not found:
        raise BadInputError(
            f"{path}: holds no layer of the input contract; name its layers mains, services, …"
        )
    return found


def _folder(path: Path) -> dict[str, RawLayer]:
    files: dict[str, Path] = {}
    for file in sorted(path.iterdir()):
        suffix, name = file.suffix.lower(), file.stem
        if name not in layer_specs() or suffix not in (*_PARQUET, *_OGR) or not file.is_file():
            continue
        if name in files:
            raise BadInputError(
                f"{path}: layer {name} stands in {files[name].name} and {file.name}; keep one of them"
            )
        files[name] = file
    if not files:
        raise BadInputError(
            f"{path}: holds no layers; put mains.parquet, mains.geojson or mains.shp and the others there"
        )
    return {
        name: read_geoparquet(file, name) if file.suffix.lower() in _PARQUET else read_ogr(file, name)
        for name, file in files.items()
    }

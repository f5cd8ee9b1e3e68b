"""A mended network as a new GeoPackage, and the list of what was changed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyogrio
import shapely
from rich.console import Console

from netplan.core.errors import BadInputError, in_brief, shown
from netplan.network.raw_layers import RawLayer, as_objects
from netplan.network.repair import Change, RepairedLayers
from netplan.outputs.atomic_writes import write_file
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.terminal.column_layout import PLAIN, TableColumn, print_table
from netplan.outputs.terminal.wrapped_lines import print_lines

__all__ = ["changes_json", "print_changes", "write_changes", "write_network_layers"]


def write_network_layers(layers: Mapping[str, RawLayer], path: Path, *, private: bool = True) -> None:
    """Write layers of a network into a new GeoPackage, whole or not at all.

    Parameters
    ----------
    layers : mapping of str to RawLayer
    path : Path
    private : bool
        Whether only its owner may read it: it holds what the source holds, priority notes too.

    Raises
    ------
    BadInputError
        When something stands there already, the name is no ``.gpkg``, or it cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise BadInputError(f"{path}: exists already; choose another name for the new network")

    def make(part: Path) -> None:
        try:
            for name, layer in layers.items():
                _write(layer, part, name)
            if private:
                part.chmod(0o600)
        except (pyogrio.errors.DataSourceError, pa.ArrowException, RuntimeError) as error:
            raise OSError(" ".join(str(error).split())) from error

    write_file(path, make, suffix=".gpkg")


def _write(layer: RawLayer, path: Path, name: str) -> None:
    shapes = as_objects(layer.geometry)
    columns = {field: _plain(layer.columns[field]) for field in layer.columns.column_names}
    table = pa.table({**columns, "geom": pa.array(shapely.to_wkb(shapes), type=pa.binary())})
    kind = "Point Z" if bool(shapely.has_z(shapes).any()) else "Point"
    kinds = {shape.geom_type for shape in shapes if shape is not None}
    z = " Z" if kind.endswith("Z") else ""
    pyogrio.write_arrow(
        table,
        path,
        layer=name,
        driver="GPKG",
        geometry_name="geom",
        geometry_type=f"{kinds.pop()}{z}" if len(kinds) == 1 else "Unknown",
        crs=None if layer.crs is None else layer.crs.to_wkt(),
    )


def _plain(column: Any) -> Any:
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    if pa.types.is_null(array.type) or pa.types.is_nested(array.type) or pa.types.is_binary(array.type):
        return pa.array([None if v is None else str(v) for v in array.to_pylist()], type=pa.string())
    return array


def changes_json(mended: RepairedLayers) -> str:
    """Return what was changed, and what was left and why, as JSON."""
    rows = {
        "changed": [asdict(change) for change in mended.changes],
        "left": [asdict(change) for change in mended.left],
    }
    return json.dumps(rows, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_changes(mended: RepairedLayers, path: Path) -> None:
    """Write the list of changes as JSON, whole or not at all."""
    text = changes_json(mended)
    write_file(path, lambda part: part.write_text(text, encoding="utf-8", newline="\n"))


def print_changes(mended: RepairedLayers, console: Console, *, units: Figures = METRIC) -> None:
    """Print what was changed, and what was left and why."""
    for title, rows in (("Changed", mended.changes), ("Left for a person", mended.left)):
        if rows:
            print_table(console, _columns(rows, units), title=title, lines=PLAIN)
    print_lines(console, [f"{len(mended.changes)} changes, {len(mended.left)} left for a person"])


def _columns(rows: Sequence[Change], units: Figures) -> list[TableColumn]:
    cells = [(row.layer, shown(row.feature_id), row.code, units.sentence(in_brief(row.what))) for row in rows]
    names = ("layer", "feature", "finding", "what")
    return [TableColumn(name, tuple(row[k] for row in cells)) for k, name in enumerate(names)]

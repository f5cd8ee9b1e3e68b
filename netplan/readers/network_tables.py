"""A joined network as Arrow tables and back, every array the same to the last bit.

Pipes, customers, nodes, keep-out and base map layers become GeoParquet, which any GIS opens; the joins
between them plain Parquet. Nothing in them is ever run: they hold numbers and texts alone.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from typing import Any, Final, get_type_hints

import geopandas
import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from netplan.core.findings import Finding, Severity
from netplan.network import model
from netplan.network.text_column import TextColumn

__all__ = ["facts_of", "network_of", "tables_of"]

_PARTS: Final[dict[str, type[Any]]] = {
    "nodes": model.Nodes,
    "pipes": model.Pipes,
    "pieces": model.Pieces,
    "valves": model.Valves,
    "stations": model.Stations,
    "sensing": model.SensingPoints,
    "injections": model.Injections,
    "customers": model.Customers,
    "fittings": model.Fittings,
    "set_aside": model.SetAside,
}
"""Parts of a network that are a table each."""

_KEPT_OTHERWISE: Final = {
    "pipes": ("n_mains", "coords_m", "coord_start"),
    "customers": ("x_m", "y_m", "attach_start", "attach_node"),
    "nodes": ("x_m", "y_m"),
}
"""Fields that are kept in another way than as a column."""

_FINDING: Final = ("code", "layer", "feature_id", "severity", "what", "mend", "x_m", "y_m")
_BASE: Final = "base_"
Tables = dict[str, pa.Table]


def tables_of(network: model.Network) -> Tables:
    """Return the tables that hold a network."""
    crs = CRS.from_user_input(network.crs)
    columns = {name: _columns(name, getattr(network, name)) for name in _PARTS}
    pipes, customers, nodes = network.pipes, network.customers, network.nodes
    columns["customers"]["attach_node"] = _lists(customers.attach_start, pa.array(customers.attach_node))
    lines = _lists(pipes.coord_start, _places(pipes.coords_m[:, 0], pipes.coords_m[:, 1]))
    tables = {name: pa.table(held) for name, held in columns.items()}
    tables["pipes"] = _with_geometry(tables["pipes"], lines, "linestring", "LineString", crs)
    for name, part in (("customers", customers), ("nodes", nodes)):
        tables[name] = _with_geometry(tables[name], _places(part.x_m, part.y_m), "point", "Point", crs)
    keep_out = pa.table({"reason": network.keep_out.reason.arrow})
    shapes = pa.array(list(shapely.to_wkb(network.keep_out.geometry)), type=pa.binary())
    tables["keep_out"] = _with_geometry(keep_out, shapes, "WKB", None, crs)
    tables |= {_BASE + name: _base_table(frame) for name, frame in network.base.items()}
    tables["not_live"] = pa.table({"id": network.not_live.arrow})
    tables["findings"] = _findings_table(network.findings)
    return tables


def facts_of(network: model.Network) -> dict[str, Any]:
    """Return what is no table, for JSON."""
    return {
        "content_sha256": network.content_sha256,
        "crs": network.crs,
        "crs_note": network.crs_note,
        "scale": network.scale,
        "systems": list(network.systems),
        "recorded": sorted(network.recorded),
        "n_mains": network.pipes.n_mains,
        "base": list(network.base),
    }


def network_of(tables: Mapping[str, pa.Table], facts: Mapping[str, Any], source: str) -> model.Network:
    """Return the network that tables and facts hold.

    Raises
    ------
    KeyError, ValueError, TypeError, pyarrow.ArrowException
        When they are none.
    """
    apart = {name: {} for name in _PARTS} | {
        "pipes": {"n_mains": int(facts["n_mains"])} | _lines(tables["pipes"]),
        "customers": _points(tables["customers"]) | _attachments(tables["customers"]),
        "nodes": _points(tables["nodes"]),
    }
    parts = {name: kind(**_fields(kind, name, tables[name]), **apart[name]) for name, kind in _PARTS.items()}
    keep_out = tables["keep_out"]
    geometry = np.asarray(shapely.from_wkb(_one(keep_out["geometry"]).to_pylist()), dtype=object)
    return model.Network(
        source=source,
        content_sha256=str(facts["content_sha256"]),
        crs=str(facts["crs"]),
        crs_note=str(facts["crs_note"]),
        scale=float(facts["scale"]),
        systems=tuple(str(name) for name in facts["systems"]),
        recorded=frozenset(str(name) for name in facts["recorded"]),
        **parts,
        keep_out=model.KeepOut(geometry, TextColumn(keep_out["reason"])),
        findings=_findings(tables["findings"]),
        base={str(name): _base_frame(tables[_BASE + str(name)]) for name in facts["base"]},
        not_live=TextColumn(tables["not_live"]["id"]),
    )


def _columns(name: str, part: Any) -> dict[str, Any]:
    return {
        field.name: _arrow(getattr(part, field.name))
        for field in fields(part)
        if field.name not in _KEPT_OTHERWISE.get(name, ())
    }


def _arrow(values: Any) -> Any:
    return values.arrow if isinstance(values, TextColumn) else pa.array(values)


def _fields(kind: type[Any], name: str, table: pa.Table) -> dict[str, Any]:
    hints = get_type_hints(kind)
    names = [field.name for field in fields(kind) if field.name not in _KEPT_OTHERWISE.get(name, ())]
    return {
        column: TextColumn(table[column]) if hints[column] is TextColumn else _numpy(table[column])
        for column in names
    }


def _numpy(column: Any) -> NDArray[Any]:
    # Arrow's memory is read-only; a network from a source has arrays of its own.
    return np.array(_one(column).to_numpy(zero_copy_only=False))


def _one(column: Any) -> Any:
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _lists(start: NDArray[np.integer[Any]], values: Any) -> Any:
    return pa.LargeListArray.from_arrays(pa.array(start.astype(np.int64)), values)


def _places(x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> Any:
    return pa.StructArray.from_arrays(
        [pa.array(np.ascontiguousarray(x_m)), pa.array(np.ascontiguousarray(y_m))], ["x", "y"]
    )


def _with_geometry(table: pa.Table, shapes: Any, encoding: str, kind: str | None, crs: CRS) -> pa.Table:
    column = {
        "encoding": encoding,
        "geometry_types": [kind] if kind else [],
        "crs": crs.to_json_dict(),
    }
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    return table.append_column("geometry", shapes).replace_schema_metadata({"geo": json.dumps(geo)})


def _lines(table: pa.Table) -> dict[str, Any]:
    shapes = _one(table["geometry"])
    start = np.array(shapes.offsets.to_numpy(zero_copy_only=False), dtype=np.int64)
    places = shapes.flatten()
    coords = np.column_stack([places.field(axis).to_numpy(zero_copy_only=False) for axis in ("x", "y")])
    return {"coords_m": coords, "coord_start": start}


def _points(table: pa.Table) -> dict[str, Any]:
    places = _one(table["geometry"])
    return {f"{axis}_m": _numpy(places.field(axis)) for axis in ("x", "y")}


def _attachments(table: pa.Table) -> dict[str, Any]:
    lists = _one(table["attach_node"])
    start = np.array(lists.offsets.to_numpy(zero_copy_only=False), dtype=np.int32)
    return {"attach_start": start, "attach_node": _numpy(lists.flatten())}


def _base_table(frame: geopandas.GeoDataFrame) -> pa.Table:
    shapes = pa.array(list(shapely.to_wkb(frame.geometry.to_numpy())), type=pa.binary())
    names = pa.table({"name": pa.array(frame["name"], type=pa.string())})
    return _with_geometry(names, shapes, "WKB", None, CRS.from_user_input(frame.crs))


def _base_frame(table: pa.Table) -> geopandas.GeoDataFrame:
    crs = _crs(table.schema.metadata[b"geo"])
    shapes = shapely.from_wkb(_one(table["geometry"]).to_pylist())
    return geopandas.GeoDataFrame({"name": table["name"].to_pylist()}, geometry=list(shapes), crs=crs)


@lru_cache(maxsize=8)
def _crs(geo: bytes) -> CRS:
    return CRS.from_json_dict(json.loads(geo)["columns"]["geometry"]["crs"])


def _findings_table(found: tuple[Finding, ...]) -> pa.Table:
    return pa.table(
        {
            name: pa.array(
                [getattr(finding, name) for finding in found],
                type=pa.float64() if name in ("x_m", "y_m") else pa.string(),
            )
            for name in _FINDING
        }
    )


def _findings(table: pa.Table) -> tuple[Finding, ...]:
    rows = zip(*(table[name].to_pylist() for name in _FINDING), strict=True)
    return tuple(
        Finding(code, layer, feature_id, Severity(severity), what, mend, x_m, y_m)
        for code, layer, feature_id, severity, what, mend, x_m, y_m in rows
    )

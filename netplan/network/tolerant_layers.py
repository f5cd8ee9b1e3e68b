"""Raw layers mended so that what exists is kept: for an answer that has to come, whatever the records.

Planned work is refused on such records; an emergency is not. Nothing is corrected in silence: every feature
that is changed is named by a finding, and an id that had to be made up says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from netplan.core.errors import BadNetworkError
from netplan.core.findings import Severity
from netplan.network.contract import layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text
from netplan.network.normalised_layers import NormalisedLayers
from netplan.network.projection import horizontal
from netplan.network.raw_layers import LINE, FlatShapes, RawLayer, as_objects, as_raw, bounds_of
from netplan.network.text_column import TextColumn

__all__ = ["mended_layers", "note_all_made_up", "recorded_id", "rows_of_id"]

_MADE_UP: Final = re.compile(r"^(.*?) ?\((record|no id) \d+\)$", re.DOTALL)
_PART: Final = re.compile(r"^(.+)/\d+$", re.DOTALL)
_LINES: Final = ("mains", "services")
_RING, _COLLECTION = 2, 7
_NO_CRS: Final = 32631
"""Where no layer says where it lies: coordinates are then taken as metres of some grid (own)."""


def recorded_id(name: str) -> str:
    """Return an id as it stands in the records: without what was added to make it the only one."""
    found = _MADE_UP.match(name)
    return name if found is None else found[1]


def rows_of_id(ids: TextColumn, name: str) -> tuple[int, ...]:
    """Return the rows of all features of one id in the records, ascending; none for an unknown one."""
    wanted = recorded_id(name)
    first = ids.find(name)
    if not wanted:
        return () if first < 0 else (first,)
    rows = [ids.find(wanted), first]
    number = 2
    while (row := ids.find(f"{wanted} (record {number})")) >= 0:
        rows.append(row)
        number += 1
    return tuple(sorted({row for row in rows if row >= 0}))


def mended_layers(layers: Mapping[str, Any], notes: FindingLog) -> dict[str, RawLayer]:
    """Return raw layers, none missing, of one CRS, with ids of their own and lines that can be read.

    Raises
    ------
    BadNetworkError
        When there are no mains.
    """
    raw = {name: as_raw(name, layers[name]) for name in layer_specs() if name in layers}
    if not len(raw.get("mains", ())):
        raise BadNetworkError("the network holds no main; give a layer mains")
    for name, spec in layer_specs().items():
        if spec.required and name not in raw:
            notes.add(
                "missing-layer",
                name,
                "",
                Severity.ERROR,
                "the layer is missing; nothing of it is known",
                "add it",
            )
            raw[name] = RawLayer(name, pa.table({}), np.zeros(0, dtype=object), raw["mains"].crs)
    raw = _of_one_crs(raw, notes)
    for name, spec in layer_specs().items():
        if name in raw and len(raw[name]):
            mended = _mended_lines(raw[name], notes) if name in _LINES else raw[name]
            raw[name] = _with_own_ids(mended) if spec.has_id else mended
    if len(raw["customers"]) and len(raw.get("services", ())):
        raw["customers"] = _on_every_service(raw["customers"], raw["services"])
    return raw


def _of_one_crs(raw: dict[str, RawLayer], notes: FindingLog) -> dict[str, RawLayer]:
    """Return layers in the CRS of the mains; one without a CRS is taken to be in it."""
    common = next((layer.crs for layer in raw.values() if _is_usable(layer.crs)), None)
    if _is_usable(raw["mains"].crs):
        common = raw["mains"].crs
    if common is None:
        west, south, east, north = np.nan_to_num(bounds_of(raw["mains"].geometry), nan=np.inf).tolist()
        is_degrees = max(-west, east) <= 180.0 and max(-south, north) <= 90.0
        common = CRS.from_epsg(4326 if is_degrees else _NO_CRS)
        what = "no layer has a coordinate reference system: longitudes, latitudes and lengths may be wrong"
        notes.add("crs-missing", "", "", Severity.ERROR, what, "store one with every layer")
    found = {}
    for name, layer in raw.items():
        if layer.crs is None or not _is_usable(layer.crs):
            found[name] = replace(layer, crs=common)
            if len(layer):
                what = "has no usable coordinate reference system; taken as that of the mains"
                notes.add("crs-missing", name, "", Severity.ERROR, what, "store one with the layer")
            continue
        crs, wanted = horizontal(layer.crs), horizontal(common)
        if crs == wanted or crs.equals(wanted, ignore_axis_order=True) or not len(layer):
            found[name] = replace(layer, crs=common)
            continue
        what = f"is in {crs.name}, the mains in {wanted.name}; it is reprojected"
        notes.add("crs-disagree", name, "", Severity.ERROR, what, "store all layers in one")
        found[name] = _reprojected(layer, crs, wanted, common)
    return found


def _is_usable(crs: CRS | None) -> bool:
    return crs is not None and (horizontal(crs).is_projected or horizontal(crs).is_geographic)


def _reprojected(layer: RawLayer, crs: CRS, wanted: CRS, common: CRS) -> RawLayer:
    def moved(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        x, y = Transformer.from_crs(crs, wanted, always_xy=True).transform(xy[:, 0], xy[:, 1])
        return np.column_stack([x, y])

    try:
        shapes: Any = shapely.transform(shapely.force_2d(as_objects(layer.geometry)), moved)
    except (ProjError, shapely.errors.GEOSException):
        return replace(layer, crs=common)
    return replace(layer, geometry=np.asarray(shapes, dtype=object), crs=common)


def _mended_lines(layer: RawLayer, notes: FindingLog) -> RawLayer:
    """Return lines with vertices that are no numbers left out, rings and collections taken as lines."""
    if isinstance(layer.geometry, FlatShapes) and np.isfinite(layer.geometry.coords[:, :2]).all():
        return layer
    shapes = as_objects(layer.geometry).copy()
    kind = shapely.get_type_id(shapes)
    for row in np.flatnonzero(np.isin(kind, (_RING, _COLLECTION))).tolist():
        shapes[row] = _lines_of(shapes[row])
    kind = shapely.get_type_id(shapes)
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    broken = np.unique(owner[~np.isfinite(xy).all(axis=1)])
    broken = broken[kind[broken] == LINE]
    for row in broken.tolist():
        whole = xy[owner == row]
        good = whole[np.isfinite(whole).all(axis=1)]
        if len(good) > 1:
            shapes[row] = shapely.LineString(good)
    names = column_text(layer.columns["id"]) if "id" in layer.columns.column_names else None
    notes.add_each(
        "odd-coordinates",
        layer.name,
        names,
        broken,
        Severity.ERROR,
        "has vertices that are not numbers; they are left out, so its route there is not known",
        "correct the geometry",
    )
    return replace(layer, geometry=shapes)


def _lines_of(shape: Any) -> Any:
    if shape.geom_type == "LinearRing":
        return shapely.LineString(shape.coords) if not shape.is_empty else shape
    lines = [part for part in shapely.get_parts(shape).tolist() if part.geom_type == "LineString"]
    return shapely.MultiLineString(lines) if lines else shape


def _with_own_ids(layer: RawLayer) -> RawLayer:
    """Return a layer in which every feature has an id of its own; one that was made up says so."""
    n = len(layer)
    given = TextColumn([""] * n)
    if "id" in layer.columns.column_names:
        given = column_text(layer.columns["id"])
    array = given.arrow
    is_plain = pc.count_distinct(array).as_py() == n and not pc.any(pc.equal(array, "")).as_py()
    if is_plain and not pc.any(pc.match_substring_regex(array, r"/\d+$")).as_py():
        return layer
    used: dict[str, int] = {}
    ids, none = [], 0
    for name in given:
        if not name:
            none += 1
            ids.append(f"(no id {none})")
            continue
        used[name] = used.get(name, 0) + 1
        ids.append(name if used[name] == 1 else f"{name} (record {used[name]})")
    ids = [_not_a_part(name, used) for name in ids]
    column = pa.array(ids, type=pa.string())
    rest = [name for name in layer.columns.column_names if name != "id"]
    columns = {name: layer.columns[name] for name in rest}
    return replace(layer, columns=pa.table({**columns, "id": column}))


def _not_a_part(name: str, used: Mapping[str, int]) -> str:
    """Return a name that a part of another feature, split into parts, would not get."""
    found = _PART.match(name)
    return f"{name} (record 2)" if found is not None and found[1] in used else name


def _on_every_service(customers: RawLayer, services: RawLayer) -> RawLayer:
    """Return customers that name each of the services of one id."""
    names = column_text(services.columns["id"])
    several: dict[str, list[str]] = {}
    for row in np.flatnonzero(made_up(names)).tolist():
        recorded = recorded_id(names[row])
        if recorded:
            several.setdefault(recorded, []).append(names[row])
    if not several or "service_id" not in customers.columns.column_names:
        return customers
    asked = []
    for text in column_text(customers.columns["service_id"]):
        own = [part.strip() for part in text.split(";")]
        asked.append(";".join(name for part in own for name in (part, *several.get(part, ()))))
    columns = {name: customers.columns[name] for name in customers.columns.column_names}
    return replace(customers, columns=pa.table({**columns, "service_id": pa.array(asked, type=pa.string())}))


def made_up(ids: TextColumn) -> NDArray[np.bool_]:
    """Return which ids were made up, or made the only ones of their name."""
    found = pc.match_substring_regex(ids.arrow, r"\((?:record|no id) \d+\)$")
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=np.bool_)


def note_all_made_up(layers: NormalisedLayers, notes: FindingLog) -> None:
    """Notice each feature whose id was made up."""
    for name, lines in layers.lines.items():
        first = lines.coords_m[lines.start[:-1]] if len(lines) else np.zeros((0, 2))
        _note_made_up(name, lines.table.text["id"], first, notes)
    for name, table in layers.points.items():
        if table.id is not None:
            _note_made_up(name, table.id, layers.places[name], notes)


def _note_made_up(layer: str, ids: TextColumn, xy_m: NDArray[np.float64], notes: FindingLog) -> None:
    rows = np.flatnonzero(made_up(ids))
    for code, some, what, mend in (
        ("missing-id", False, "has no id on record; this one is made up", "give every feature an id"),
        (
            "duplicate-id",
            True,
            "the id is used more than once; kept as another",
            "give each an id of its own",
        ),
    ):
        own = np.array([row for row in rows.tolist() if bool(recorded_id(ids[row])) is some], dtype=np.int64)
        notes.add_each(code, layer, ids, own, Severity.ERROR, what, mend, xy_m)

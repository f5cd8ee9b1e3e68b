"""The first half of building: raw layers to normalised lines and points in one working CRS.

The digest of what they hold is worked out here too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import geopandas
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.core.errors import BadNetworkError
from netplan.core.findings import Severity
from netplan.network.concurrency import in_parallel
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.flat_geometry import Lines, read_lines, read_points
from netplan.network.normalise import NormalisedTable, check_ids, column_text, normalise
from netplan.network.priority_words import read_priorities
from netplan.network.probable_values import notice_improbable, notice_improbable_lengths
from netplan.network.projection import GRID_M, WorkingCrs, working_crs
from netplan.network.raw_layers import RawLayer, as_objects, as_raw
from netplan.network.recorded_sizes import resolve_sizes
from netplan.network.vocabulary import Status

__all__ = ["NormalisedLayers", "PipeSizes", "content_digest", "normalise_layers"]

_MOST_OUTLET_MBAR: Final = 16_000.0
"""Where gas distribution ends: 16 bar, the scope of EN 12007 (from memory) [mbar gauge]."""

_LINES: Final = ("mains", "services")
_LATER: Final = frozenset(
    {
        "inlet_valve",
        "vent_between",
        "turns_to_close",
        "closing_direction",
        "cover_type",
        "last_operated",
        "size_mm",
        "remark",
        "town",
        "telephone",
    }
)
"""Columns that came to the contract after its first digests were pinned in plans."""
_POINTS: Final = ("customers", "regulators", "sensing_points", "valves", "fittings", "injections")
_POLYGON, _MULTIPOLYGON = 3, 6
PipeSizes = tuple[Floats, Floats, Floats]


@dataclass(slots=True, eq=False)
class NormalisedLayers:
    """Normalised layers: sorted by id, typed, in the working CRS.

    Parameters
    ----------
    working : WorkingCrs
        How the working CRS was reached.
    lines : dict of Lines
        Usable mains and services, whatever their status.
    sizes : dict
        Outside diameter, wall and bore of each line [m].
    points : dict of NormalisedTable
        Point layers.
    places : dict of float arrays
        Their places (n, 2) [m], NaN where unknown.
    keep_out : NormalisedTable
        Areas, geometry in the working CRS.
    base : dict of GeoDataFrames
        Base map layers in the working CRS.
    recorded : frozenset of str
        Layers that the source holds.
    """

    working: WorkingCrs
    lines: dict[str, Lines]
    sizes: dict[str, PipeSizes]
    points: dict[str, NormalisedTable]
    places: dict[str, Floats]
    keep_out: NormalisedTable
    base: dict[str, Any]
    recorded: frozenset[str]

    def content_sha256(self) -> str:
        """Return the digest of the content."""
        points = {name: (table, self.places[name]) for name, table in self.points.items()}
        return content_digest(self.working.name, self.lines, points, self.keep_out, self.base)


def normalise_layers(
    given: Mapping[str, Any], notes: FindingLog, frame: WorkingCrs | None = None
) -> NormalisedLayers:
    """Normalise layers (raw layers or GeoDataFrames by name), noticing every fault.

    In the working CRS `frame` where it is given; their own CRS is checked all the same.

    Raises
    ------
    BadNetworkError
        When layers are missing, or their coordinate reference systems cannot be used.
    """
    specs = layer_specs()
    raw = {name: as_raw(name, given[name]) for name in specs if name in given}
    missing = [name for name, spec in specs.items() if spec.required and name not in raw]
    if missing:
        # What reading the source noticed of a layer that is missing is about a name that is near.
        near = "".join(f" ({found.what})" for found in notes.sorted() if found.layer in missing)
        raise BadNetworkError(
            f"the network has no layer {' and '.join(missing)}{near}; "
            "name its layers after the input contract"
        )
    own = working_crs({name: layer for name, layer in raw.items() if len(layer) or layer.crs})
    working = own if frame is None else frame

    def line_layer(name: str) -> tuple[Lines, PipeSizes]:
        with _numbers_unchecked():
            lines = read_lines(_table(name, raw, notes), working.coordinates, notes)
        check_ids(lines.table, notes, _first_vertices(lines))
        return lines, resolve_sizes(lines.table, notes)

    def point_layer(name: str) -> tuple[NormalisedTable, Floats]:
        with _numbers_unchecked():
            table = _table(name, raw, notes)
            places = read_points(table, working.coordinates, notes)
        check_ids(table, notes, places)
        return table, places

    def layer(name: str) -> Any:
        return line_layer(name) if name in _LINES else point_layer(name)

    largest_first = sorted((*_LINES, *_POINTS), key=lambda name: -len(raw.get(name, ())))
    done = dict(zip(largest_first, in_parallel(layer, largest_first), strict=True))
    lines, sizes = ({name: done[name][part] for name in _LINES} for part in (0, 1))
    points, places = ({name: done[name][part] for name in _POINTS} for part in (0, 1))
    with _numbers_unchecked():
        keep_out = _areas(_table("keep_out", raw, notes), working, notes)
        base: dict[str, Any] = {name: _base(raw[name], working) for name in BASE_LAYERS if name in raw}
    read_priorities(points["customers"], notes)
    _check_outlets(points["regulators"], places["regulators"], notes)
    for some in (*(line.table for line in lines.values()), *points.values()):
        notice_improbable(some, notes)
    notice_improbable_lengths(lines, len(points["customers"]), notes)
    recorded = frozenset(name for name, layer in raw.items() if len(layer))
    return NormalisedLayers(working, lines, sizes, points, places, keep_out, base, recorded)


def _check_outlets(stations: NormalisedTable, places: NDArray[np.float64], notes: FindingLog) -> None:
    outlet, is_live = stations.number["outlet_mbar"], stations.code["status"] == Status.LIVE
    most = f"has a set outlet pressure above {_MOST_OUTLET_MBAR:,.0f} mbar, beyond any distribution network"
    notes.add_each(
        "missing-outlet",
        "regulators",
        stations.id,
        ~(outlet > 0) & is_live,
        Severity.ERROR,
        "has no set outlet pressure above zero",
        "give outlet_mbar (gauge)",
        places,
    )
    notes.add_each(
        "impossible-outlet",
        "regulators",
        stations.id,
        (outlet > _MOST_OUTLET_MBAR) & is_live,
        Severity.ERROR,
        most,
        "correct outlet_mbar (gauge), or its unit",
        places,
    )


def _numbers_unchecked() -> np.errstate:
    # Coordinates that are no numbers overflow in numpy; they are noticed where they belong.
    return np.errstate(invalid="ignore", over="ignore")


def _first_vertices(lines: Lines) -> Floats:
    return lines.coords_m[lines.start[:-1]] if len(lines) else np.zeros((0, 2))


def _table(name: str, raw: Mapping[str, RawLayer], notes: FindingLog) -> NormalisedTable:
    layer = raw.get(name)
    if layer is None:
        layer = RawLayer(name, pa.table({}), np.zeros(0, dtype=object), None)
    return normalise(layer, layer_specs()[name], notes)


def _areas(table: NormalisedTable, working: WorkingCrs, notes: FindingLog) -> NormalisedTable:
    given = as_objects(table.geometry)
    kind = shapely.get_type_id(given)
    good = np.isin(kind, (_POLYGON, _MULTIPOLYGON)) & ~shapely.is_empty(given)
    notes.add_each(
        "wrong-geometry",
        table.name,
        None,
        ~good,
        Severity.WARNING,
        "is no polygon; it is left out",
        "draw it as a polygon",
    )
    table = table.take(good)
    shapes = working.geometry(given[good])
    # Invalid rings are mended rather than dropped: an area nobody may dig must not get lost.
    broken = ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    table.geometry = shapes
    return table


def _base(layer: RawLayer, working: WorkingCrs) -> Any:
    names = layer.columns.column_names
    text = list(column_text(layer.columns["name"])) if "name" in names else [""] * len(layer)
    shapes = as_objects(layer.geometry)
    usable = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    usable &= np.isfinite(shapely.bounds(shapes)).all(axis=1)
    chosen = np.flatnonzero(usable)
    return geopandas.GeoDataFrame(
        {"name": [text[row] or "" for row in chosen.tolist()]},
        geometry=working.geometry(shapes[chosen]),
        crs=working.crs,
    )


def content_digest(
    crs: str,
    lines: Mapping[str, Lines],
    points: Mapping[str, tuple[NormalisedTable, NDArray[np.float64]]],
    areas: NormalisedTable,
    base: Mapping[str, Any],
) -> str:
    """Return the SHA-256 of normalised layers, each sorted by id.

    Parameters
    ----------
    crs : str
        Name of the working CRS.
    lines, points : mapping
        Layers by name; points with their places (n, 2) [m].
    areas : NormalisedTable
        The keep-out layer, geometry in the working CRS [m].
    base : mapping of str to GeoDataFrame
        Base map layers, which hoses go round and along: their geometry counts, their names do not.
    """
    digest = hashlib.sha256()
    digest.update(f"netplan layers 1\n{crs}\n".encode())
    for name in sorted(lines):
        layer = lines[name]
        _add_table(digest, name, layer.table)
        _add_numbers(digest, "vertices", np.diff(layer.start).astype(np.float64), 1.0)
        _add_numbers(digest, "coords", layer.coords_m, GRID_M)
        _add_numbers(digest, "height", layer.height_m, 1e-3)
    for name in sorted(points):
        table, xy = points[name]
        _add_table(digest, name, table)
        _add_numbers(digest, "coords", xy, GRID_M)
    _add_table(digest, areas.name, areas)
    shapes = shapely.normalize(as_objects(areas.geometry))
    digest.update(b"".join(sorted(shape for shape in shapely.to_wkb(shapes, output_dimension=2) if shape)))
    for name in sorted(base):
        if len(base[name]):
            digest.update(f"layer {name} {len(base[name])}\n".encode())
            digest.update(_places_of(base[name].geometry.array))
    return digest.hexdigest()


def _places_of(shapes: Any) -> bytes:
    """Return shapes in any order as bytes, to the grid that vertices of mains are taken to."""
    given = shapely.force_2d(np.asarray(shapes, dtype=object))
    on_grid = shapely.transform(given, lambda xy: np.round(xy / GRID_M) + 0.0)
    return b"".join(sorted(shapely.to_wkb(shapely.normalize(on_grid))))


def _add_table(digest: Any, name: str, table: NormalisedTable) -> None:
    digest.update(f"layer {name} {len(table)}\n".encode())
    if not len(table):
        return
    for column in sorted(table.text.keys() - _left_out(table)):
        digest.update(f"text {column}\n".encode())
        _add_text(digest, table.text[column].arrow)
    for column in sorted(table.number.keys() - _left_out(table)):
        _add_numbers(digest, column, table.number[column], 1e-6)
    for column in sorted(table.code.keys() - _left_out(table)):
        digest.update(f"word {column}\n".encode())
        digest.update(_same_or_all(table.code[column]))


def _left_out(table: NormalisedTable) -> set[str]:
    """Return columns that came later to the contract and hold nothing: digests of before still hold."""
    texts = {
        name for name in _LATER & table.text.keys() if pc.all(pc.equal(table.text[name].arrow, "")).as_py()
    }
    numbers = {name for name in _LATER & table.number.keys() if np.isnan(table.number[name]).all()}
    return texts | numbers | {name for name in _LATER & table.code.keys() if not table.code[name].any()}


def _add_text(digest: Any, array: Any) -> None:
    # Lengths and bytes, so that no two lists of texts run together to the same bytes.
    if len(array) and pc.all(pc.equal(array, array[0])).as_py():
        digest.update(b"same" + array[0].as_py().encode())
        return
    lengths = pc.binary_length(array).to_numpy(zero_copy_only=False)
    digest.update(np.ascontiguousarray(lengths, dtype="<i4"))
    start, stop = _span(array)
    digest.update(memoryview(array.buffers()[2])[start:stop] if stop > start else b"")


def _span(array: Any) -> tuple[int, int]:
    offsets = np.frombuffer(array.buffers()[1], dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    return int(offsets[0]), int(offsets[-1])


def _add_numbers(digest: Any, name: str, values: NDArray[np.float64], step: float) -> None:
    digest.update(f"number {name}\n".encode())
    flat = np.ravel(values)
    if len(flat) and np.isnan(flat[0]) and np.isnan(flat).all():
        digest.update(b"none")
        return
    with np.errstate(over="ignore"):  # what is too large counts as the largest
        whole = np.where(np.isnan(flat), np.iinfo(np.int64).min, np.round(flat / step))
    digest.update(_same_or_all(np.clip(whole, -9.2e18, 9.2e18).astype("<i8")))


def _same_or_all(values: NDArray[Any]) -> Any:
    if len(values) and (values == values[0]).all():
        return b"same" + values[:1].tobytes()
    return np.ascontiguousarray(values)

"""The first half of building: raw layers to normalised lines and points in one working CRS."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import geopandas
import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.core.errors import BadNetworkError
from netplan.core.findings import Severity
from netplan.network.bulk_rows import side_by_side
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.digest import content_digest
from netplan.network.flat import as_objects
from netplan.network.improbable import notice_improbable, notice_improbable_lengths
from netplan.network.lines import Lines, read_lines
from netplan.network.normalise import NormalisedTable, check_ids, column_text, normalise
from netplan.network.notes import Notes
from netplan.network.points import read_points
from netplan.network.priorities import read_priorities
from netplan.network.projection import WorkingCrs, working_crs
from netplan.network.raw import RawLayer, as_raw
from netplan.network.sizes import resolve_sizes
from netplan.network.vocabulary import Status

__all__ = ["Layers", "Sizes", "read"]

_MOST_OUTLET_MBAR: Final = 16_000.0
"""Where gas distribution ends: 16 bar, the scope of EN 12007 (from memory) [mbar gauge]."""

_LINES: Final = ("mains", "services")
_POINTS: Final = ("customers", "regulators", "sensing_points", "valves", "fittings", "injections")
_POLYGON, _MULTIPOLYGON = 3, 6
Sizes = tuple[Floats, Floats, Floats]


@dataclass(slots=True, eq=False)
class Layers:
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
    sizes: dict[str, Sizes]
    points: dict[str, NormalisedTable]
    places: dict[str, Floats]
    keep_out: NormalisedTable
    base: dict[str, Any]
    recorded: frozenset[str]

    def content_sha256(self) -> str:
        """Return the digest of the content."""
        points = {name: (table, self.places[name]) for name, table in self.points.items()}
        return content_digest(self.working.name, self.lines, points, self.keep_out)


def read(given: Mapping[str, Any], notes: Notes) -> Layers:
    """Normalise layers (raw layers or GeoDataFrames by name), noticing every fault.

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
    working = working_crs({name: layer for name, layer in raw.items() if len(layer) or layer.crs})

    def line_layer(name: str) -> tuple[Lines, Sizes]:
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
    done = dict(zip(largest_first, side_by_side(layer, largest_first), strict=True))
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
    return Layers(working, lines, sizes, points, places, keep_out, base, recorded)


def _check_outlets(stations: NormalisedTable, places: NDArray[np.float64], notes: Notes) -> None:
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


def _table(name: str, raw: Mapping[str, RawLayer], notes: Notes) -> NormalisedTable:
    layer = raw.get(name)
    if layer is None:
        layer = RawLayer(name, pa.table({}), np.zeros(0, dtype=object), None)
    return normalise(layer, layer_specs()[name], notes)


def _areas(table: NormalisedTable, working: WorkingCrs, notes: Notes) -> NormalisedTable:
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

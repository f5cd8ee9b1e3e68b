"""Layers of the contract from the layers of a company, by its mapping."""

from __future__ import annotations

import difflib
import warnings
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from netplan.core.errors import BadInputError, BadNetworkError, quoted
from netplan.core.findings import Severity
from netplan.network.concurrency import in_parallel
from netplan.network.contract import layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text, normalise
from netplan.network.probable_values import notice_improbable
from netplan.network.raw_layers import (
    FlatShapes,
    OddShapes,
    RawLayer,
    RawLayers,
    Shapes,
    as_objects,
    take_shapes,
)
from netplan.readers.mapping.features_not_taken import (
    SourcePart,
    note_features_not_taken,
    note_missed_words,
    note_shared_ids,
)
from netplan.readers.mapping.mapped_columns import ColumnPlace, build_column
from netplan.readers.mapping.mapped_texts import matching
from netplan.readers.mapping.mapping_file import GAP, MappedSource, Mapping
from netplan.readers.mapping.sizes_as_text import fill_sizes
from netplan.readers.mapping.unit_words import unit_factor
from netplan.readers.name_matching import similar_column
from netplan.readers.source_findings import UnreadColumns, note_unread_columns, note_unread_layers
from netplan.readers.sources.layer_source import Area, Field, LayerSource

__all__ = ["mapped_layers", "stacked_odd", "stacked_shapes", "with_height"]

_CUT: Final = 10
_NEVER_OPEN: Final = ("columns.status", "columns.system", "columns.priority")
"""Columns without which all counts as live, as low pressure, as without priority: open, they stop a plan."""
_SIZES: Final = {"od_mm", "sdr", "wall_mm", "bore_mm", "material"}
"""Columns that sizes as text fill."""


def mapped_layers(source: LayerSource, mapping: Mapping, within: Area | None = None) -> RawLayers:
    """Read what a mapping asks for, each source layer once and only the columns it names.

    Raises
    ------
    BadInputError
        When the source does not hold a layer or column that the mapping names.
    BadNetworkError
        When source layers that feed one layer disagree in their CRS.
    """
    return _Applied(source, mapping, within).layers()


class _Applied:
    """A mapping at work on a source."""

    def __init__(self, source: LayerSource, mapping: Mapping, within: Area | None) -> None:
        self._source, self._mapping, self._within = source, mapping, within
        self._held = source.layer_names()
        self._notes = FindingLog()
        self._columns: dict[str, dict[str, str]] = {}
        self._read: dict[str, RawLayer] = {}

    def layers(self) -> RawLayers:
        """Return the layers of the contract."""
        feeds = [
            (layer, number, feed, self._layer(layer, number, feed))
            for layer, number, feed in self._mapping.each()
            if not self._is_gap(layer, number, feed)
        ]
        for layer, number, feed, name in feeds:
            self._want(layer, number, feed, name)
        # Threads that each silence warnings would restore each other's filters: this one is restored last.
        with warnings.catch_warnings():
            self._read = dict(zip(self._columns, in_parallel(self._raw, self._columns), strict=True))
        taken: dict[str, list[SourcePart]] = {}
        parts: dict[str, list[tuple[str, RawLayer]]] = {}
        for layer, number, feed, name in feeds:
            part = SourcePart(layer, number, feed, self._rows(feed, name))
            taken.setdefault(name, []).append(part)
            fed = self._fed(part, name)
            parts.setdefault(layer, []).append((name, fed))
            if len(self._mapping.feeds[layer]) > 1:  # a unit that is wrong in one district alone
                table = normalise(fed, layer_specs()[layer], FindingLog())
                notice_improbable(table, self._notes, f"{layer} {number} of the mapping")
        self._note_left(taken)
        for layer, some in parts.items():
            note_shared_ids(layer, some, self._notes)
        together = {
            layer: _together(layer, [part for _, part in some], self._mapping.name)
            for layer, some in parts.items()
        }
        return RawLayers(self._source.name, together, self._notes.sorted())

    def _note_left(self, taken: dict[str, list[SourcePart]]) -> None:
        """Notice layers, columns and features of the source that no feed takes."""
        left = []
        for name, parts in taken.items():
            raw, known = self._read[name], self._columns[name]
            note_features_not_taken(name, raw, parts, known, self._notes)
            for part in parts:
                note_missed_words(name, raw, part, known, self._notes)
            used = set(known.values())
            fields = [field.name for field in self._source.fields(name)]
            left.append(
                UnreadColumns(parts[0].layer, name, len(raw), [own for own in fields if own not in used])
            )
        names = {feed.source for _, _, feed in self._mapping.each()} - {GAP}
        columns = {parts[0].layer: set(self._columns[name].values()) for name, parts in taken.items()}
        note_unread_layers(self._source, taken, self._notes, names, columns)
        note_unread_columns(
            left, lambda columns, name: self._near(taken[columns.of], columns.of, name), self._notes
        )

    def _near(self, parts: Sequence[SourcePart], layer: str, name: str) -> str:
        """Return the column that one that is not read looks like, of any layer that its layer feeds."""
        for part in parts:
            spec = layer_specs()[part.layer]
            given = set(part.feed.columns) | (_SIZES if part.feed.size is not None else set())
            if near := similar_column(name, spec, given, self._columns[layer]):
                return near
        return ""

    def _where(self, layer: str, number: int) -> str:
        return f"{self._mapping.name}: {layer} {number}"

    def _is_gap(self, layer: str, number: int, feed: MappedSource) -> bool:
        if feed.source != GAP:
            return False
        self._gap(layer, f"{layer} {number}: source")
        return True

    def _gap(self, layer: str, what: str, severity: Severity = Severity.WARNING) -> None:
        self._notes.add(
            "mapping-gap",
            layer,
            "",
            severity,
            f"the mapping still has a question mark at {what}",
            "write what it comes from, or delete the line",
        )

    def _layer(self, layer: str, number: int, feed: MappedSource) -> str:
        name = _one_of(feed.source, self._held)
        if name is None:
            raise BadInputError(
                f"{self._where(layer, number)}: {self._source.name} holds no layer {quoted(feed.source)}; "
                f"{_nearest(feed.source, self._held)}"
            )
        return name

    def _want(self, layer: str, number: int, feed: MappedSource, name: str) -> None:
        """Find the columns that a feed names; they are read together with those of other feeds."""
        known = self._columns.setdefault(name, {})
        where = self._where(layer, number)
        asked = [(f"columns.{key}", rule.from_ or ()) for key, rule in feed.columns.items()]
        asked += [("size", feed.size.from_)] if feed.size is not None else []
        asked += [("where", (condition.column,)) for condition in feed.where]
        fields = self._source.fields(name)
        for key, columns in asked:
            for column in columns:
                if column == GAP:
                    stops = key in _NEVER_OPEN
                    self._gap(
                        layer, f"{layer} {number}: {key}", Severity.ERROR if stops else Severity.WARNING
                    )
                elif column not in known:
                    known[column] = _field(column, fields, f"{where}: {key}: layer {name}")
            if key == "where" and any(
                GAP in (one.is_ or one.is_not or ()) for one in feed.where if (one.column,) == columns
            ):
                self._gap(layer, f"{layer} {number}: where {columns[0]}")
            if key.startswith("columns.") and feed.columns[key[8:]].unit == GAP:
                # Figures of an unknown unit left out would look like figures that nobody recorded.
                self._gap(layer, f"{layer} {number}: {key}.unit", Severity.ERROR)

    def _rows(self, feed: MappedSource, name: str) -> NDArray[np.bool_]:
        """Return the features of a source layer that a feed takes."""
        raw, known = self._read[name], self._columns[name]
        rows = np.ones(len(raw), dtype=bool)
        for condition in feed.where:
            if condition.column != GAP:
                rows &= matching(raw.columns, condition, known[condition.column])
        return rows

    def _fed(self, part: SourcePart, name: str) -> RawLayer:
        layer, feed, rows = part.layer, part.feed, part.rows
        raw, known = self._read[name], self._columns[name]
        table, shapes, odd = raw.columns, raw.geometry, raw.odd
        if not rows.all():
            odd = None if odd is None else odd.take(rows)
            table = table.filter(pa.array(rows))
            shapes = take_shapes(shapes, np.flatnonzero(rows))
        if not table.num_columns:
            # Arrow counts no rows where there are no columns.
            table = pa.table({"": pa.nulls(len(shapes))})
        built = self._built(layer, feed, table, known)
        return RawLayer(layer, pa.table(built), with_height(shapes, feed.height), self._crs(feed, raw), odd)

    def _built(self, layer: str, feed: MappedSource, table: Any, known: dict[str, str]) -> dict[str, Any]:
        place = ColumnPlace(layer, None, self._notes)
        built: dict[str, Any] = {}
        for column in layer_specs()[layer].columns:  # the id comes first, for the findings
            rule = feed.columns.get(column.name)
            if rule is None or rule.is_gap:
                continue
            names = [known[name] for name in rule.from_ or ()]
            built[column.name] = build_column(rule, column, table, names, place)
            if column.name == "id":
                place = ColumnPlace(layer, column_text(built["id"]), self._notes)
        if feed.size is not None and GAP not in feed.size.from_:
            fill_sizes(built, feed.size, table, [known[name] for name in feed.size.from_], place)
        return built

    def _raw(self, name: str) -> RawLayer:
        columns = sorted(set(self._columns[name].values()))
        return self._source.read(name, columns, within=self._within)

    def _crs(self, feed: MappedSource, raw: RawLayer) -> CRS | None:
        return raw.crs if raw.crs is not None or feed.crs is None else CRS.from_user_input(feed.crs)


def _one_of(name: str, held: Sequence[str]) -> str | None:
    """Return the name as it is held: the same, else the only one that differs in case alone."""
    if name in held:
        return name
    alike = [other for other in held if other.casefold() == name.casefold()]
    return alike[0] if len(alike) == 1 else None


def _field(name: str, fields: Sequence[Field], where: str) -> str:
    held = [field.name for field in fields]
    found = _one_of(name, held)
    if found is None and any(field.cut for field in fields):
        found = _one_of(name[:_CUT], held)
    if found is None:
        raise BadInputError(f"{where} has no column {quoted(name)}; {_nearest(name, held)}")
    return found


def _nearest(name: str, held: Sequence[str]) -> str:
    lower = {other.casefold(): other for other in held}
    near = [lower[word] for word in difflib.get_close_matches(name.casefold()[:100], list(lower), n=3)]
    some = near or sorted(held)[:12]
    return f"did you mean {' or '.join(near)}?" if near else f"there are {', '.join(some) or 'none'}"


def _together(layer: str, parts: list[RawLayer], mapping: str) -> RawLayer:
    if len(parts) == 1:
        return parts[0]
    first = parts[0].crs
    for part in parts[1:]:
        if part.crs != first:
            raise BadNetworkError(
                f"{mapping}: the source layers of {layer} disagree in their coordinate reference system; "
                "reproject one of them"
            )
    names = list(dict.fromkeys(name for part in parts for name in part.columns.column_names))
    columns = {name: _stacked([(part, name) for part in parts]) for name in names}
    shapes, odd = stacked_shapes([part.geometry for part in parts]), stacked_odd(parts)
    return RawLayer(layer, pa.table(columns), shapes, first, odd)


def _stacked(pieces: Iterable[tuple[RawLayer, str]]) -> Any:
    """Return a column of several parts: numbers where all are numbers, else texts."""
    arrays = [
        part.columns[name].combine_chunks() if name in part.columns.column_names else pa.nulls(len(part))
        for part, name in pieces
    ]
    numeric = all(pa.types.is_floating(a.type) or pa.types.is_null(a.type) for a in arrays)
    if numeric:
        return pa.chunked_array([pc.cast(a, pa.float64()) for a in arrays])
    return pa.chunked_array([column_text(a).arrow for a in arrays])


def with_height(shapes: Shapes, unit: str) -> Shapes:
    """Return shapes with heights in metres, read in `unit`; without any where it is ``none``."""
    if unit == "none":
        if isinstance(shapes, FlatShapes):
            return FlatShapes(shapes.kind, np.ascontiguousarray(shapes.coords[:, :2]), shapes.start)
        return np.asarray(shapely.force_2d(shapes), dtype=object)
    times = unit_factor(unit, "m")
    if times == 1.0:
        return shapes
    if isinstance(shapes, FlatShapes):
        scale = np.array([1.0, 1.0, times])[: shapes.coords.shape[1]]
        return FlatShapes(shapes.kind, shapes.coords * scale, shapes.start)
    tall = np.asarray(shapely.has_z(shapes))
    if not tall.any():
        return shapes
    result = shapes.copy()
    result[tall] = shapely.transform(
        shapes[tall], lambda xyz: xyz * np.array([1.0, 1.0, times]), include_z=True
    )
    return result


def stacked_shapes(parts: list[Shapes]) -> Shapes:
    """Return shapes of several parts one after another."""
    flat = [part for part in parts if isinstance(part, FlatShapes)]
    alike = {(part.kind, part.coords.shape[1]) for part in flat}
    if len(flat) < len(parts) or len(alike) != 1:
        return np.concatenate([as_objects(part) for part in parts])
    start: list[NDArray[np.int64]] = [flat[0].start]
    for part in flat[1:]:
        start.append(part.start[1:] + start[-1][-1])
    return FlatShapes(flat[0].kind, np.concatenate([p.coords for p in flat]), np.concatenate(start))


def stacked_odd(parts: list[RawLayer]) -> OddShapes | None:
    """Return what was noticed about the geometries of several parts, one after another."""
    if all(part.odd is None for part in parts):
        return None
    plain = [
        part.odd or OddShapes(np.zeros(len(part), dtype=bool), np.full(len(part), "", dtype=object))
        for part in parts
    ]
    return OddShapes(
        np.concatenate([odd.straightened for odd in plain]), np.concatenate([odd.unread for odd in plain])
    )

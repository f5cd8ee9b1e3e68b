"""From raw columns to the typed columns of the contract, every fault noticed on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.errors import quoted
from netplan.core.findings import Severity
from netplan.network.contract import WORD_OF, Column, LayerSpec
from netplan.network.finding_log import FindingLog
from netplan.network.raw_layers import RawLayer, Shapes, as_objects, take_shapes
from netplan.network.recorded_years import note_dates, without_days, year_of
from netplan.network.text_column import TextColumn

__all__ = ["NormalisedTable", "check_ids", "column_text", "normalise"]

_IMPORTANT = ("od_mm", "outlet_mbar")
_MOST: Final = 1e12
"""Greatest number that is taken for one, whatever its unit (own): larger ones overflow later [-]."""
_LAST_YEAR: Final = 2100.0
"""Later years stand for something else (own) [a]."""
_CONTROL = r"[\x00-\x1f\x7f]"


@dataclass(slots=True, eq=False)
class NormalisedTable:
    """A layer with typed columns, sorted by id.

    Parameters
    ----------
    name : str
        Layer name.
    text : dict of TextColumn
        Text columns, missing values empty.
    number : dict of float arrays
        Numbers in the unit of the contract, NaN where missing.
    code : dict of uint8 arrays
        Words as their codes.
    geometry : object array or FlatShapes
        Geometries in the CRS of the source.
    """

    name: str
    text: dict[str, TextColumn]
    number: dict[str, NDArray[np.float64]]
    code: dict[str, NDArray[np.uint8]]
    geometry: Shapes

    def __len__(self) -> int:
        return len(self.geometry)

    @property
    def id(self) -> TextColumn | None:
        """Ids, for a layer that has them."""
        return self.text.get("id")

    def take(self, rows: NDArray[Any]) -> NormalisedTable:
        """Return the given rows (indices or mask) as a new table."""
        index = np.flatnonzero(rows) if rows.dtype == np.bool_ else rows
        return NormalisedTable(
            self.name,
            {name: column.take(index) for name, column in self.text.items()},
            {name: column[index] for name, column in self.number.items()},
            {name: column[index] for name, column in self.code.items()},
            take_shapes(self.geometry, index),
        )


def normalise(raw: RawLayer, spec: LayerSpec, notes: FindingLog) -> NormalisedTable:
    """Return `raw` with the columns of `spec`, sorted by id.

    Columns that the contract does not know are dropped. What cannot be read is noticed and then
    counts as missing.
    """
    n = len(raw)
    names = {str(name): name for name in raw.columns.column_names}
    table = NormalisedTable(raw.name, {}, {}, {}, raw.geometry)
    if spec.has_id:
        table.text["id"] = column_text(raw.columns[names["id"]]) if "id" in names else TextColumn([""] * n)
    for column in spec.columns:
        given = raw.columns[names[column.name]] if column.name in names else None
        if given is None and column.required == "yes" and n:
            _missing_column(raw.name, column, notes)
        if column.name == "id":
            continue
        if column.kind == "text":
            table.text[column.name] = _text_or_default(given, column, n)
            if given is not None and column.required == "yes":
                _missing_text(column, table, notes)
        elif column.kind == "number":
            table.number[column.name] = _number(given, column, table, notes)
        else:
            table.code[column.name] = _word(given, column, table, notes)
    _notice_unreadable(table, notes)
    return _sorted(table)


def _notice_unreadable(table: NormalisedTable, notes: FindingLog) -> None:
    for name, text in table.text.items():
        if _mask(pc.match_substring(text.arrow, "\ufffd")).any():
            notes.add_each(
                "unreadable-text",
                table.name,
                table.id,
                _mask(pc.match_substring(text.arrow, "\ufffd")),
                Severity.WARNING,
                f"{name} holds bytes or control characters that are no text",
                "correct it, or export the layer again in UTF-8",
            )


def check_ids(table: NormalisedTable, notes: FindingLog, xy_m: NDArray[np.float64] | None = None) -> None:
    """Notice missing, repeated and unusable ids of a sorted table with the places `xy_m` [m]."""
    ids = table.id
    if ids is None or not len(ids):
        return
    array = ids.arrow
    empty = _mask(pc.equal(array, ""))
    notes.add_each(
        "missing-id", table.name, None, empty, Severity.ERROR, "has no id", "give every feature an id", xy_m
    )
    same = np.zeros(len(ids), dtype=bool)
    same[1:] = _mask(pc.equal(array[1:], array[:-1])) & ~empty[1:]
    notes.add_each(
        "duplicate-id",
        table.name,
        ids,
        same,
        Severity.ERROR,
        "the id is used more than once",
        "give each feature an id of its own",
        xy_m,
    )
    if not _mask(pc.match_substring_regex(array, r"[\x00-\x1f\x7f:;]")).any():
        return
    odd = _mask(pc.match_substring_regex(array, r"[:;]"))
    weight = Severity.ERROR if table.name in ("mains", "services") else Severity.WARNING
    notes.add_each(
        "odd-id",
        table.name,
        ids,
        odd,
        weight,
        "the id holds ':' or ';'",
        "rewrite the id without them",
        xy_m,
    )
    control = _mask(pc.match_substring_regex(array, _CONTROL))
    if control.any():
        rows = np.flatnonzero(control)
        notes.add_each(
            "odd-id",
            table.name,
            None,
            rows,
            Severity.ERROR,
            lambda row: f"the id {quoted(ids[row])} holds control characters",
            "rewrite the id without them",
            xy_m,
        )


def _missing_column(layer: str, column: Column, notes: FindingLog) -> None:
    notes.add(
        "missing-column",
        layer,
        "",
        Severity.ERROR,
        f"column {column.name} is missing",
        f"add it: {column.description[0].lower()}{column.description[1:]}",
    )


def _mask(array: Any) -> NDArray[np.bool_]:
    flags = array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
    return np.asarray(pc.fill_null(flags, False).to_numpy(zero_copy_only=False), dtype=np.bool_)


def _plain(column: Any) -> Any:
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):  # an empty table combines to no chunk
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.array([], type=array.type)
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


def _readable(array: Any) -> Any:
    """Return texts whose every byte is UTF-8: what is not becomes U+FFFD, as a file in another encoding."""
    if not (pa.types.is_string(array.type) or pa.types.is_large_string(array.type)):
        return array
    try:
        array.validate(full=True)
    except pa.ArrowInvalid:
        raw = array.view(pa.binary() if pa.types.is_string(array.type) else pa.large_binary()).to_pylist()
        words = [None if value is None else value.decode("utf-8", errors="replace") for value in raw]
        return pa.array(words, type=pa.string())
    return array


def column_text(column: Any) -> TextColumn:
    """Read any column as texts: whole floats lose their '.0', because ids often come as numbers."""
    array = _readable(_plain(column))
    kind = array.type
    if pa.types.is_floating(kind):
        values = array.to_numpy(zero_copy_only=False)
        finite = values[np.isfinite(values)]
        array = pc.if_else(pc.is_nan(array), pa.scalar(None, kind), array)
        if (
            (finite == np.round(finite)).all()
            and (np.abs(finite) < 2**53).all()
            and len(finite) == len(values) - (array.null_count or 0)
        ):
            array = pc.cast(array, pa.int64())
    elif pa.types.is_binary(kind) or pa.types.is_nested(kind):
        array = pa.array([None if v is None else str(v) for v in array.to_pylist()], type=pa.string())
    elif pa.types.is_null(kind):
        array = pa.nulls(len(array), pa.string())
    elif pa.types.is_timestamp(kind):
        array = pc.strftime(array, format="%Y-%m-%d")
    array = pc.cast(array, pa.string())
    return TextColumn(pc.utf8_trim_whitespace(array))


def _text_or_default(given: Any, column: Column, n: int) -> TextColumn:
    if given is None:
        return TextColumn(pa.repeat(pa.scalar(column.default, pa.string()), n))
    text = _without_control(column_text(given))
    if not column.default:
        return text
    array = text.arrow
    return TextColumn(pc.if_else(pc.equal(array, ""), pa.scalar(column.default, pa.string()), array))


def _without_control(text: TextColumn) -> TextColumn:
    """Return texts whose control characters, but for tab and line ends, became U+FFFD: no paper has them."""
    data = text.arrow.buffers()[2]
    if data is None or not (np.frombuffer(data, dtype=np.uint8) < ord(" ")).any():
        return text
    return TextColumn(pc.replace_substring_regex(text.arrow, r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd"))


def _missing_text(column: Column, table: NormalisedTable, notes: FindingLog) -> None:
    notes.add_each(
        f"missing-{column.name.replace('_', '-')}",
        table.name,
        table.id,
        _mask(pc.equal(table.text[column.name].arrow, "")),
        Severity.WARNING,
        f"{column.name} is missing",
        "write it into the layer",
    )


def _number(given: Any, column: Column, table: NormalisedTable, notes: FindingLog) -> NDArray[np.float64]:
    n = len(table)
    default = float(column.default) if column.default else np.nan
    if given is None:
        return np.full(n, default)
    values, bad = _floats(_plain(given))
    if column.unit == "a":
        values, bad = _years(_plain(given), values, bad, table, notes)
    bad |= np.abs(values) > _MOST
    notes.add_each(
        "not-a-number",
        table.name,
        table.id,
        bad,
        Severity.ERROR if column.name in _IMPORTANT else Severity.WARNING,
        f"{column.name} is no number that it can have",
        f"write a number{' in ' + column.unit if column.unit else ''}",
    )
    values[bad] = np.nan
    return np.where(np.isnan(values), default, values)


def _years(
    array: Any, values: NDArray[np.float64], bad: NDArray[np.bool_], table: NormalisedTable, notes: FindingLog
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return years with dates read as theirs, and where there is none."""
    values, count = without_days(values)
    if bad.any() and not (pa.types.is_integer(array.type) or pa.types.is_floating(array.type)):
        texts, rows = column_text(array), np.flatnonzero(bad)
        values[rows] = [year_of(texts[row]) for row in rows.tolist()]
        bad = bad & np.isnan(values)
        count += len(rows) - int(bad.sum())
    note_dates(count, table.name, notes)
    # A code such as 9999 must not make a pipe of unknown age a new one.
    late = values > _LAST_YEAR
    notes.add_each(
        "odd-year",
        table.name,
        table.id,
        late & ~bad,
        Severity.WARNING,
        lambda row: f"year {values[row]:g} cannot be; it counts as unknown",
        "correct the year, or leave it empty",
    )
    values[late & ~bad] = np.nan
    return values, bad


def _floats(array: Any) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    if pa.types.is_null(array.type):
        return np.full(len(array), np.nan), np.zeros(len(array), dtype=bool)
    if pa.types.is_integer(array.type) or pa.types.is_floating(array.type):
        values = np.array(
            pc.cast(array, pa.float64(), safe=False).to_numpy(zero_copy_only=False), dtype=np.float64
        )
        return values, np.isinf(values)
    text = column_text(array)
    given = ~_mask(pc.equal(text.arrow, ""))
    values = np.array(
        pd.to_numeric(pd.Series(text.numpy()), errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    )
    return values, given & ~np.isfinite(values)


def _word(given: Any, column: Column, table: NormalisedTable, notes: FindingLog) -> NDArray[np.uint8]:
    vocabulary = WORD_OF[column.name]
    folded = [word.casefold() for word in vocabulary.words()]
    default = folded.index(column.default.casefold())
    if given is None:
        return np.full(len(table), default, dtype=np.uint8)
    array = _plain(given)
    if pa.types.is_boolean(array.type):
        array = pc.if_else(array, "yes", "no")
    text = column_text(array).arrow
    code = pc.fill_null(pc.index_in(pc.utf8_lower(text), value_set=pa.array(folded)), -1)
    codes = np.array(code.to_numpy(zero_copy_only=False), dtype=np.int64)
    unknown = codes < 0
    if unknown.any():
        empty = _mask(pc.equal(text, ""))
        _unknown_words(unknown & ~empty, text, column, table, notes)
        if column.required == "yes":
            notes.add_each(
                f"missing-{column.name}",
                table.name,
                table.id,
                unknown & empty,
                Severity.WARNING,
                f"{column.name} is missing; taken as {column.default}",
                f"write one of {', '.join(column.words)}",
            )
        codes[unknown] = default
    return codes.astype(np.uint8)


def _unknown_words(
    rows: NDArray[np.bool_], text: Any, column: Column, table: NormalisedTable, notes: FindingLog
) -> None:
    notes.add_each(
        f"unknown-{column.name}",
        table.name,
        table.id,
        rows,
        Severity.WARNING,
        lambda row: f"{column.name} {quoted(text[row].as_py())} is not known; taken as {column.default}",
        f"write one of {', '.join(column.words)}",
    )


def _sorted(table: NormalisedTable) -> NormalisedTable:
    """Return the table sorted by id; a layer without ids is sorted by its first text, then geometry."""
    if not len(table):
        return table
    ids = table.id
    if ids is not None:
        array = ids.arrow
        if len(array) < 2 or _mask(pc.less_equal(array[:-1], array[1:])).all():
            return table
        return table.take(pc.sort_indices(array).to_numpy())
    key = next(iter(table.text.values())).arrow
    shape = pa.array(
        [None if shape is None else shape.wkb for shape in as_objects(table.geometry)], type=pa.binary()
    )
    frame = pa.table({"key": key, "shape": shape})
    return table.take(
        pc.sort_indices(frame, sort_keys=[("key", "ascending"), ("shape", "ascending")]).to_numpy()
    )

"""Rows of a database in bulk: COPY on the server's side, Arrow's CSV reader on ours.

A million rows never become Python objects each. Numbers are written by the server in the shortest form that
reads back to the same number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pyarrow as pa
from psycopg import sql
from pyarrow import csv

__all__ = ["Attribute", "copied_columns", "expression", "wkb_of_hex"]

_SHAPE: Final = "shape"
_WHOLE: Final = ("int2", "int4", "int8")
_Kind = Literal["text", "number", "flag", "date", "other"]
_CATEGORIES: Final[dict[str, _Kind]] = {"N": "number", "B": "flag", "S": "text", "E": "text"}
_KINDS: Final[dict[str, _Kind]] = {
    "date": "date",
    "timestamp": "date",
    "timestamptz": "date",
    "uuid": "text",
    "money": "other",
}


@dataclass(frozen=True, slots=True)
class Attribute:
    """A column of a table: its name, and name and category of its type in the catalogue."""

    name: str
    type_name: str
    category: str

    @property
    def kind(self) -> _Kind:
        """What kind of value it holds."""
        return _KINDS.get(self.type_name) or _CATEGORIES.get(self.category, "other")

    @property
    def is_whole(self) -> bool:
        """Whether it holds whole numbers."""
        return self.type_name in _WHOLE


def expression(attribute: Attribute) -> sql.Composable:
    """Return how a column is asked for, so that its text can be read back."""
    column = sql.Identifier(attribute.name)
    if attribute.is_whole:
        return column
    cast = {"number": "::float8", "flag": "", "date": "::date::text"}.get(attribute.kind, "::text")
    return sql.SQL("{}" + cast).format(column)


def copied_columns(data: bytes, attributes: list[Attribute]) -> tuple[Mapping[str, Any], Any]:
    """Return columns by name, and the geometries as well-known binary, of what COPY wrote.

    Parameters
    ----------
    data : bytes
        CSV without a head: the columns in their order, then the geometry in hexadecimal digits.
    attributes : list of Attribute
        The columns.

    Raises
    ------
    pyarrow.ArrowException
        When it cannot be read.
    """
    types = {str(place): _arrow_type(attribute) for place, attribute in enumerate(attributes)}
    types[_SHAPE] = pa.string()
    if not data:
        table = pa.table({name: pa.array([], type=kind) for name, kind in types.items()})
    else:
        table = csv.read_csv(
            pa.BufferReader(data),
            csv.ReadOptions(column_names=list(types), block_size=1 << 24),
            csv.ParseOptions(newlines_in_values=True, ignore_empty_lines=False),
            csv.ConvertOptions(
                column_types=types,
                null_values=[""],
                strings_can_be_null=True,
                quoted_strings_can_be_null=False,
                true_values=["t"],
                false_values=["f"],
            ),
        )
    columns = {attribute.name: table[str(place)] for place, attribute in enumerate(attributes)}
    return columns, wkb_of_hex(table[_SHAPE])


def wkb_of_hex(column: Any) -> Any:
    """Return an Arrow column of bytes for one of hexadecimal digits, all at once."""
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.array([], type=pa.string())
    if not len(array):
        return pa.array([], type=pa.binary())
    valid, offset_bytes, digits = array.buffers()
    offset = np.frombuffer(offset_bytes, dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    used = memoryview(digits)[int(offset[0]) : int(offset[-1])] if digits is not None else b""
    body = bytes.fromhex(bytes(used).decode("ascii"))
    halved = ((offset - offset[0]) // 2).astype(np.int32)
    if valid is not None:
        array = pa.concat_arrays([array])  # so that its mask begins at its first row
        valid = pa.array(np.asarray(array.is_valid())).buffers()[1]
    return pa.Array.from_buffers(
        pa.binary(), len(array), [valid, pa.py_buffer(halved.tobytes()), pa.py_buffer(body)]
    )


def _arrow_type(attribute: Attribute) -> Any:
    if attribute.is_whole:
        return pa.int64()
    return {"number": pa.float64(), "flag": pa.bool_()}.get(attribute.kind, pa.string())

"""Rows of a spreadsheet or of a CSV file, as the many office programs save them."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import ParseError

from netplan.core.errors import BadInputError

__all__ = ["Sheet", "bytes_of", "is_spreadsheet", "sheets_of", "text_in"]

MOST_BYTES: Final = 20_000_000
"""No returned list is as large as this (own) [bytes]."""
_MOST_UNPACKED: Final = 300_000_000
"""Nor, unpacked, as large as this (own) [bytes]."""
_MOST_ROWS: Final = 300_000
_MOST_COLUMNS: Final = 200
"""Rows of a sheet and cells of a row beyond which nobody has typed anything (own)."""

_XLSX: Final = b"PK\x03\x04"
_OLDER: Final = b"\xd0\xcf\x11\xe0"
"""How an older kind of spreadsheet begins, and a newer one that is locked with a password."""
_LAST_GUESS: Final = "cp1252"
_SIGNS: Final = ";\t,"
"""What parts the cells of a CSV file: the one that its head holds most of."""
_DAY_ZERO: Final = datetime(1899, 12, 30)
"""Day 0 of a spreadsheet whose file says nothing else."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its name, its rows of cells from the first, and the day that its day numbers count from.

    A cell is text, number, date, or None. A CSV file is one sheet without a name.
    """

    name: str
    rows: tuple[tuple[Any, ...], ...]
    day_zero: datetime


def bytes_of(path: Path) -> bytes:
    """Read a returned list, never more than any is large.

    Raises
    ------
    BadInputError
        When it cannot be read, or is larger.
    """
    try:
        with path.open("rb") as file:
            held = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror}); check the path") from None
    if len(held) > MOST_BYTES:
        raise BadInputError(f"{path}: is larger than {MOST_BYTES} bytes; give the filled-in notices.xlsx")
    return held


def is_spreadsheet(held: bytes) -> bool:
    """Whether the bytes begin as those of a spreadsheet do, of whatever kind."""
    return held.startswith((_XLSX, _OLDER))


def sheets_of(held: bytes, where: str) -> tuple[Sheet, ...]:
    """Return the sheets of a spreadsheet (xlsx) or of a CSV file.

    Raises
    ------
    BadInputError
        When the spreadsheet cannot be opened.
    """
    if held.startswith(_OLDER):
        raise BadInputError(
            f"{where}: is a spreadsheet of an older kind, or locked with a password; save it as .xlsx or CSV"
        )
    if held.startswith(_XLSX):
        return tuple(_of_workbook(held, where))
    return (_of_csv(text_in(held), where),)


def _of_workbook(held: bytes, where: str) -> Iterator[Sheet]:
    import openpyxl  # a log of a day's work needs none

    try:
        with zipfile.ZipFile(io.BytesIO(held)) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > _MOST_UNPACKED:
            raise BadInputError(f"{where}: unpacks to {unpacked} bytes; save the notice list alone")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and checks that no value depends on
            book = openpyxl.load_workbook(io.BytesIO(held), read_only=True, data_only=True)
            for sheet in book.worksheets:
                # What a program says of a sheet's size may be a million empty rows.
                sheet.reset_dimensions()
                cells = sheet.iter_rows(max_row=_MOST_ROWS, max_col=_MOST_COLUMNS, values_only=True)
                yield Sheet(sheet.title, tuple(tuple(row) for row in cells), book.epoch)
            book.close()
    except BadInputError:
        raise
    except (
        AttributeError,
        EOFError,
        ImportError,
        LookupError,
        NotImplementedError,
        OSError,
        OverflowError,
        ParseError,
        RuntimeError,
        TypeError,
        ValueError,
        zipfile.BadZipFile,
        zlib.error,
    ) as error:
        raise BadInputError(
            f"{where}: is no spreadsheet that can be opened ({type(error).__name__}); save it as .xlsx or CSV"
        ) from None


def text_in(held: bytes) -> str:
    """Return the text of a CSV file in whatever encoding an office program saves one."""
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"", "utf-8-sig")):
        if held.startswith(mark):
            try:
                return held.decode(encoding)
            except UnicodeDecodeError:
                continue
    return held.decode(_LAST_GUESS, errors="replace")


def _of_csv(text: str, where: str) -> Sheet:
    lines = list(io.StringIO(text, newline=""))
    head = next((line for line in lines if line.strip()), "")
    sign = max(_SIGNS, key=head.count)
    if head.lower().startswith("sep=") and len(head.strip()) == len("sep=;"):
        sign = head[len("sep=")]
        lines[lines.index(head)] = "\n"
    csv.field_size_limit(MOST_BYTES)
    read = csv.reader(lines, delimiter=sign)
    try:
        rows = [
            tuple(cell if cell.strip() else None for cell in row[:_MOST_COLUMNS])
            for row in islice(read, _MOST_ROWS)
        ]
    except csv.Error as error:
        raise BadInputError(f"{where}: line {read.line_num}: {error}; save the list as CSV again") from None
    return Sheet("", tuple(rows), _DAY_ZERO)

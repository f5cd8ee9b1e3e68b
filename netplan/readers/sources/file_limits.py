"""What a file must be before anything reads it: of its kind, of bearable size, at rest, and in its folder.

Libraries that read geodata go by content, not by name: a text that calls itself GeoJSON may send them to any
other file. So the first bytes are looked at here, before they are asked.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import quote

from netplan.core.errors import BadInputError

__all__ = [
    "LIMITS",
    "UNLIMITED",
    "FileLimits",
    "guard_file",
    "guard_geodatabase",
    "guard_inside",
    "guard_rows",
    "guard_table",
]

_CATALOGUE: Final = "a00000001.gdbtable"
"""The table of tables of a file geodatabase (from memory)."""
_SQLITE: Final = b"SQLite format 3\x00"
_ZIP: Final = b"PK\x03\x04"
_GZIP: Final = b"\x1f\x8b"
_SHAPEFILE: Final = b"\x00\x00\x27\x0a"
_PARQUET: Final = b"PAR1"
_SPACE: Final = b" \t\r\n"
_HEAD_BYTES: Final = 4096
_KIND: Final = {
    ".gpkg": "GeoPackage",
    ".parquet": "GeoParquet",
    ".geoparquet": "GeoParquet",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".shp": "Shapefile",
}


@dataclass(frozen=True, slots=True)
class FileLimits:
    """How large what is read may be; a larger file is refused in one line.

    Parameters
    ----------
    most_bytes : dict
        Greatest size by the ending of the name, the dot included [bytes].
    most_rows : int
        Most features of a layer.
    """

    most_bytes: dict[str, int]
    most_rows: int


LIMITS: Final = FileLimits(
    {
        ".gpkg": 8_000_000_000,
        ".gdb": 8_000_000_000,
        ".parquet": 4_000_000_000,
        ".geoparquet": 4_000_000_000,
        ".geojson": 1_000_000_000,
        ".json": 1_000_000_000,
        ".shp": 2_000_000_000,
    },
    20_000_000,
)
"""Several times what the pipes of a whole country take (own)."""

UNLIMITED: Final = FileLimits({}, 2**62)
"""For a person who knows that the data is as large as that."""


def guard_file(path: Path, limits: FileLimits = LIMITS) -> None:
    """Refuse a file that is too large, not what its name says, or still being written.

    Raises
    ------
    BadInputError
        With the one line.
    OSError
        When it cannot be opened.
    """
    suffix = path.suffix.lower()
    size = path.stat().st_size
    most = limits.most_bytes.get(suffix)
    if most is not None and size > most:
        raise BadInputError(
            f"{path}: {size:,} bytes are more than the {most:,} expected; check the file, or allow any size"
        )
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if head.startswith((_ZIP, _GZIP)):
        raise BadInputError(f"{path}: is a compressed archive; unpack it and give what is inside")
    if not _is_of_kind(suffix, head):
        raise BadInputError(f"{path} cannot be read: it is no {_KIND[suffix]} inside; export it again")
    if suffix == ".gpkg":
        _guard_at_rest(path)


def _is_of_kind(suffix: str, head: bytes) -> bool:
    if suffix == ".gpkg":
        return head.startswith(_SQLITE)
    if suffix in (".parquet", ".geoparquet"):
        return head.startswith(_PARQUET)
    if suffix == ".shp":
        return head.startswith(_SHAPEFILE)
    return head.removeprefix(b"\xef\xbb\xbf").lstrip(_SPACE).startswith(b"{")


def _guard_at_rest(path: Path) -> None:
    # Reading would finish what the other program began: it would change the file.
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.is_file() and beside.stat().st_size:
            raise BadInputError(
                f"{path}: {beside.name} beside it holds unsaved changes; close the program that writes it"
            )


def guard_inside(file: Path, folder: Path) -> None:
    """Refuse a file of a folder that is a link to somewhere else, or has such a link beside it.

    Raises
    ------
    BadInputError
        With the one line.
    """
    root = folder.resolve()
    beside = [file]
    if file.suffix.lower() == ".shp":
        beside = [other for other in folder.iterdir() if other.stem.lower() == file.stem.lower()]
    for one in beside:
        if one.is_symlink() and not one.resolve().is_relative_to(root):
            raise BadInputError(f"{one}: is a link out of its folder; put the file itself there")


def guard_geodatabase(folder: Path, limits: FileLimits = LIMITS) -> tuple[Path, ...]:
    """Return the files of a file geodatabase; refuse one that is none, is too large or leads elsewhere.

    Raises
    ------
    BadInputError
        With the one line.
    """
    inside = sorted(folder.iterdir())
    if not any(file.name.lower() == _CATALOGUE and file.is_file() for file in inside):
        raise BadInputError(
            f"{folder}: is no file geodatabase inside; copy the whole folder, or export it again"
        )
    for file in inside:
        guard_inside(file, folder)
        if not file.is_file():
            raise BadInputError(f"{file}: is no plain file; export the geodatabase again")
    size, most = sum(file.stat().st_size for file in inside), limits.most_bytes.get(".gdb")
    if most is not None and size > most:
        raise BadInputError(
            f"{folder}: {size:,} bytes are more than the {most:,} expected; check it, or allow any size"
        )
    return tuple(inside)


def guard_rows(where: str, rows: int, limits: FileLimits = LIMITS) -> None:
    """Refuse a layer of more rows than expected.

    Raises
    ------
    BadInputError
        With the one line.
    """
    if rows > limits.most_rows:
        raise BadInputError(
            f"{where} has {rows:,} features, more than the {limits.most_rows:,} expected; "
            "check the file, or allow any size"
        )


def guard_table(path: Path, layer: str) -> None:
    """Refuse a layer of a GeoPackage that is no plain table: a view may run whatever it likes.

    Raises
    ------
    BadInputError
        With the one line.
    """
    with _reading(path) as database:
        rows = database.execute(
            "select type, sql from sqlite_master where lower(name) = lower(?) and type in ('table', 'view')",
            (layer,),
        ).fetchall()
    for kind, text in rows:
        is_virtual = str(text or "").lstrip().lower().startswith("create virtual")
        if kind != "table" or is_virtual:
            raise BadInputError(
                f"{path}: layer {layer} is a {'virtual table' if is_virtual else 'view'}, not a table; "
                "export it as a layer of its own"
            )


@contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    # Immutable: no lock is taken, no journal looked for, nothing written.
    address = f"file:{quote(str(path.resolve()))}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as database:
            yield database
    except (sqlite3.Error, UnicodeError) as error:
        reason = " ".join(str(error).split())[:120]
        raise BadInputError(f"{path} cannot be read ({reason}); check that the file is whole") from error

"""Layers in the tables and views of one schema of a PostgreSQL database with PostGIS.

Everything is read in one read-only transaction, so that layers and joins are of one moment. Names are quoted
and values bound, never pasted; the search path holds the catalogue and PostGIS alone.
"""

from __future__ import annotations

import copy
import threading
import weakref
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import psycopg
import pyarrow as pa
from psycopg import sql
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.core.errors import BadInputError
from netplan.network.raw_layers import RawLayer
from netplan.readers.sources.areas import area_in_crs
from netplan.readers.sources.layer_source import Area, Field
from netplan.readers.sources.postgis_address import DatabaseAddress, read_address
from netplan.readers.sources.postgis_rows import Attribute, copied_columns, expression
from netplan.readers.sources.wkb_geometry import shapes_of_wkb

__all__ = ["PostgisSource"]

_CONNECT_S: Final = 15
_STATEMENT_MS: Final = 600_000
_COUNT_MS: Final = 20_000
_USUAL: Final = ("geom", "geometry", "shape", "wkb_geometry", "the_geom")
"""Which of several geometry columns is meant, the first of these."""

_RIM: Final = 1e-7
"""Share by which an area is widened, so that rounding in another CRS loses nothing at its rim."""

_SETTINGS: Final = (
    "SET LOCAL TimeZone TO 'UTC'",
    "SET LOCAL DateStyle TO 'ISO, YMD'",
    "SET LOCAL extra_float_digits TO 1",
    "SET LOCAL bytea_output TO 'hex'",
    f"SET LOCAL statement_timeout TO {_STATEMENT_MS}",
    f"SET LOCAL idle_in_transaction_session_timeout TO {_STATEMENT_MS}",
)

_POSTGIS: Final = """
    SELECT n.nspname FROM pg_catalog.pg_extension e
    JOIN pg_catalog.pg_namespace n ON n.oid = e.extnamespace WHERE e.extname = 'postgis'"""

_TABLES: Final = """
    SELECT g.f_table_name, g.f_geometry_column, g.srid, g.coord_dimension, g.type
    FROM geometry_columns g
    JOIN pg_catalog.pg_namespace n ON n.nspname = g.f_table_schema
    JOIN pg_catalog.pg_class c ON c.relnamespace = n.oid AND c.relname = g.f_table_name
    WHERE g.f_table_schema = %s AND pg_catalog.has_table_privilege(c.oid, 'SELECT')
    ORDER BY 1, 2"""

_COLUMNS: Final = """
    SELECT a.attname, coalesce(b.typname, t.typname), t.typcategory::text
    FROM pg_catalog.pg_attribute a
    JOIN pg_catalog.pg_class c ON c.oid = a.attrelid
    JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
    JOIN pg_catalog.pg_type t ON t.oid = a.atttypid
    LEFT JOIN pg_catalog.pg_type b ON t.typtype = 'd' AND b.oid = t.typbasetype
    WHERE n.nspname = %s AND c.relname = %s AND a.attnum > 0 AND NOT a.attisdropped
    ORDER BY a.attnum"""

_REFERENCE: Final = "SELECT auth_name, auth_srid, srtext FROM spatial_ref_sys WHERE srid = %s"


@dataclass(frozen=True, slots=True)
class _Table:
    """A table or view: its geometry column, and what the catalogue says of it."""

    name: str
    shape: str
    srid: int
    dimensions: int
    kind: str


class PostgisSource:
    """The tables and views with a geometry in one schema.

    Parameters
    ----------
    url : str
        Standard URL of the database, a service among its parameters if wanted, with ``schema=NAME``; the
        schema is ``public`` by default.

    Raises
    ------
    BadInputError
        When the database cannot be reached, has no PostGIS, or holds no such schema; the message never holds
        a password.
    """

    def __init__(self, url: str) -> None:
        self._address = read_address(url)
        self._only: tuple[str, str] | None = None
        self._lock = threading.RLock()
        self._fields: dict[str, tuple[Attribute, ...]] = {}
        self._keys: dict[str, str] = {}
        self._counts: dict[str, int] = {}
        with _database_errors(self.name):
            self._connection = _connected(self._address)
        weakref.finalize(self, self._connection.close)
        if not self._tables:
            raise BadInputError(
                f"{self.name}: no table there holds a geometry and may be read; correct schema or rights"
            )

    @property
    def name(self) -> str:
        """Host, database and schema, without user and password."""
        return self._address.name

    def of_district(self, column: str, value: str) -> PostgisSource:
        """Return a source of the rows alone whose column, taken as text, has a value."""
        other = copy.copy(self)
        vars(other).update({"_only": (column, value), "_keys": {}, "_counts": {}})
        return other

    def districts(self, column: str, layers: Sequence[str]) -> tuple[str, ...]:
        """Return the values of a column in some layers, as text, sorted.

        Raises
        ------
        BadInputError
            When a layer lacks the column, or one of its rows has no value.
        """
        found: set[str] = set()
        for layer in layers:
            if column not in {attribute.name for attribute in self._attributes(layer)}:
                raise BadInputError(
                    f"{self.name}: layer {layer} has no column {column}; name the district of every row there"
                )
            table = sql.Identifier(self._address.schema, layer)
            query = sql.SQL("SELECT DISTINCT {}::text FROM {}").format(sql.Identifier(column), table)
            values = {row[0] for row in self._ask(query)}
            if None in values or "" in values:
                raise BadInputError(
                    f"{self.name}: layer {layer} has rows without {column}; name the district of every row"
                )
            found |= values
        return tuple(sorted(found))

    def layer_names(self) -> tuple[str, ...]:
        """Return the names of the tables and views with a geometry, sorted."""
        return tuple(sorted(self._tables))

    def fields(self, layer: str) -> tuple[Field, ...]:
        """Return the columns of a table without its geometry."""
        return tuple(Field(a.name, a.kind) for a in self._attributes(layer))

    def read(self, layer: str, columns: Sequence[str], *, within: Area | None = None) -> RawLayer:
        """Read some columns of a table and its geometry; of an area exactly the rows that touch it."""
        table = self._table(layer)
        known = {attribute.name: attribute for attribute in self._attributes(layer)}
        wanted = [known[column] for column in columns]
        crs = self._crs(table)
        where = f"{self.name}: layer {layer}"
        with self._lock, _database_errors(where), self._connection.cursor() as cursor:
            query = sql.SQL("COPY ({}) TO STDOUT (FORMAT csv)").format(self._rows(table, wanted, within, crs))
            with cursor.copy(query) as copy:
                data = b"".join(copy)
        try:
            held, blobs = copied_columns(data, wanted)
        except (pa.ArrowException, ValueError) as error:
            raise BadInputError(f"{where} cannot be read; check its values") from error
        shapes, odd = shapes_of_wkb(blobs, crs)
        return RawLayer(layer, pa.table(dict(held)), shapes, crs, odd)

    def count(self, layer: str) -> int:
        """Return how many rows a table has; -1 for a view that takes long to count."""
        if layer not in self._counts:
            self._counts[layer] = self._counted(self._table(layer))
        return self._counts[layer]

    def _counted(self, table: _Table) -> int:
        query = sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier(self._address.schema, table.name))
        if self._only is not None:
            query += sql.SQL(" WHERE {}").format(self._in_district(*self._only))
        with self._lock, _database_errors(f"{self.name}: layer {table.name}"):
            try:
                # A view that fails must not end the one transaction that all is read in.
                with self._connection.transaction(), self._connection.cursor() as cursor:
                    cursor.execute(f"SET LOCAL statement_timeout TO {_COUNT_MS}".encode())
                    row = cursor.execute(query).fetchone()
                    cursor.execute(f"SET LOCAL statement_timeout TO {_STATEMENT_MS}".encode())
            except psycopg.errors.QueryCanceled:
                return -1
        return int(row[0]) if row else -1

    def content_key(self, within: Area | None, layers: Collection[str]) -> str:
        """Return a text that differs when any row that would be read differs, worked out by the server.

        It sums two hashes of every row, 64 bits each, so that the order of the rows does not matter.
        """
        folded = {name.casefold() for name in layers}
        asked = "\n".join(["" if within is None else within.wkt, *sorted(folded)])
        if asked not in self._keys:
            named = [layer for layer in self.layer_names() if layer.casefold() in folded]
            others = [layer for layer in self.layer_names() if layer.casefold() not in folded]
            self._keys[asked] = "\n".join(
                [
                    *(self._key_of(layer, within) for layer in named),
                    *(f"{layer!r} {self._count_or_none(layer)}" for layer in others),
                ]
            )
        return self._keys[asked]

    def _count_or_none(self, layer: str) -> int | None:
        """Return how many rows a table has that is not read; None where it cannot be counted."""
        try:
            return self.count(layer)
        except BadInputError:
            return None

    def _key_of(self, layer: str, within: Area | None) -> str:
        table, attributes = self._table(layer), self._attributes(layer)
        crs = self._crs(table)
        rows = self._rows(table, list(attributes), within, crs)
        query = sql.SQL(
            "SELECT count(*), sum(hashtextextended(r::text, 1)::numeric), "
            "sum(hashtextextended(r::text, 2)::numeric) FROM ({}) r"
        ).format(rows)
        (count, one, other), *_ = self._ask(query)
        names = [(a.name, a.kind) for a in attributes]
        return f"{layer!r} {names!r} {crs.to_wkt() if crs else None} {count} {one} {other}"

    def _rows(
        self, table: _Table, attributes: list[Attribute], within: Area | None, crs: CRS | None
    ) -> sql.Composed:
        shape = sql.Identifier(table.shape)
        flat = "{}" if table.dimensions <= 3 and not table.kind.endswith("M") else "ST_Force2D({})"
        given = [
            *(expression(attribute) for attribute in attributes),
            sql.SQL(f"encode(ST_AsBinary({flat}, 'NDR'), 'hex')").format(shape),
        ]
        query = sql.SQL("SELECT {} FROM {}").format(
            sql.SQL(", ").join(given), sql.Identifier(self._address.schema, table.name)
        )
        if self._only is not None:
            query += sql.SQL(" WHERE {}").format(self._in_district(*self._only))
        if within is None or crs is None:
            return query
        area = sql.SQL("ST_GeomFromWKB({}, {})").format(
            sql.Literal(self._area(within, crs, table.name)), sql.Literal(self._srid(table))
        )
        joined = sql.SQL(" WHERE " if self._only is None else " AND ")
        return query + joined + sql.SQL("{0} && {1} AND ST_Intersects({0}, {1})").format(shape, area)

    @staticmethod
    def _in_district(column: str, value: str) -> sql.Composed:
        return sql.SQL("{}::text = {}").format(sql.Identifier(column), sql.Literal(value))

    def _area(self, within: Area, crs: CRS, layer: str) -> bytes:
        """Return an area in the CRS of a layer as well-known binary, a trifle wider than given."""
        area = area_in_crs(within, crs, f"{self.name}: layer {layer}")
        west, south, east, north = area.bounds
        return bytes(area.buffer(_RIM * max(east - west, north - south)).wkb)

    @cached_property
    def _tables(self) -> dict[str, _Table]:
        held: dict[str, list[_Table]] = {}
        for row in self._ask(_TABLES, (self._address.schema,)):
            held.setdefault(row[0], []).append(_Table(*row))
        return {name: _meant(tables) for name, tables in held.items()}

    def _table(self, layer: str) -> _Table:
        if layer not in self._tables:
            raise BadInputError(f"{self.name}: holds no layer {layer}; correct its name")
        return self._tables[layer]

    def _attributes(self, layer: str) -> tuple[Attribute, ...]:
        self._table(layer)
        with self._lock:
            if layer not in self._fields:
                rows = self._ask(_COLUMNS, (self._address.schema, layer))
                self._fields[layer] = tuple(
                    Attribute(*row) for row in rows if row[1] not in ("geometry", "geography", "raster")
                )
        return self._fields[layer]

    def _srid(self, table: _Table) -> int:
        """Return the SRID of a table: the catalogue's, or where it knows none that of a row."""
        if table.srid:
            return table.srid
        query = sql.SQL("SELECT ST_SRID({0}) FROM {1} WHERE {0} IS NOT NULL LIMIT 1").format(
            sql.Identifier(table.shape), sql.Identifier(self._address.schema, table.name)
        )
        rows = self._ask(query)
        return int(rows[0][0]) if rows else 0

    def _crs(self, table: _Table) -> CRS | None:
        rows = self._ask(_REFERENCE, (self._srid(table),))
        if not rows:
            return None
        authority, code, text = rows[0]
        for given in (f"{authority}:{code}" if authority and code else "", text or ""):
            try:
                return CRS.from_user_input(given)
            except CRSError:
                continue
        raise BadInputError(
            f"{self.name}: the coordinate reference system of layer {table.name} is not known; "
            "store a standard one"
        )

    def _ask(self, query: Any, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        with self._lock, _database_errors(self.name), self._connection.cursor() as cursor:
            # Without values nothing is bound, and a percent sign in a quoted name is one.
            return cursor.execute(query, values or None).fetchall()


def _connected(address: DatabaseAddress) -> psycopg.Connection[Any]:
    connection = psycopg.connect(
        address.connect,
        connect_timeout=_CONNECT_S,
        client_encoding="utf8",
        fallback_application_name="gas-netplan",
    )
    try:
        connection.read_only = True
        connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        with connection.cursor() as cursor:
            for setting in _SETTINGS:
                cursor.execute(setting.encode())
            cursor.execute(b"SET LOCAL search_path TO pg_catalog")
            found = cursor.execute(_POSTGIS.encode()).fetchone()
            if found is None:
                raise BadInputError(
                    f"{address.name}: the database has no PostGIS; name one that holds the layers"
                )
            path = sql.SQL("SET LOCAL search_path TO pg_catalog, {}").format(sql.Identifier(found[0]))
            cursor.execute(path)
    except BaseException:
        connection.close()
        raise
    return connection


def _meant(tables: list[_Table]) -> _Table:
    """Return the geometry column that is meant of several."""
    by_name = {table.shape.lower(): table for table in reversed(tables)}
    return next((by_name[name] for name in _USUAL if name in by_name), tables[0])


@contextmanager
def _database_errors(where: str) -> Iterator[None]:
    """Say in one line what a database refused; nothing of the address but its name is repeated."""
    try:
        yield
    except psycopg.errors.QueryCanceled:
        raise BadInputError(
            f"{where}: took longer than {_STATEMENT_MS // 1000} s; read a part with --within"
        ) from None
    except psycopg.Error as error:
        raise BadInputError(f"{where}: {_reason(error)}") from None


def _reason(error: psycopg.Error) -> str:
    said = error.diag.message_primary
    if said:
        return f"the database refused ({' '.join(said.split())[:160]}); correct rights or data"
    # What the driver itself says may repeat the address, password and all.
    text = str(error).lower()
    if "password" in text or "authentication" in text or "role" in text:
        return "the database refused the user; check user, and password file or service file"
    if "does not exist" in text:
        return "there is no such database; correct its name"
    if "service" in text:
        return "the service is not known; check the service file"
    if "resolve" in text or "name or service" in text or "translate host" in text:
        return "the host is not known; correct its name"
    if "refused" in text or "timeout" in text or "connection failed" in text:
        return "no database answers there; check host and port, and that it runs"
    return "the connection was lost; try again"

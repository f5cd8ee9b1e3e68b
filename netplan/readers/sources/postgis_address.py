"""Addresses of databases: what to connect with, and what may be said aloud.

The standard URL of PostgreSQL is understood, its service files and password files included, with one
parameter more: ``schema``, the schema that holds the layers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

from netplan.core.errors import BadInputError

__all__ = ["DatabaseAddress", "read_address"]

_SCHEMA: Final = "public"
_MALFORMED: Final = (
    "the address of the database is malformed; write postgresql://USER@HOST/DATABASE?schema=NAME, "
    "and keep the password in a password file or a service file"
)


@dataclass(frozen=True, slots=True)
class DatabaseAddress:
    """Where layers lie in a database.

    Parameters
    ----------
    name : str
        For messages and provenance: host, port, database and schema, never a user or a password.
    connect : str
        What libpq is given; secret.
    schema : str
        Schema of the layers.
    """

    name: str
    connect: str = field(repr=False)
    schema: str


def read_address(url: str) -> DatabaseAddress:
    """Return the address that a URL means.

    Raises
    ------
    BadInputError
        When it is malformed; the message does not repeat it, as it may hold a password.
    """
    import psycopg
    from psycopg.conninfo import conninfo_to_dict

    try:
        parts = urlsplit(url)
        asked = parse_qsl(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query))
        schemas = [value for key, value in asked if key == "schema"]
        rest = urlencode([pair for pair in asked if pair[0] != "schema"], quote_via=quote)
        connect = urlunsplit(("postgresql", parts.netloc, parts.path, rest, ""))
        if not rest and not parts.netloc:  # urlunsplit would drop the empty authority
            connect = f"postgresql://{parts.path}"
        elif not parts.netloc:
            connect = f"postgresql://{parts.path}?{rest}"
        known = conninfo_to_dict(connect)
        # A password with '/', '?' or '#' in it, not quoted, falls apart into what looks like other parts.
        ports = str(known.get("port") or "").replace(",", "")
        places = f"{known.get('host') or ''}{known.get('dbname') or ''}"
        if parts.fragment or "#" in url or "@" in places or not (ports.isdecimal() or not ports):
            raise ValueError
    except (ValueError, psycopg.Error):
        raise BadInputError(_MALFORMED) from None
    schema = schemas[0] if schemas else _SCHEMA
    if len(schemas) > 1 or not schema or "\0" in schema:
        raise BadInputError(f"{_public_name(known, '')}: give one schema, as in ?schema=gas")
    return DatabaseAddress(_public_name(known, schema), connect, schema)


def _public_name(known: Mapping[str, object], schema: str) -> str:
    """Write an address without anything that is secret or belongs to a person."""
    host, port = str(known.get("host") or known.get("hostaddr") or ""), str(known.get("port") or "")
    place = quote(host, safe=":,.[]") + (f":{port}" if port else "")
    database = quote(str(known.get("dbname") or ""), safe="")
    query = {"service": str(known["service"])} if known.get("service") else {}
    if schema:
        query["schema"] = schema
    return f"postgresql://{place}/{database}" + (f"?{urlencode(query, quote_via=quote)}" if query else "")

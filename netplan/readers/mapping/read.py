"""Reading a mapping file: everything in it is checked before any data is read."""

from __future__ import annotations

import hashlib
from collections import Counter
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from netplan.core.errors import BadInputError, quoted, shown
from netplan.core.text_files import TooLargeError, text_of, toml_of
from netplan.network.contract import Column, layer_specs
from netplan.readers.mapping.model import GAP, ColumnRule, MappedSource, Mapping, Tables, Value
from netplan.readers.mapping.units import unit_factor

__all__ = ["parse_mapping", "read_mapping"]

_MOST_BYTES: Final = 1_000_000
_SIZED: Final = ("mains", "services")


def read_mapping(path: str | Path) -> Mapping:
    """Read a mapping file (TOML).

    Parameters
    ----------
    path : str or Path
        The file.

    Raises
    ------
    BadInputError
        When it cannot be read, a key or column is unknown, a unit does not convert or a word is none of the
        contract's.
    """
    place = Path(path)
    try:
        text = text_of(place, _MOST_BYTES)
    except OSError as error:
        raise BadInputError(f"{place}: cannot be read ({error.strerror or error}); check the path") from None
    except UnicodeDecodeError:
        raise BadInputError(f"{place.name}: is not UTF-8 text; save it as UTF-8") from None
    except TooLargeError as error:
        raise BadInputError(f"{place.name}: {error}; this is no mapping") from None
    except ValueError:
        raise BadInputError(f"{quoted(str(path))} is no path; give the mapping file") from None
    return parse_mapping(text, place.name)


def parse_mapping(text: str, name: str = "mapping") -> Mapping:
    """Check the text of a mapping.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What messages call it.

    Raises
    ------
    BadInputError
        As `read_mapping`.
    """
    try:
        values = toml_of(text)
        tables = Tables.model_validate(values)
    except ValidationError as error:
        raise BadInputError(_message(name, error)) from None
    except ValueError as error:
        raise BadInputError(f"{name}: is not valid TOML ({_one_line(str(error))}); correct it") from None
    feeds = {layer: getattr(tables, layer) for layer in layer_specs() if getattr(tables, layer)}
    mapping = Mapping(name, feeds, hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())
    if not mapping.feeds:
        raise BadInputError(f"{name}: maps no layer; write a table [[mains]] with source and columns")
    for layer, number, feed in mapping.each():
        _check_feed(f"{name}: {layer} {number}", layer, feed)
    return mapping


def _check_feed(where: str, layer: str, feed: MappedSource) -> None:
    known = {column.name: column for column in layer_specs()[layer].columns}
    if feed.size is not None and layer not in _SIZED:
        raise BadInputError(f"{where}: size: {layer} have no size; take it out")
    if feed.height != "none":
        try:
            unit_factor(feed.height, "m")
        except ValueError as error:
            raise BadInputError(f"{where}: height: {error}; correct the unit, or write none") from None
    for name, rule in feed.columns.items():
        if name not in known:
            raise BadInputError(
                f"{where}: columns.{quoted(name)}: no column of the contract; use one of {', '.join(known)}"
            )
        _check_rule(f"{where}: columns.{name}", rule, known[name])


def _check_rule(where: str, rule: ColumnRule, column: Column) -> None:
    folded = Counter(word.strip().lower() for word in rule.meanings or {})
    for word, count in folded.items():
        if count > 1:
            raise BadInputError(f"{where}: values holds {quoted(word)} twice (case aside); keep one")
    if column.kind == "number":
        _check_number(where, rule, column)
        return
    if rule.unit is not None or rule.kwh_per_m3 is not None:
        raise BadInputError(f"{where}: is no number, so it has no unit; take unit out")
    if column.kind != "word":
        return
    known = {word.casefold() for word in column.words}
    given: list[Value] = [*(rule.meanings or {}).values(), *([] if rule.default is None else [rule.default])]
    given += [] if rule.constant is None else [rule.constant]
    for value in given:
        if value not in (GAP, "") and str(value).casefold() not in known:
            raise BadInputError(
                f"{where}: {quoted(str(value))} is no word of the contract; "
                f"use one of {', '.join(column.words)}"
            )


def _check_number(where: str, rule: ColumnRule, column: Column) -> None:
    meant = [value for value in (rule.meanings or {}).values() if value != ""]  # empty: not known
    for value in (rule.constant, rule.default, *meant):
        if isinstance(value, str) and value != GAP:
            raise BadInputError(f"{where}: {quoted(value)} is no number; write one without quotes")
    if rule.prefix or rule.drop_prefix or rule.replace:
        raise BadInputError(f"{where}: is a number, so it has no prefix or replace; take them out")
    if rule.from_ is not None and len(rule.from_) > 1:
        raise BadInputError(f"{where}: is a number, so it comes from one column; name one")
    if rule.kwh_per_m3 is not None and (rule.unit is None or column.unit not in ("kWh/a", "kW")):
        raise BadInputError(f"{where}: kwh_per_m3 goes with a unit of volume for energy; correct it")
    if rule.unit is not None and rule.unit != GAP:
        try:
            unit_factor(rule.unit, column.unit, rule.kwh_per_m3)
        except ValueError as error:
            raise BadInputError(f"{where}: {error}; correct the unit") from None


def _message(name: str, error: ValidationError) -> str:
    first = error.errors(include_url=False, include_context=False)[0]
    where = ".".join(_step(part) for part in first["loc"]) or "file"
    what = "unknown key; correct or remove it" if first["type"] == "extra_forbidden" else first["msg"]
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"{name}: {shown(_one_line(where))}: {_one_line(what)}{more}"


def _step(part: Any) -> str:
    return str(part + 1) if isinstance(part, int) else str(part)


def _one_line(text: str) -> str:
    return " ".join(text.split())[:300]

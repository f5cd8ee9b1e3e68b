"""The mapping file: what a company calls things, and what the contract calls them, as checked, frozen values.

Everything in the file is checked before any data is read.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    create_model,
    model_validator,
)

from netplan.core.errors import BadInputError, quoted, shown
from netplan.core.text_files import TooLargeError, text_of, toml_of
from netplan.network.contract import Column, layer_specs
from netplan.readers.mapping.unit_words import unit_factor

__all__ = [
    "GAP",
    "ColumnRule",
    "Condition",
    "MappedSource",
    "Mapping",
    "SizeRule",
    "Tables",
    "parse_mapping",
    "read_mapping",
]

GAP: Final = "?"
"""What a draft writes where a person has to decide."""

_EPSG: Final = re.compile(r"EPSG:\d{4,6}", re.IGNORECASE)
_MOST_WORDS: Final = 5000

Name = Annotated[str, Field(min_length=1, max_length=200)]
Value = Annotated[str, Field(max_length=500)] | Annotated[int, Field(ge=-(2**53), le=2**53)] | float | bool
Words = Annotated[dict[str, Value], Field(max_length=_MOST_WORDS)]
_MOST_BYTES: Final = 1_000_000
_SIZED: Final = ("mains", "services")


def _as_list(value: object) -> object:
    return value if isinstance(value, list | tuple) else [value]


Names = Annotated[tuple[Name, ...], BeforeValidator(_as_list), Field(min_length=1, max_length=20)]
Values = Annotated[tuple[Value, ...], BeforeValidator(_as_list), Field(min_length=1, max_length=_MOST_WORDS)]


class MappedTable(BaseModel):
    """A table of the file: frozen, unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Condition(MappedTable):
    """Which features of a source layer are meant; values are compared as texts without outer spaces."""

    column: Name
    is_: Values | None = Field(default=None, alias="is")
    is_not: Values | None = None
    missing: bool | None = None

    @model_validator(mode="after")
    def _one(self) -> Condition:
        if sum(given is not None for given in (self.is_, self.is_not, self.missing)) != 1:
            raise ValueError("give exactly one of is, is_not and missing")
        return self


class ColumnRule(MappedTable):
    """Where a column of the contract comes from.

    Parameters
    ----------
    from_ : tuple of str
        Columns of the source; several are joined as text.
    constant : value
        The same for every feature, in place of columns.
    unit : str
        Unit of the source; pressures are gauge.
    kwh_per_m3 : float
        Energy of the gas, to have energy from a volume [kWh/m3 at 15 °C, 101.325 kPa].
    decimal : str
        Decimal sign of numbers that stand as text.
    empty : tuple
        Values that mean nothing is known.
    meanings : dict
        ``values`` in the file: words of the source and what they mean.
    unlisted : str
        What happens to a word that ``values`` does not hold: ``report`` (a finding, then missing), ``keep``,
        ``empty``. Words of the contract itself are always understood.
    default : value
        What a missing value means.
    join : str
        What stands between joined columns.
    split : str
        What stands between several ids in one value.
    drop_prefix, prefix : str
        What is taken off and put before each text.
    replace : dict
        Characters or words replaced in each text, in the order of the file.
    """

    from_: Names | None = Field(default=None, alias="from")
    constant: Value | None = None
    unit: Annotated[str, Field(max_length=40)] | None = None
    kwh_per_m3: Annotated[float, Field(gt=0, le=100)] | None = None
    decimal: Literal[".", ","] = "."
    empty: Values | None = None
    meanings: Words | None = Field(default=None, alias="values")
    unlisted: Literal["report", "keep", "empty"] = "report"
    default: Value | None = None
    join: Annotated[str, Field(max_length=20)] = " "
    split: Annotated[str, Field(min_length=1, max_length=5)] = ";"
    drop_prefix: Annotated[str, Field(max_length=200)] = ""
    prefix: Annotated[str, Field(max_length=200)] = ""
    replace: Annotated[dict[Name, str], Field(max_length=100)] = {}

    @model_validator(mode="after")
    def _one(self) -> ColumnRule:
        if (self.from_ is None) == (self.constant is None):
            raise ValueError("give either from or constant")
        return self

    @property
    def is_gap(self) -> bool:
        """Whether a person still has to say where the column comes from."""
        return GAP in (self.from_ or ()) or self.constant == GAP

    @property
    def is_plain(self) -> bool:
        """Whether it only names columns."""
        return self.model_fields_set == {"from_"}


class SizeRule(MappedTable):
    """Sizes written as text: they fill the size columns that stay empty otherwise.

    Parameters
    ----------
    from_ : tuple of str
        Columns of the source, joined.
    plain : str
        What a bare number means: ``od_mm``, ``dn`` or ``inch``.
    meanings : dict
        ``values`` in the file: texts of the source and the sizes they mean.
    """

    from_: Names = Field(alias="from")
    plain: Literal["", "od_mm", "dn", "inch"] = ""
    meanings: Annotated[dict[str, str], Field(max_length=_MOST_WORDS, alias="values")] = {}


def _as_rule(value: object) -> object:
    return {"from": value} if isinstance(value, str | list) else value


class MappedSource(MappedTable):
    """One source layer, or the part of it that `where` lets through, for one layer of the contract.

    Parameters
    ----------
    source : str
        Layer of the source.
    crs : str
        CRS of a layer that names none, such as ``EPSG:25832``.
    height : str
        Unit of the heights in the geometry; ``none`` where they mean nothing.
    where : tuple of Condition
        All of them hold for the features that are meant.
    size : SizeRule
        Sizes written as text.
    columns : dict of ColumnRule
        Columns of the contract by name.
    """

    source: Name
    crs: Name | None = None
    height: Annotated[str, Field(max_length=40)] = "m"
    where: Annotated[tuple[Condition, ...], Field(max_length=50)] = ()
    size: Annotated[SizeRule, BeforeValidator(_as_rule)] | None = None
    columns: dict[str, Annotated[ColumnRule, BeforeValidator(_as_rule)]] = {}

    @model_validator(mode="after")
    def _standard(self) -> MappedSource:
        if self.crs is not None and not _EPSG.fullmatch(self.crs):
            raise ValueError("crs is not the code of a standard CRS; write for example EPSG:25832")
        return self


class _File(MappedTable):
    format: Literal["netplan/mapping/1"] = "netplan/mapping/1"


_FEEDS: Any = Annotated[tuple[MappedSource, ...], Field(max_length=100)]
_layers: Any = dict.fromkeys(layer_specs(), (_FEEDS, ()))
Tables: Any = create_model("Tables", __base__=_File, **_layers)
"""The whole file: an array of tables for each layer of the contract."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping that has been read.

    Parameters
    ----------
    name : str
        File name, for messages.
    feeds : dict
        What feeds each layer of the contract, in the order of the contract.
    digest : str
        SHA-256 of the file, to know a mapping again.
    """

    name: str
    feeds: dict[str, tuple[MappedSource, ...]]
    digest: str

    def each(self) -> Iterator[tuple[str, int, MappedSource]]:
        """Yield layer, number (from 1) and feed, in order."""
        for layer, feeds in self.feeds.items():
            for number, feed in enumerate(feeds, start=1):
                yield layer, number, feed


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

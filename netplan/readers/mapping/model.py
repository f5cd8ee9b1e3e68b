"""The mapping as checked, frozen values: what a company calls things, and what the contract calls them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, create_model, model_validator

from netplan.network.contract import layer_specs

__all__ = ["GAP", "ColumnRule", "Condition", "MappedSource", "Mapping", "SizeRule", "Tables"]

GAP: Final = "?"
"""What a draft writes where a person has to decide."""

_EPSG: Final = re.compile(r"EPSG:\d{4,6}", re.IGNORECASE)
_MOST_WORDS: Final = 5000

Name = Annotated[str, Field(min_length=1, max_length=200)]
Value = Annotated[str, Field(max_length=500)] | Annotated[int, Field(ge=-(2**53), le=2**53)] | float | bool


def _as_list(value: object) -> object:
    return value if isinstance(value, list | tuple) else [value]


Names = Annotated[tuple[Name, ...], BeforeValidator(_as_list), Field(min_length=1, max_length=20)]
Values = Annotated[tuple[Value, ...], BeforeValidator(_as_list), Field(min_length=1, max_length=_MOST_WORDS)]
Words = Annotated[dict[str, Value], Field(max_length=_MOST_WORDS)]


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
            raise ValueError("crs is no code of a standard CRS; write for example EPSG:25832")
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

"""The input contract as data: every layer and column with type, unit, default and meaning."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Final

from netplan.network import vocabulary as words

__all__ = ["BASE_LAYERS", "WORD_OF", "Column", "LayerSpec", "layer_specs"]

WORD_OF: Final[dict[str, type[words.Word]]] = {
    "material": words.Material,
    "surface": words.Surface,
    "status": words.Status,
    "joint": words.Joint,
    "host": words.Host,
    "excess_flow_valve": words.YesNo,
    "service_regulator": words.YesNo,
    "vent_between": words.YesNo,
    "category": words.Category,
    "state": words.ValveState,
    "operable": words.Operable,
    "kind": words.FittingKind,
}
"""Vocabulary of each word column; a column name has the same vocabulary in every layer."""

BASE_LAYERS: Final = ("streets", "buildings", "water", "rail")
"""Layers of the base map: drawn under the map, and what hoses go round (streets: along)."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the contract.

    Parameters
    ----------
    name : str
        Column name, with its unit.
    kind : str
        ``text``, ``number`` or ``word``.
    unit : str
        Unit of a number; empty for none.
    required : str
        ``yes``, ``no``, or ``size`` for a column of which one of its kind must be given.
    default : str
        What a missing value means; empty for nothing.
    words : tuple of str
        Allowed words of a word column.
    description : str
        Meaning.
    """

    name: str
    kind: str
    unit: str
    required: str
    default: str
    words: tuple[str, ...]
    description: str


@dataclass(frozen=True, slots=True)
class LayerSpec:
    """One layer of the contract: its geometry type, whether it must be there, and its columns."""

    name: str
    geometry: str
    required: bool
    description: str
    columns: tuple[Column, ...]

    @property
    def has_id(self) -> bool:
        """Whether the features of the layer have ids of their own."""
        return any(column.name == "id" for column in self.columns)


@lru_cache(maxsize=1)
def layer_specs() -> dict[str, LayerSpec]:
    """Return the contract of every layer by its name, in the order of the table."""
    text = resources.files("netplan.network").joinpath("contract.csv").read_text(encoding="utf-8")
    heads: dict[str, dict[str, str]] = {}
    columns: dict[str, list[Column]] = {}
    for row in csv.DictReader(text.splitlines()):
        if not row["column"]:
            heads[row["layer"]] = row
            columns[row["layer"]] = []
            continue
        allowed = tuple(row["words"].split(";")) if row["words"] else ()
        columns[row["layer"]].append(
            Column(
                row["column"],
                row["type"],
                row["unit"],
                row["required"],
                row["default"],
                allowed,
                row["description"],
            )
        )
    return {
        name: LayerSpec(
            name, head["type"], head["required"] == "yes", head["description"], tuple(columns[name])
        )
        for name, head in heads.items()
    }

"""A mutant: an export whose meaning was changed, and what the change was about."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np

from tests.list_safety.exports import Export

__all__ = ["Change", "Mutant", "Rng", "UnfitError", "names_of", "pick", "set_column"]

Rng = np.random.Generator


class UnfitError(Exception):
    """A kind of change that this export has nothing for."""


@dataclass(frozen=True, slots=True)
class Change:
    """What was done.

    Parameters
    ----------
    kind : str
        Kind of the change, as the table of results names it.
    words : str
        The change in words.
    layers : frozenset of str
        Layers of the contract that it is about; a finding that tells it names one of them or none.
    names : frozenset of str
        Layers and columns, by old and new names, of the source and of the contract.
    features : frozenset of str
        Ids of the features that it is about, and of those that hang on them.
    ids : mapping
        Old id by new id of every customer and main whose id is written otherwise.
    rows : tuple
        What the oracle needs besides: rows, old and new values.
    """

    kind: str
    words: str
    layers: frozenset[str]
    names: frozenset[str] = frozenset()
    features: frozenset[str] = frozenset()
    ids: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[Any, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Mutant:
    """A changed export beside what it was before."""

    before: Export
    after: Export
    change: Change

    def about(self, **more: Any) -> Mutant:
        """Return the mutant with other facts about its change."""
        return replace(self, change=replace(self.change, **more))


def names_of(export: Export, layer: str, *columns: str) -> set[str]:
    """Return the names of a layer and of columns in the source and in the contract."""
    found = {layer, export.layer_of[layer], *columns}
    return found | {export.column(layer, column) for column in columns if export.has(layer, column)}


def pick(rng: Rng, some: Iterable[Any]) -> Any:
    """Return one of some things; none is no fit."""
    held = list(some)
    if not held:
        raise UnfitError
    return held[int(rng.integers(len(held)))]


def set_column(export: Export, layer: str, column: str, values: Any) -> Export:
    """Return an export with other values in a column."""
    frame: gpd.GeoDataFrame = export.frame(layer).copy()
    frame[export.column(layer, column)] = values
    return export.with_frame(layer, frame)

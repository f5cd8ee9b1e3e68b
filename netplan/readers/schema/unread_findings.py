"""Findings about layers, files and columns of a source that nothing was read from."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from netplan.core.errors import BadInputError
from netplan.core.findings import Severity
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.notes import Notes
from netplan.readers.schema.near_names import is_given_by_database, near_layer, shown
from netplan.readers.sources.source import CountsFeatures, HasOtherFiles, LayerSource

__all__ = ["LeftColumns", "note_columns", "note_layers"]

_LEAST_COLUMNS: Final = 3
_SHARE: Final = 0.75
"""A layer with so large a share of the columns of another one may be a part of it (own)."""
_MEND_LAYER: Final = "name it so, put it into that layer, or give a mapping that takes it"
_MEND_COLUMN: Final = "name it so, or give a mapping that says what it is"


@dataclass(frozen=True, slots=True)
class LeftColumns:
    """Columns that nothing was read from.

    Parameters
    ----------
    layer : str
        Layer of the contract that the features are read as.
    of : str
        What messages call the source layer besides; empty where its name is that of the contract.
    features : int
        How many features have been read.
    names : sequence of str
        The columns.
    """

    layer: str
    of: str
    features: int
    names: Sequence[str]


def note_layers(
    source: LayerSource,
    taken: Collection[str],
    notes: Notes,
    others: Collection[str] = (),
    columns: Mapping[str, Collection[str]] | None = None,
) -> None:
    """Notice every layer of a source that is not read, with its number of features.

    Parameters
    ----------
    taken : collection of str
        Layers of the source that are read.
    others : collection of str
        Names of a mapping besides those of the contract.
    columns : mapping, optional
        Columns of the source that are read, by layer of the contract: a layer that holds those of another one
        may be a part of it.
    """
    rest = []
    for name in source.layer_names():
        if name in taken:
            continue
        said = f"{shown(name)} {_counted(source, name)}".strip()
        if near := near_layer(name, others):
            _looks_like(f"layer {said}", near, notes)
        elif of := _of_columns(source, name, columns or {}):
            what = f"layer {said} was not read; it has the columns of {of}"
            notes.add("layer-not-read", of, "", Severity.WARNING, what, _MEND_LAYER)
        else:
            rest.append(said)
    for name in source.other_files() if isinstance(source, HasOtherFiles) else ():
        stem = name.rpartition("/")[2].rpartition(".")[0]
        if near := near_layer(stem, others):
            _looks_like(f"file {shown(name)}", near, notes)
    if rest:
        notes.add(
            "layer-not-read",
            "",
            "",
            Severity.NOTE,
            f"not read, and like no layer of a network: {', '.join(rest)}",
            "give a mapping where one of them belongs to the network",
        )


def _of_columns(source: LayerSource, name: str, columns: Mapping[str, Collection[str]]) -> str:
    """Return the layer of the contract whose columns a layer of the source has, empty for none."""
    try:
        held = {field.name.casefold() for field in source.fields(name)}
    except BadInputError:
        return ""
    shares = {
        layer: len(held & {column.casefold() for column in some}) / len(some)
        for layer, some in columns.items()
        if len(some) >= _LEAST_COLUMNS and layer not in BASE_LAYERS
    }
    best = max(shares, key=lambda layer: shares[layer], default="")
    return best if best and shares[best] >= _SHARE else ""


def _looks_like(what: str, near: str, notes: Notes) -> None:
    layer = near if near in layer_specs() else ""
    said = f"{what} was not read; it looks like {shown(near)}"
    notes.add("layer-not-read", layer, "", Severity.WARNING, said, _MEND_LAYER)


def _counted(source: LayerSource, name: str) -> str:
    if not isinstance(source, CountsFeatures):
        return ""
    try:
        count = source.count(name)
    except BadInputError:
        return "(cannot be read)"
    return "" if count < 0 else f"({_features(count)})"


def note_columns(left: Iterable[LeftColumns], near: Callable[[LeftColumns, str], str], notes: Notes) -> None:
    """Notice every column that is not read; keys that a database gives are none of the network's.

    Parameters
    ----------
    near : callable
        Returns the name that a column looks like, empty for none.
    """
    for columns in left:
        rest = []
        of = f" of {shown(columns.of)}" if columns.of else ""
        for name in sorted(columns.names):
            if not columns.features or is_given_by_database(name):
                continue
            # The base map is drawn and nothing else: no plan rests on its columns.
            if columns.layer not in BASE_LAYERS and (like := near(columns, name)):
                notes.add(
                    "column-not-read",
                    columns.layer,
                    "",
                    Severity.WARNING,
                    f"column {shown(name)}{of} was not read ({_features(columns.features)}); "
                    f"it looks like {shown(like)}",
                    _MEND_COLUMN,
                )
            else:
                rest.append(shown(name))
        if rest:
            notes.add(
                "column-not-read",
                columns.layer,
                "",
                Severity.NOTE,
                f"columns{of} not read ({_features(columns.features)}): {', '.join(rest)}",
                "give a mapping where one of them says what the plan needs",
            )


def _features(count: int) -> str:
    return "1 feature" if count == 1 else f"{count:,} features"

"""Findings about a source: layers and columns it lacks, those that were not read, and odd geometries."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.errors import BadInputError
from netplan.core.findings import Finding, Severity, in_order
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text
from netplan.network.raw_layers import RawLayer, RawLayers
from netplan.readers.name_matching import in_one_line, is_given_by_database, similar_layer
from netplan.readers.sources.layer_source import CountsFeatures, HasOtherFiles, LayerSource
from netplan.readers.sources.wkb_geometry import TOLERANCE_M

__all__ = [
    "UnreadColumns",
    "note_unread_columns",
    "note_unread_layers",
    "unread_layer_finding",
    "with_geometry_findings",
    "with_missing_findings",
]

_LAYERS: Final = {
    "customers": "without it nobody is on any list",
    "services": "every customer counts as fed by the nearest main",
    "valves": "closed valves count as open, and no valve is a stop",
    "fittings": "stops keep no distance from fittings",
}
"""Layers that a plan rests on, and what it takes to be so where nothing is recorded."""
_SYSTEM: Final = "all are taken as low pressure"
_COLUMNS: Final[dict[str, dict[str, str]]] = {
    "mains": {
        "status": "dead ones count as live",
        "system": _SYSTEM,
        "mop_mbar": "their limit is not known",
        "year": "their age is not known",
        "resin": "their resin is not known",
        "joint": "their joints are not known",
        "host": "none counts as inserted",
        "surface": "what lies over them is not known",
    },
    "services": {"status": "dead ones count as live", "system": _SYSTEM},
    "customers": {
        "priority": "nobody counts as a priority customer",
        "category": "each counts as a household",
        "meters": "each counts as one meter",
        "annual_kwh": "no yearly use is known",
        "peak_kw": "no peak power is known",
        "service_id": "each counts as fed by the nearest service end",
    },
    "regulators": {
        "max_outlet_mbar": "stops are rated by the limit of the mains",
        "capacity_m3h": "none has a limit of flow",
        "status": "dead ones count as live",
        "system": _SYSTEM,
    },
    "valves": {"operable": "none is ever a stop", "system": _SYSTEM},
    "fittings": {"system": _SYSTEM},
    "injections": {"system": _SYSTEM},
}
"""Columns that the list, the stops or the feeds rest on, and what is taken to be so without them."""
_PARTICULARS: Final = ("street", "number", "postcode", "language")
"""Columns of customers that only letters and the order of lists use."""
_MEND: Final = "add them if they are recorded; check whether they have another name"
_LEAST_COLUMNS: Final = 3
_SHARE: Final = 0.75
"""A layer with so large a share of the columns of another one may be a part of it (own)."""
_MEND_LAYER: Final = "name it so, put it into that layer, or give a mapping that takes it"
_MEND_COLUMN: Final = "name it so, or give a mapping that says what it is"
_LINES = ("mains", "services")


def with_missing_findings(raw: RawLayers, *, whole: bool = True) -> RawLayers:
    """Return layers with findings about those without a feature, and about columns that none has.

    A column for the pressure system is missed only where another layer has one: a town of one system needs
    none. Nor is the peak power missed where the yearly use is recorded.

    Parameters
    ----------
    whole : bool
        Whether all of the source has been read: of a part nothing is said of layers without a feature.
    """
    notes = FindingLog()
    held = {name: set(layer.columns.column_names) for name, layer in raw.layers.items() if len(layer)}
    for layer, without in _LAYERS.items() if whole else ():
        if layer not in held and (layer != "customers" or layer in raw.layers):
            notes.add(
                "layer-absent",
                layer,
                "",
                Severity.WARNING,
                f"no feature of layer {layer} is recorded: {without}",
                "add the layer if it is recorded; check whether it has another name",
            )
    has_system = any("system" in columns for columns in held.values())
    for layer, columns in held.items():
        missed = [
            f"{column} ({without})"
            for column, without in _COLUMNS.get(layer, {}).items()
            if column not in columns
            and (column != "system" or has_system)
            and (column != "peak_kw" or "annual_kwh" not in columns)
            and (column != "service_id" or "services" in held)
        ]
        if missed:
            notes.add("column-absent", layer, "", Severity.WARNING, f"no column {'; '.join(missed)}", _MEND)
        if layer == "customers" and (left := [name for name in _PARTICULARS if name not in columns]):
            words = f"no column {', '.join(left)}: letters and lists leave them out"
            notes.add("column-absent", layer, "", Severity.NOTE, words, _MEND)
    return replace(raw, findings=in_order((*raw.findings, *notes.sorted())))


@dataclass(frozen=True, slots=True)
class UnreadColumns:
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


def note_unread_layers(
    source: LayerSource,
    taken: Collection[str],
    notes: FindingLog,
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
        said = f"{in_one_line(name)} {_counted(source, name)}".strip()
        if near := similar_layer(name, others):
            _looks_like(f"layer {said}", near, notes)
        elif of := _of_columns(source, name, columns or {}):
            what = f"layer {said} was not read; it has the columns of {of}"
            notes.add("layer-not-read", of, "", Severity.WARNING, what, _MEND_LAYER)
        else:
            rest.append(said)
    for name in source.other_files() if isinstance(source, HasOtherFiles) else ():
        stem = name.rpartition("/")[2].rpartition(".")[0]
        if near := similar_layer(stem, others):
            _looks_like(f"file {in_one_line(name)}", near, notes)
    if rest:
        notes.add(
            "layer-not-read",
            "",
            "",
            Severity.NOTE,
            f"not read, and not like any layer of a network: {', '.join(rest)}",
            "give a mapping if one of them belongs to the network",
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


def _looks_like(what: str, near: str, notes: FindingLog) -> None:
    layer = near if near in layer_specs() else ""
    said = f"{what} was not read; it looks like {in_one_line(near)}"
    notes.add("layer-not-read", layer, "", Severity.WARNING, said, _MEND_LAYER)


def _counted(source: LayerSource, name: str) -> str:
    if not isinstance(source, CountsFeatures):
        return ""
    try:
        count = source.count(name)
    except BadInputError:
        return "(cannot be read)"
    return "" if count < 0 else f"({_features(count)})"


def note_unread_columns(
    left: Iterable[UnreadColumns], near: Callable[[UnreadColumns, str], str], notes: FindingLog
) -> None:
    """Notice every column that is not read; keys that a database gives are none of the network's.

    Parameters
    ----------
    near : callable
        Returns the name that a column looks like, empty for none.
    """
    for columns in left:
        rest = []
        of = f" of {in_one_line(columns.of)}" if columns.of else ""
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
                    f"column {in_one_line(name)}{of} was not read ({_features(columns.features)}); "
                    f"it looks like {in_one_line(like)}",
                    _MEND_COLUMN,
                )
            else:
                rest.append(in_one_line(name))
        if rest:
            notes.add(
                "column-not-read",
                columns.layer,
                "",
                Severity.NOTE,
                f"columns{of} not read ({_features(columns.features)}): {', '.join(rest)}",
                "give a mapping if the plan needs one of them",
            )


def _features(count: int) -> str:
    return "1 feature" if count == 1 else f"{count:,} features"


def with_geometry_findings(read: RawLayers) -> RawLayers:
    """Return layers with a finding for what reading their geometries noticed."""
    if all(layer.odd is None for layer in read.layers.values()):
        return read
    notes = FindingLog()
    notes.extend(read.findings)
    for name, layer in read.layers.items():
        _notice(name, layer, notes)
    return RawLayers(read.source, read.layers, notes.sorted())


def unread_layer_finding(name: str, error: BadInputError) -> Finding:
    """Return the finding for a base map layer of a kind that is not read: the map is drawn without it."""
    what, _, mend = str(error).partition("; ")
    return Finding("unknown-geometry", name, "", Severity.NOTE, f"{what}; it is left out", mend)


def _notice(name: str, layer: RawLayer, notes: FindingLog) -> None:
    odd = layer.odd
    if odd is None:
        return
    curved = int(odd.straightened.sum())
    if curved:
        features = "1 curve was" if curved == 1 else f"{curved} curves were"
        notes.add(
            "curve-straightened",
            name,
            "",
            Severity.NOTE,
            f"{features} straightened within {TOLERANCE_M * 1000:g} mm",
            "nothing to do",
        )
    severity = Severity.ERROR if name in _LINES else Severity.WARNING
    ids = column_text(layer.columns["id"]) if "id" in layer.columns.column_names else None
    notes.add_each(
        "unknown-geometry",
        name,
        ids,
        np.asarray(odd.unread != "", dtype=bool),
        Severity.NOTE if name in BASE_LAYERS else severity,
        lambda row: f"is {odd.unread[row]}, which is not read; it is left out",
        "draw it with points, lines or polygons",
    )

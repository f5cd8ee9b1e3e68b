"""Layers of a source under the names of the input contract."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.core.findings import Finding, in_order
from netplan.network.bulk_rows import no_collecting, side_by_side
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.notes import Notes
from netplan.network.raw import RawLayer, RawLayers
from netplan.readers.mapping.apply import mapped_layers
from netplan.readers.mapping.model import Mapping
from netplan.readers.schema.contract_names import columns_meant, layers_meant
from netplan.readers.schema.near_names import near_column
from netplan.readers.schema.unread_findings import LeftColumns, note_columns, note_layers
from netplan.readers.sources.odd_shapes import unread_layer, with_odd_shapes
from netplan.readers.sources.ogr import UnreadLayerError
from netplan.readers.sources.opening import open_source
from netplan.readers.sources.source import Field, LayerSource, Window

__all__ = ["read_layers"]

_HINTS: Final = 3
"""Names that are near one of the contract, told where no layer is one of the contract."""


def read_layers(
    source: str | Path | LayerSource, *, mapping: Mapping | None = None, within: Window | None = None
) -> RawLayers:
    """Read the layers of the input contract that a source holds, only the columns that it knows.

    Parameters
    ----------
    source : str, Path or LayerSource
        What `open_source` understands, or an open source.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean; without it they have the contract's names.
    within : Window, optional
        Read at least what touches this area, given in longitude and latitude; other features may be missing.

    Raises
    ------
    BadInputError
        When the source holds no network, a layer stands in two files, or something cannot be read.
    """
    opened = open_source(source) if isinstance(source, str | Path) else source
    try:
        with no_collecting():
            if mapping is not None:
                return with_odd_shapes(mapped_layers(opened, mapping, within))
            notes = Notes()
            layers, unread = _by_contract(opened, within, notes)
    except OSError as error:
        raise BadInputError(
            f"{opened.name}: cannot be read ({error.strerror or error}); check the file"
        ) from error
    return with_odd_shapes(RawLayers(opened.name, layers, in_order((*notes.sorted(), *unread))))


def _by_contract(
    source: LayerSource, within: Window | None, notes: Notes
) -> tuple[dict[str, RawLayer], tuple[Finding, ...]]:
    meant = layers_meant(source.layer_names(), notes)
    fields: dict[str, Sequence[Field]] = {}
    unread: list[Finding] = []
    for target, name in meant.items():
        try:
            fields[target] = source.fields(name)
        except UnreadLayerError as error:
            if target not in BASE_LAYERS:
                raise
            unread.append(unread_layer(target, error))
    wanted = {target: columns_meant(layer_specs()[target], fields[target], notes) for target in fields}

    def read(target: str) -> RawLayer:
        names = wanted[target]
        raw = source.read(meant[target], list(names), within=within)
        columns = raw.columns.rename_columns([names[field] for field in raw.columns.column_names])
        return RawLayer(target, columns, raw.geometry, raw.crs, raw.odd)

    # Threads that each silence warnings would restore each other's filters: this one is restored last.
    with warnings.catch_warnings():
        found = dict(zip(wanted, side_by_side(read, wanted), strict=True))
    note_layers(
        source, set(meant.values()), notes, columns={target: set(names) for target, names in wanted.items()}
    )
    if not found:
        hints = [finding.what for finding in notes.sorted() if finding.layer][:_HINTS]
        raise BadInputError(
            f"{source.name}: holds no layer of the input contract{''.join(f' ({hint})' for hint in hints)}; "
            "name its layers mains, services, …, or give a mapping"
        )
    left = [
        LeftColumns(
            target,
            "",
            len(found[target]),
            [field.name for field in fields[target] if field.name not in wanted[target]],
        )
        for target in found
    ]
    note_columns(left, lambda some, name: _near(some.layer, name, wanted), notes)
    return found, tuple(unread)


def _near(layer: str, name: str, wanted: dict[str, dict[str, str]]) -> str:
    return near_column(name, layer_specs()[layer], set(wanted[layer].values()))

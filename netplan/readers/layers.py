"""Layers of a source under the names of the input contract."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from netplan.errors import BadInputError
from netplan.findings import Finding
from netplan.network.bulk import no_collecting, side_by_side
from netplan.network.contract import BASE_LAYERS, LayerSpec, layer_specs
from netplan.network.raw import RawLayer, RawLayers
from netplan.readers.mapping.apply import mapped_layers
from netplan.readers.mapping.model import Mapping
from netplan.readers.odd_shapes import unread_layer, with_odd_shapes
from netplan.readers.ogr import UnreadLayerError
from netplan.readers.opening import open_source
from netplan.readers.source import Field, LayerSource, Window

__all__ = ["read_layers"]

_CUT: Final = 10
"""Longest column name that a Shapefile keeps."""


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
            layers, unread = _by_contract(opened, within)
    except OSError as error:
        raise BadInputError(
            f"{opened.name}: cannot be read ({error.strerror or error}); check the file"
        ) from error
    return with_odd_shapes(RawLayers(opened.name, layers, unread))


def _by_contract(
    source: LayerSource, within: Window | None
) -> tuple[dict[str, RawLayer], tuple[Finding, ...]]:
    held = source.layer_names()
    wanted: dict[str, dict[str, str]] = {}
    unread: list[Finding] = []
    for name, spec in layer_specs().items():
        if name in held:
            try:
                wanted[name] = _known(spec, source.fields(name))
            except UnreadLayerError as error:
                if name not in BASE_LAYERS:
                    raise
                unread.append(unread_layer(name, error))

    def read(name: str) -> RawLayer:
        names = wanted[name]
        raw = source.read(name, list(names), within=within)
        columns = raw.columns.rename_columns([names[field] for field in raw.columns.column_names])
        return RawLayer(name, columns, raw.geometry, raw.crs, raw.odd)

    # Threads that each silence warnings would restore each other's filters: this one is restored last.
    with warnings.catch_warnings():
        found = dict(zip(wanted, side_by_side(read, wanted), strict=True))
    if not found:
        raise BadInputError(
            f"{source.name}: holds no layer of the input contract; "
            "name its layers mains, services, …, or give a mapping"
        )
    return found, tuple(unread)


def _known(spec: LayerSpec, fields: Sequence[Field]) -> dict[str, str]:
    """Return the source fields that the contract knows, with the contract's names."""
    known = {column.name for column in spec.columns}
    # No two columns of a layer begin alike, so a cut name still says which is meant.
    short = {name[:_CUT]: name for name in known}
    names = {field.name: short.get(field.name.lower(), "") if field.cut else field.name for field in fields}
    wanted = {field: name for field, name in names.items() if name in known}
    return {field: name for field, name in wanted.items() if list(wanted.values()).count(name) == 1}

"""From a source to its layers under the names of the contract, and to the joined network."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from netplan.core.errors import BadInputError
from netplan.core.findings import Finding, in_order
from netplan.network.build import build_network
from netplan.network.checks.reference_systems import check_area_of_use
from netplan.network.concurrency import in_parallel, without_garbage_collection
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.raw_layers import RawLayer, RawLayers
from netplan.readers.name_matching import match_columns, match_layers, similar_column
from netplan.readers.network_cache import ReadingWay, cache_network, cached_network, network_key
from netplan.readers.source_findings import (
    UnreadColumns,
    note_unread_columns,
    note_unread_layers,
    unread_layer_finding,
    with_geometry_findings,
    with_missing_findings,
)
from netplan.readers.sources.areas import cut_to_area
from netplan.readers.sources.layer_source import Area, Field, LayerSource
from netplan.readers.sources.ogr import UnreadLayerError
from netplan.readers.sources.opening import open_source

if TYPE_CHECKING:
    from netplan.readers.mapping.mapping_file import Mapping

__all__ = ["read_layers", "read_network"]

_HINTS: Final = 3
"""Names that are near one of the contract, told where no layer is one of the contract."""


def read_layers(
    source: str | Path | LayerSource, *, mapping: Mapping | None = None, within: Area | None = None
) -> RawLayers:
    """Read the layers of the input contract that a source holds, only the columns that it knows.

    Parameters
    ----------
    source : str, Path or LayerSource
        What `open_source` understands, or an open source.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean; without it they have the contract's names.
    within : Area, optional
        Read at least what touches this area, given in longitude and latitude; other features may be missing.

    Raises
    ------
    BadInputError
        When the source holds no network, a layer stands in two files, or something cannot be read.
    """
    opened = open_source(source) if isinstance(source, str | Path) else source
    try:
        with without_garbage_collection():
            if mapping is not None:
                from netplan.readers.mapping.apply_mapping import mapped_layers

                return with_geometry_findings(mapped_layers(opened, mapping, within))
            notes = FindingLog()
            layers, unread = _by_contract(opened, within, notes)
    except OSError as error:
        raise BadInputError(
            f"{opened.name}: cannot be read ({error.strerror or error}); check the file"
        ) from error
    return with_geometry_findings(RawLayers(opened.name, layers, in_order((*notes.sorted(), *unread))))


def _by_contract(
    source: LayerSource, within: Area | None, notes: FindingLog
) -> tuple[dict[str, RawLayer], tuple[Finding, ...]]:
    meant = match_layers(source.layer_names(), notes)
    fields: dict[str, Sequence[Field]] = {}
    unread: list[Finding] = []
    for target, name in meant.items():
        try:
            fields[target] = source.fields(name)
        except UnreadLayerError as error:
            if target not in BASE_LAYERS:
                raise
            unread.append(unread_layer_finding(target, error))
    wanted = {target: match_columns(layer_specs()[target], fields[target], notes) for target in fields}

    def read(target: str) -> RawLayer:
        names = wanted[target]
        raw = source.read(meant[target], list(names), within=within)
        columns = raw.columns.rename_columns([names[field] for field in raw.columns.column_names])
        return RawLayer(target, columns, raw.geometry, raw.crs, raw.odd)

    # Threads that each silence warnings would restore each other's filters: this one is restored last.
    with warnings.catch_warnings():
        found = dict(zip(wanted, in_parallel(read, wanted), strict=True))
    note_unread_layers(
        source, set(meant.values()), notes, columns={target: set(names) for target, names in wanted.items()}
    )
    if not found:
        hints = [finding.what for finding in notes.sorted() if finding.layer][:_HINTS]
        raise BadInputError(
            f"{source.name}: holds no layer of the input contract{''.join(f' ({hint})' for hint in hints)}; "
            "name its layers mains, services, …, or give a mapping"
        )
    left = [
        UnreadColumns(
            target,
            "",
            len(found[target]),
            [field.name for field in fields[target] if field.name not in wanted[target]],
        )
        for target in found
    ]
    note_unread_columns(left, lambda some, name: _near(some.layer, name, wanted), notes)
    return found, tuple(unread)


def _near(layer: str, name: str, wanted: dict[str, dict[str, str]]) -> str:
    return similar_column(name, layer_specs()[layer], set(wanted[layer].values()))


def read_network(
    source: str | Path | LayerSource,
    *,
    mapping: Mapping | None = None,
    within: Area | None = None,
    strict: bool = True,
    set_aside: bool = False,
    keep_pipes: bool = False,
    cache: Path | None = None,
) -> Network:
    """Read, check, normalise and join a network.

    Parameters
    ----------
    source : str, Path or LayerSource
        One GeoPackage, a folder of files named after the layers, or an open source.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean; without it they have the contract's names.
    within : Area, optional
        Read what touches this area alone, given in longitude and latitude; what that cuts is a finding.
    strict : bool
        Refuse data with errors; otherwise leave unusable features out and keep the errors among the
        findings.
    set_aside : bool
        Take live pipes without a usable size as not live instead of refusing the network for them.
        `make_plan` proves that its plan does not hang on them, or refuses it; nothing else does.
    keep_pipes : bool
        Keep every pipe that gas may flow through, however bad its record; never strict then. For an answer
        that has to come: see `build_network`.
    cache : Path, optional
        Folder of joined networks: one of the same content is taken from there, else it is put there. Safe to
        delete at any time.

    Raises
    ------
    BadInputError
        When nothing in the source can be read as a network.
    BadNetworkError
        When the layers break the input contract; the exception carries all findings.
    """
    opened = open_source(source) if isinstance(source, str | Path) else source
    if keep_pipes:
        way = ReadingWay(strict=False, keep_pipes=True)
    else:
        way = ReadingWay(strict=strict, set_aside=set_aside)
    key = None if cache is None else network_key(opened, within, way, mapping=mapping)
    if cache is None or key is None:
        return _joined(opened, mapping, within, way)
    kept = cached_network(cache, key, opened.name)
    if kept is not None:
        return kept
    network = _joined(opened, mapping, within, way)
    # What changed while it was read may be half old, half new: that is not kept.
    if network_key(opened, within, way, mapping=mapping) == key:
        cache_network(network, cache, key)
    return network


def _joined(source: LayerSource, mapping: Mapping | None, within: Area | None, way: ReadingWay) -> Network:
    raw = with_missing_findings(read_layers(source, mapping=mapping, within=within), whole=within is None)
    if within is not None:
        raw = cut_to_area(raw, within)
    notes = FindingLog()
    notes.extend(raw.findings)
    check_area_of_use(raw.layers, notes)
    return build_network(
        raw.layers,
        raw.source,
        strict=way.strict,
        set_aside=way.set_aside,
        keep_pipes=way.keep_pipes,
        findings=notes.sorted(),
    )

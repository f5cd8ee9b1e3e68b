"""The usual door: from a source to a joined network."""

from __future__ import annotations

from pathlib import Path

from netplan.network.build import build_network
from netplan.network.checks.crs import check_area_of_use
from netplan.network.model import Network
from netplan.network.notes import Notes
from netplan.readers.absent import with_absent
from netplan.readers.cache.key import network_key
from netplan.readers.cache.network import keep_network, kept_network
from netplan.readers.layers import read_layers
from netplan.readers.mapping.model import Mapping
from netplan.readers.sources.opening import open_source
from netplan.readers.sources.source import LayerSource, Window
from netplan.readers.sources.window import cut_to

__all__ = ["read_network"]


def read_network(
    source: str | Path | LayerSource,
    *,
    mapping: Mapping | None = None,
    within: Window | None = None,
    strict: bool = True,
    set_aside: bool = False,
    cache: Path | None = None,
) -> Network:
    """Read, check, normalise and join a network.

    Parameters
    ----------
    source : str, Path or LayerSource
        One GeoPackage, a folder of files named after the layers, or an open source.
    mapping : Mapping, optional
        What the layers, columns and words of the source mean; without it they have the contract's names.
    within : Window, optional
        Read what touches this area alone, given in longitude and latitude; what that cuts is a finding.
    strict : bool
        Refuse data with errors; otherwise leave unusable features out and keep the errors among the
        findings.
    set_aside : bool
        Take live pipes without a usable size as not live instead of refusing the network for them.
        `make_plan` proves that its plan does not hang on them, or refuses it; nothing else does.
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
    key = (
        None
        if cache is None
        else network_key(opened, within, strict=strict, set_aside=set_aside, mapping=mapping)
    )
    if cache is None or key is None:
        return _joined(opened, mapping, within, strict, set_aside)
    kept = kept_network(cache, key, opened.name)
    if kept is not None:
        return kept
    network = _joined(opened, mapping, within, strict, set_aside)
    # What changed while it was read may be half old, half new: that is not kept.
    if network_key(opened, within, strict=strict, set_aside=set_aside, mapping=mapping) == key:
        keep_network(network, cache, key)
    return network


def _joined(
    source: LayerSource, mapping: Mapping | None, within: Window | None, strict: bool, set_aside: bool
) -> Network:
    raw = with_absent(read_layers(source, mapping=mapping, within=within), whole=within is None)
    if within is not None:
        raw = cut_to(raw, within)
    notes = Notes()
    notes.extend(raw.findings)
    check_area_of_use(raw.layers, notes)
    return build_network(raw.layers, raw.source, strict=strict, set_aside=set_aside, findings=notes.sorted())

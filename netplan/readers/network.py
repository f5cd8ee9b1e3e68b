"""The usual door: from a source to a joined network."""

from __future__ import annotations

from pathlib import Path

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.readers.layers import read_layers
from netplan.readers.source import LayerSource, Window

__all__ = ["read_network"]


def read_network(
    source: str | Path | LayerSource, *, within: Window | None = None, strict: bool = True
) -> Network:
    """Read, check, normalise and join a network.

    Parameters
    ----------
    source : str, Path or LayerSource
        One GeoPackage, a folder of files named after the layers, or an open source.
    within : Window, optional
        Read at least what touches this area, given in longitude and latitude; other features may be missing.
    strict : bool
        Refuse data with errors; otherwise leave unusable features out and keep the errors among the
        findings.

    Raises
    ------
    BadInputError
        When nothing in the source can be read as a network.
    BadNetworkError
        When the layers break the input contract; the exception carries all findings.
    """
    raw = read_layers(source, within=within)
    return build_network(raw.layers, raw.source, strict=strict, findings=raw.findings)

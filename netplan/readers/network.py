"""The usual door: from a path to a joined network."""

from __future__ import annotations

from pathlib import Path

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.readers.layers import read_layers

__all__ = ["read_network"]


def read_network(path: str | Path, *, strict: bool = True) -> Network:
    """Read, check, normalise and join a network.

    Parameters
    ----------
    path : str or Path
        One GeoPackage, or a folder of files named after the layers.
    strict : bool
        Refuse data with errors; otherwise leave unusable features out and keep the errors among the
        findings.

    Raises
    ------
    BadInputError
        When nothing at the path can be read as a network.
    BadNetworkError
        When the layers break the input contract; the exception carries all findings.
    """
    raw = read_layers(path)
    return build_network(raw.layers, raw.source, strict=strict)

"""What a kept network is filed under: the content it was made from, and the program that made it."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Iterator
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Final

from netplan.network.contract import layer_specs
from netplan.readers.mapping.model import Mapping
from netplan.readers.sources.content_key import HasContentKey
from netplan.readers.sources.source import LayerSource, Window

__all__ = ["network_key"]

_DIGEST: Final = "sha256"
_PROGRAM: Final = ("netplan.graph", "netplan.network", "netplan.readers", "netplan.reference")
_LIBRARIES: Final = ("numpy", "pyarrow", "pyogrio", "pyproj", "scipy", "shapely")
_TEXTS: Final = (".py", ".csv", ".toml")


def network_key(
    source: LayerSource,
    within: Window | None,
    *,
    strict: bool,
    set_aside: bool = False,
    mapping: Mapping | None = None,
) -> str | None:
    """Return the name a network is kept under; None for a source that cannot tell its content.

    The name covers the content of the source to the last byte or row, the area read, the mapping, and the
    program with its libraries: whatever could give another network gives another name.
    """
    if not isinstance(source, HasContentKey):
        return None
    layers = set(layer_specs()) if mapping is None else {feed.source for _, _, feed in mapping.each()}
    digest = hashlib.new(_DIGEST)
    for text in (
        source.content_key(within, layers),
        "" if mapping is None else mapping.digest,
        "" if within is None else within.wkt,
        "set aside" if set_aside else "",
        "strict" if strict else "lenient",
        _program(),
    ):
        digest.update(f"{len(text)}:{text}".encode())
    return digest.hexdigest()


@lru_cache(maxsize=1)
def _program() -> str:
    """Digest of the code and tables that read and join, and the versions of what they stand on."""
    digest = hashlib.new(_DIGEST)
    for package in _PROGRAM:
        for file in _files(resources.files(package)):
            digest.update(file.name.encode() + b"\0" + file.read_bytes())
    for name in _LIBRARIES:
        digest.update(f"{name} {importlib.import_module(name).__version__}\n".encode())
    return digest.hexdigest()


def _files(folder: Traversable) -> Iterator[Traversable]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            yield from _files(entry)
        elif entry.name.endswith(_TEXTS):
            yield entry

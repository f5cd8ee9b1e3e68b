"""What a kept network is filed under: the content it was made from, and the program that made it."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Collection, Iterable, Iterator
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final, Protocol, runtime_checkable

from netplan.errors import BadInputError
from netplan.network.contract import layer_specs
from netplan.readers.mapping.model import Mapping
from netplan.readers.source import LayerSource, Window

__all__ = ["HasContentKey", "content_of_files", "network_key"]

_DIGEST: Final = "sha256"
_PROGRAM: Final = ("netplan.network", "netplan.readers", "netplan.reference")
_LIBRARIES: Final = ("numpy", "pyarrow", "pyogrio", "pyproj", "scipy", "shapely")
_TEXTS: Final = (".py", ".csv", ".toml")


@runtime_checkable
class HasContentKey(Protocol):
    """A source that can say in short what it holds."""

    def content_key(self, within: Window | None, layers: Collection[str]) -> str:
        """Return a text that differs whenever anything that would be read differs.

        Parameters
        ----------
        within : Window, optional
            The area that would be read.
        layers : collection of str
            Layers that would be read, in any case of their letters; others may count or not.
        """


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


def content_of_files(files: Iterable[Path]) -> str:
    """Return a digest of names and bytes of some files.

    Raises
    ------
    BadInputError
        When one cannot be read.
    """
    digest = hashlib.new(_DIGEST)
    for file in files:
        try:
            with file.open("rb") as opened:
                own = hashlib.file_digest(opened, _DIGEST).hexdigest()
        except OSError as error:
            raise BadInputError(
                f"{file}: cannot be read ({error.strerror or error}); check the file"
            ) from error
        digest.update(f"{len(file.name)}:{file.name}:{own}".encode())
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

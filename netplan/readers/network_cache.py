"""Joined networks kept on disk: read again in a fraction of the time that joining takes.

A kept network is a folder of Parquet files and one of JSON. It is written beside and appears whole, is filed
under the content it was made from and the program that made it (`network_key`), and carries a digest of every
file. Whatever is not exactly as it was written is not there: the network is then joined again. It holds what
the source holds, addresses and priority notes too, so that only its owner may read it.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import json
import shutil
import tempfile
import time
from collections.abc import Iterator
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from netplan.core.errors import BadInputError
from netplan.network.concurrency import in_parallel, without_garbage_collection
from netplan.network.contract import layer_specs
from netplan.network.model import Network
from netplan.readers.network_tables import facts_of, network_of, tables_of
from netplan.readers.sources.layer_source import Area, HasContentKey, LayerSource

if TYPE_CHECKING:
    from netplan.readers.mapping.mapping_file import Mapping

__all__ = ["ReadingWay", "cache_network", "cached_network", "network_key"]

_FORMAT: Final = 3
_HEAD: Final = "network.json"
_PART: Final = ".part-"
_STALE_S: Final = 24 * 3600.0
_DIGEST: Final = "sha256"
_PROGRAM: Final = ("netplan.graph", "netplan.network", "netplan.readers", "netplan.reference")
_LIBRARIES: Final = ("numpy", "pyarrow", "pyogrio", "pyproj", "scipy", "shapely")
_TEXTS: Final = (".py", ".csv", ".toml")


def cached_network(folder: Path, key: str, source: str) -> Network | None:
    """Return the network kept under a key; None where there is none that is whole.

    Parameters
    ----------
    folder : Path
        Folder of kept networks.
    key : str
        Result of `network_key`.
    source : str
        What the network counts as read from.
    """
    place = folder / key
    try:
        head = json.loads((place / _HEAD).read_bytes())
        body = head["body"]
        if head["digest"] != _digest_of_body(body) or body["format"] != _FORMAT or body["key"] != key:
            return None
        with without_garbage_collection():
            tables = _tables(place, body["files"])
            return network_of(tables, body["facts"], source)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, pa.ArrowException):
        return None


def cache_network(network: Network, folder: Path, key: str) -> None:
    """Keep a network under a key; it appears whole or not at all.

    Raises
    ------
    BadInputError
        When the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _sweep(folder)
        part = Path(tempfile.mkdtemp(prefix=_PART, dir=folder))
        try:
            _write(network, part, key)
            _put(part, folder / key)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except (OSError, pa.ArrowException) as error:
        reason = getattr(error, "strerror", None) or " ".join(str(error).split())[:120]
        raise BadInputError(
            f"{folder}: the network cannot be kept there ({reason}); free some space, or give another folder"
        ) from error


def _tables(place: Path, digests: dict[str, str]) -> dict[str, pa.Table]:
    def table(name: str) -> pa.Table:
        held = (place / f"{name}.parquet").read_bytes()
        if _digest(held) != digests[name]:
            raise ValueError(f"{name} is not as it was written")
        return pq.read_table(pa.BufferReader(held))

    return dict(zip(digests, in_parallel(table, digests), strict=True))


def _write(network: Network, part: Path, key: str) -> None:
    tables = tables_of(network)

    def write(name: str) -> str:
        path, table = part / f"{name}.parquet", tables[name]
        # One row group: each column comes back in one piece. Few values repeat: dictionaries only cost time.
        pq.write_table(
            table, path, compression="lz4", use_dictionary=False, row_group_size=max(len(table), 1)
        )
        return _digest(path.read_bytes())

    names = sorted(tables, key=lambda name: -len(tables[name]))
    digests = dict(zip(names, in_parallel(write, names), strict=True))
    body = {"format": _FORMAT, "key": key, "files": digests, "facts": facts_of(network)}
    head = {"body": body, "digest": _digest_of_body(body)}
    (part / _HEAD).write_text(json.dumps(head, indent=1), encoding="utf-8")
    for file in part.iterdir():  # their folder is closed too, but is copied more easily than they are
        file.chmod(0o600)


def _put(part: Path, place: Path) -> None:
    try:
        part.rename(place)
    except OSError:
        # Something stands there that could not be used, or someone else was quicker: the newest stays.
        aside = Path(tempfile.mkdtemp(prefix=_PART, dir=place.parent))
        with contextlib.suppress(OSError):
            place.rename(aside / "old")
        shutil.rmtree(aside, ignore_errors=True)
        part.rename(place)


def _sweep(folder: Path) -> None:
    """Remove what killed runs left behind long ago."""
    for left in folder.glob(f"{_PART}*"):
        with contextlib.suppress(OSError):
            if left.is_dir() and time.time() - left.stat().st_mtime > _STALE_S:
                shutil.rmtree(left, ignore_errors=True)


def _digest(held: bytes) -> str:
    return hashlib.sha256(held).hexdigest()


def _digest_of_body(body: Any) -> str:
    return _digest(json.dumps(body, sort_keys=True).encode())


class ReadingWay(NamedTuple):
    """How errors of the records are taken: see `read_network`."""

    strict: bool = True
    set_aside: bool = False
    keep_pipes: bool = False


def network_key(
    source: LayerSource, within: Area | None, way: ReadingWay, *, mapping: Mapping | None = None
) -> str | None:
    """Return the name a network is kept under; None for a source that cannot tell its content.

    The name covers the content of the source to the last byte or row, the area read, the mapping, how errors
    are taken, and the program with its libraries: whatever could give another network gives another name.
    """
    if not isinstance(source, HasContentKey):
        return None
    layers = set(layer_specs()) if mapping is None else {feed.source for _, _, feed in mapping.each()}
    digest = hashlib.new(_DIGEST)
    for text in (
        source.content_key(within, layers),
        "" if mapping is None else mapping.digest,
        "" if within is None else within.wkt,
        "set aside" if way.set_aside else "every pipe" if way.keep_pipes else "",
        "strict" if way.strict else "lenient",
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

"""What a source can say in short about all that it holds."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import Final, Protocol, runtime_checkable

from netplan.core.errors import BadInputError
from netplan.readers.sources.source import Window

__all__ = ["HasContentKey", "content_of_files"]

_DIGEST: Final = "sha256"


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

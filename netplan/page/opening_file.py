"""Opening the page in the browser without its token in the list of processes, which everybody can read."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path

__all__ = ["opening_file"]


@contextmanager
def opening_file(folder: Path, address: str) -> Iterator[str]:
    """Yield the address of a file that its owner alone can read and that leads on; then remove it.

    Parameters
    ----------
    folder : Path
        Where it is written: one that the owner's browser may read.
    address : str
        With the token.
    """
    handle, name = tempfile.mkstemp(prefix="open-page-", suffix=".html", dir=folder)
    file = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            to = escape(address, quote=True)
            out.write(
                '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Planning page</title>'
                '<meta name="referrer" content="no-referrer">'
                f'<meta http-equiv="refresh" content="0;url={to}"></head>'
                f'<body><p><a href="{to}">To the planning page</a></p></body></html>\n'
            )
        yield file.resolve().as_uri()
    finally:
        file.unlink(missing_ok=True)

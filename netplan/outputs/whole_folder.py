"""A folder of results: there whole, or not there at all."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from netplan.errors import BadInputError
from netplan.outputs.whole import clear_unfinished, earlier, is_full, unfinished, words_of

__all__ = ["check_folder", "write_folder"]


def check_folder(out: Path, marks: tuple[str, ...], kind: str, *, overwrite: bool) -> None:
    """Refuse a target that must not be written to.

    What a killed run left beside the target is cleared away first.

    Parameters
    ----------
    out : Path
    marks : tuple of str
        Files that every folder of this kind holds, and no other: such a one may be replaced.
    kind : str
        What such a folder holds, in one word.
    overwrite : bool

    Raises
    ------
    BadInputError
        When the parent is missing, or something stands there that may not be replaced.
    """
    if not out.name or out.name in (".", ".."):
        raise BadInputError(f"{out}: is no name for a new folder; give one")
    if not out.parent.is_dir():
        raise BadInputError(f"{out.parent}: is not a folder; make it first")
    clear_unfinished(out)
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise BadInputError(f"{out}: is a file or link, not a folder; choose another name")
    if not out.exists() or not any(out.iterdir()):
        return
    if not all((out / name).is_file() for name in marks):
        raise BadInputError(f"{out}: exists and is no {kind} folder; choose another name")
    if not overwrite:
        raise BadInputError(f"{out}: holds a {kind} already; choose another name, or allow replacing it")


def write_folder(out: Path, make: Callable[[Path], None]) -> Path:
    """Make a folder under a hidden name beside its place, and move it there when it is whole.

    Raises
    ------
    BadInputError
        When it cannot be written.
    """
    part = unfinished(out)
    try:
        part.mkdir()
        make(part)
        _put_in_place(part, out)
    except OSError as error:
        raise BadInputError(words_of(out, error)) from None
    except BadInputError as error:
        if is_full(out, error):
            raise BadInputError(words_of(out, error)) from None
        raise
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return out


def _put_in_place(part: Path, out: Path) -> None:
    if not (out.is_dir() and any(out.iterdir())):
        part.replace(out)
        return
    # Two renames: at every moment the target is the old plan, absent, or the new plan; never a mixture.
    # What a kill between them leaves is put back by the next run (`clear_unfinished`).
    old = earlier(out)
    out.rename(old)
    try:
        part.rename(out)
    except OSError:
        old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)

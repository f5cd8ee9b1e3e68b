"""One file: there whole, or not there at all."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError

__all__ = ["clear_unfinished", "earlier", "is_full", "unfinished", "words_of", "write_whole"]

_HARDLY_ANY: Final = 100_000
"""Less room than this on a disk is none for what is written here (own) [bytes]."""


def unfinished(out: Path) -> Path:
    """Return the hidden name beside a target under which it is made: it says what it is."""
    return out.parent / f".{out.name}.unfinished-{os.getpid()}"


def earlier(out: Path) -> Path:
    """Return the hidden name under which the old folder waits while the new one takes its place."""
    return out.parent / f".{out.name}.earlier-{os.getpid()}"


def write_whole(path: Path, make: Callable[[Path], Any], *, suffix: str = "") -> None:
    """Make a file under another name beside its place, and move it there when it is whole.

    An earlier file of that name is replaced at once; a run that is broken off leaves it as it was.

    Parameters
    ----------
    path : Path
    make : callable
        Writes to the path it is given, which has the suffix of the target.
    suffix : str
        What the name must end with.

    Raises
    ------
    BadInputError
        When the name is unfit, or the file cannot be written.
    """
    if suffix and path.suffix.lower() != suffix:
        raise BadInputError(f"{path}: does not end in {suffix}; choose such a name")
    if not path.parent.is_dir():
        raise BadInputError(f"{path.parent}: is not a folder; make it first")
    if path.is_symlink() or (path.exists() and not path.is_file()):
        raise BadInputError(f"{path}: is a folder, link or device; choose another name")
    clear_unfinished(path)
    part = unfinished(path)
    try:
        part.mkdir(mode=0o700)
        made = part / path.name
        make(made)
        made.replace(path)
    except (OSError, sqlite3.Error, BadInputError) as error:
        raise BadInputError(words_of(path, error)) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)


def clear_unfinished(out: Path) -> None:
    """Remove what a killed run left beside a target, and put back what it had set aside.

    A run that is still going on keeps its own.
    """
    prefix = f".{out.name}."
    try:
        left = sorted(out.parent.glob(f".{_literal(out.name)}.*"))
    except OSError:
        return
    for path in left:
        kind, _, number = path.name.removeprefix(prefix).rpartition("-")
        if kind not in ("unfinished", "earlier") or not number.isdigit() or _is_running(int(number)):
            continue
        if kind == "earlier" and not out.exists():
            path.rename(out)
        elif path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)


def words_of(out: Path, error: Exception) -> str:
    """Return the one line for a target that could not be written."""
    text = " ".join(str(error).split())
    if is_full(out, error):
        return f"{out}: the disk is full; nothing was left there, free some space and run again"
    if isinstance(error, OSError) and error.errno == errno.EFBIG:
        return f"{out}: a file grew larger than the system allows; nothing was left there, raise the limit"
    if isinstance(error, BadInputError):
        return text
    reason = getattr(error, "strerror", None) or text or type(error).__name__
    return f"{out}: cannot be written ({reason}); check space, path and rights"


def is_full(out: Path, error: Exception) -> bool:
    """Return whether an error comes from a full disk: it says so, or there is hardly any room left there."""
    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
        return True
    if any(sign in str(error).lower() for sign in ("no space left", "disk is full", "disk full")):
        return True
    if isinstance(error, OSError) and error.errno is not None:
        return False
    # Libraries often only say that they could not commit or close.
    try:
        return shutil.disk_usage(out.parent).free < _HARDLY_ANY
    except OSError:
        return False


def _literal(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _is_running(number: int) -> bool:
    if number == os.getpid():
        return True
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True

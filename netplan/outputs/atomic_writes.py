"""A file or a folder of results: there whole, or not there at all."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from threading import Lock
from typing import Any, Final

from netplan.core.errors import BadInputError

__all__ = [
    "Target",
    "check_folder",
    "clear_unfinished",
    "is_full",
    "set_aside_path",
    "unfinished_path",
    "write_error_line",
    "write_file",
    "write_folder",
    "write_numbered_file",
]


_HARDLY_ANY: Final = 100_000
"""Less room than this on a disk is none for what is written here (own) [bytes]."""


def unfinished_path(out: Path) -> Path:
    """Return the hidden name beside a target under which it is made: it says what it is."""
    return out.parent / f".{out.name}.unfinished-{os.getpid()}"


def set_aside_path(out: Path) -> Path:
    """Return the hidden name under which the old folder waits while the new one takes its place."""
    return out.parent / f".{out.name}.earlier-{os.getpid()}"


def write_file(path: Path, make: Callable[[Path], Any], *, suffix: str = "") -> None:
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
    part = unfinished_path(path)
    try:
        part.mkdir(mode=0o700)
        made = part / path.name
        make(made)
        made.replace(path)
    except (OSError, sqlite3.Error, BadInputError) as error:
        raise BadInputError(write_error_line(path, error)) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)


def write_numbered_file(folder: Path, stem: str, suffix: str, text: str) -> Path:
    """Write a new file under the first free number, whole or not at all, and return its path.

    What is there already is never replaced, whoever writes at the same time.

    Parameters
    ----------
    folder : Path
    stem, suffix : str
        The name is stem, number from 1, suffix.
    text : str

    Raises
    ------
    BadInputError
        When it cannot be written.
    """
    first = folder / f"{stem}1{suffix}"
    part = unfinished_path(first)
    with _LOCK:  # threads of one process make it under one name
        clear_unfinished(first)
        try:
            part.mkdir(mode=0o700)
            made = part / first.name
            made.write_text(text, encoding="utf-8", newline="\n")
            return next(path for path in _numbered(folder, stem, suffix) if _put_new(made, path))
        except OSError as error:
            raise BadInputError(write_error_line(first, error)) from None
        finally:
            shutil.rmtree(part, ignore_errors=True)


def _numbered(folder: Path, stem: str, suffix: str) -> Iterator[Path]:
    return (folder / f"{stem}{number}{suffix}" for number in count(1))


def _put_new(made: Path, path: Path) -> bool:
    """Put a finished file in its place, and return whether: not where something stands there already."""
    with suppress(FileExistsError):
        try:
            os.link(made, path)  # unlike a rename it fails where something stands
        except OSError as error:
            if error.errno not in (errno.EPERM, errno.ENOSYS, errno.EOPNOTSUPP):
                raise
            # A file system without links: an empty file takes the name, then the finished one its place.
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            made.replace(path)
        return True
    return False


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


def write_error_line(out: Path, error: Exception) -> str:
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


_IN_HAND: Final[set[Path]] = set()
_LOCK: Final = Lock()
"""Hidden folders that this process is making: one of its number that is not among them is a dead run's."""


@dataclass(frozen=True, slots=True)
class Target:
    """A place for a folder of results, and what stood there when it was checked.

    Parameters
    ----------
    out : Path
    kind : str
        What such a folder holds, in one word.
    mark : str
        A file that every folder of this kind holds.
    seen : tuple of int or None
        Which folder stood there; None for none, or an empty one.
    """

    out: Path
    kind: str
    mark: str
    seen: tuple[int, ...] | None

    def identity(self, folder: Path) -> tuple[int, ...] | None:
        """Return which folder stands at a path, equal for the same alone; None for none or an empty one."""
        try:
            if not any(folder.iterdir()):
                return None
            whole, mark = folder.stat(), (folder / self.mark).stat()
        except FileNotFoundError:
            return None if not folder.exists() else (0,)
        return whole.st_dev, whole.st_ino, mark.st_ino, mark.st_mtime_ns

    def taken(self) -> BadInputError:
        """Return the error for a target that another run has written to since it was checked."""
        return BadInputError(
            f"{self.out}: another run wrote a {self.kind} there meanwhile, which stays; "
            "run again with another name"
        )


def check_folder(
    out: Path, marks: tuple[str, ...], kind: str, *, overwrite: bool, can_overwrite: bool = True
) -> Target:
    """Refuse a target that must not be written to, and return it.

    What a killed run left beside the target is cleared away first.

    Parameters
    ----------
    out : Path
    marks : tuple of str
        Files that every folder of this kind holds, and no other: such a one may be replaced.
    kind : str
        What such a folder holds, in one word.
    overwrite : bool
    can_overwrite : bool
        Whether the one who asks can allow it to be replaced at all.

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
    target = Target(out, kind, marks[0], None)
    if not out.exists() or not any(out.iterdir()):
        return target
    if not all((out / name).is_file() for name in marks):
        raise BadInputError(f"{out}: exists and is no {kind} folder; choose another name")
    if not overwrite:
        allow = ", or replace it with --overwrite (overwrite=True in Python)" if can_overwrite else ""
        raise BadInputError(f"{out}: holds a {kind} already; choose another name{allow}")
    return Target(out, kind, marks[0], target.identity(out))


def write_folder(target: Target, make: Callable[[Path], None]) -> Path:
    """Make a folder under a hidden name beside its place, and move it there when it is whole.

    Until then only its owner may look into it. Of several runs that make the same folder at once exactly one
    puts it there; the others say so.

    Parameters
    ----------
    target : Target
        As `check_folder` returned it, before the results were computed.
    make : callable
        Writes into the folder it is given.

    Raises
    ------
    BadInputError
        When it cannot be written, or another run has written there since the target was checked.
    """
    out = target.out
    if target.identity(out) not in (None, target.seen):
        raise target.taken()
    part = unfinished_path(out)
    with _LOCK:
        if part in _IN_HAND:
            raise target.taken()
        _IN_HAND.add(part)
    try:
        shutil.rmtree(part, ignore_errors=True)  # of a killed run that had our number
        part.mkdir()
        mode = part.stat().st_mode
        part.chmod(0o700)
        make(part)
        part.chmod(mode)
        _put_in_place(part, target)
    except OSError as error:
        raise BadInputError(write_error_line(out, error)) from None
    except BadInputError as error:
        if is_full(out, error):
            raise BadInputError(write_error_line(out, error)) from None
        raise
    finally:
        shutil.rmtree(part, ignore_errors=True)
        _IN_HAND.discard(part)
    return out


def _put_in_place(part: Path, target: Target) -> None:
    out = target.out
    if target.seen is None or target.identity(out) is None:
        _rename(part, target)
        return
    # Two renames: at every moment the target is the old plan, absent, or the new plan; never a mixture.
    # What a kill between them leaves is put back by the next run (`clear_unfinished`).
    old = set_aside_path(out)
    try:
        out.rename(old)
    except FileNotFoundError:  # another run has it in hand: whoever renames first has won
        _rename(part, target)
        return
    try:
        if target.identity(old) != target.seen:
            raise target.taken()
        _rename(part, target)
    except BaseException:
        with suppress(OSError):  # what another run put there meanwhile stays
            old.rename(out)
        shutil.rmtree(old, ignore_errors=True)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _rename(part: Path, target: Target) -> None:
    """Move the finished folder to its place, if nothing stands there: the system sees to it."""
    try:
        part.rename(target.out)
    except OSError as error:
        if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
            raise target.taken() from None
        raise

"""A folder of results: there whole, or not there at all."""

from __future__ import annotations

import errno
import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Final

from netplan.core.errors import BadInputError
from netplan.outputs.whole_file import clear_unfinished, earlier, is_full, unfinished, words_of

__all__ = ["Target", "check_folder", "write_folder"]

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


def check_folder(out: Path, marks: tuple[str, ...], kind: str, *, overwrite: bool) -> Target:
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
        raise BadInputError(f"{out}: holds a {kind} already; choose another name, or allow replacing it")
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
    part = unfinished(out)
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
        raise BadInputError(words_of(out, error)) from None
    except BadInputError as error:
        if is_full(out, error):
            raise BadInputError(words_of(out, error)) from None
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
    old = earlier(out)
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

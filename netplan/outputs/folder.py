"""A plan folder: there whole, or not there at all."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from netplan.errors import BadInputError
from netplan.outputs.choices import Choices
from netplan.outputs.contents import write_contents, write_deliverables
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.whole import clear_unfinished, earlier, is_full, unfinished, words_of
from netplan.plan.result import PlanResult
from netplan.plan.schema import read_plan

__all__ = ["check_target", "write_deliverables_again", "write_plan_folder"]


def write_plan_folder(
    result: PlanResult,
    out: Path,
    *,
    overwrite: bool = False,
    choices: Choices | None = None,
    progress: Callable[[str], None] | None = None,
) -> Path:
    """Write everything people take away into one folder, which appears whole or not at all.

    The files are made in a hidden folder beside the target, which is renamed when all are there.

    Parameters
    ----------
    result : PlanResult
    out : Path
        The folder to make. Its parent must exist.
    overwrite : bool
        Whether an earlier plan folder of that name may be replaced. Any other folder never is.
    choices : Choices, optional
        Units, option, language and so on; those of `Choices` when left out.
    progress : callable, optional
        Called with what is being made.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written, or a choice is unknown.
    """
    check_target(out, overwrite=overwrite)
    tell = progress or (lambda _: None)
    return _whole(out, lambda part: write_contents(result, part, choices or Choices(), tell))


def write_deliverables_again(
    plan_folder: Path, out: Path, *, choices: Choices, progress: Callable[[str], None] | None = None
) -> Path:
    """Make map, notices, letters, tally sheet and work pack anew from a plan folder, into a new folder.

    Another option, other units, another language: nothing is planned again. The restricted call sheet is
    not among them, because a plan folder does not hold the notes.

    Parameters
    ----------
    plan_folder : Path
        A plan folder; it is only read.
    out : Path
        The folder to make; it must not hold anything.
    choices : Choices
    progress : callable, optional
        Called with what is being made.

    Raises
    ------
    BadInputError
        When the folder is no plan folder, the target exists or a choice is unknown.
    """
    check_target(out)
    plan, layers = read_plan(plan_folder), read_plan_layers(plan_folder)
    tell = progress or (lambda _: None)

    def make(part: Path) -> None:
        write_deliverables(plan, layers, part, choices, tell)

    return _whole(out, make)


def _whole(out: Path, make: Callable[[Path], None]) -> Path:
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


def check_target(out: Path, *, overwrite: bool = False) -> None:
    """Refuse a target that must not be written to: call it before a long computation.

    What a killed run left beside the target is cleared away first.

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
    if not _is_ours(out):
        raise BadInputError(f"{out}: exists and is no plan folder; choose another name")
    if not overwrite:
        raise BadInputError(f"{out}: holds a plan already; choose another name, or allow replacing it")


def _is_ours(folder: Path) -> bool:
    # A plan folder always holds both, and nothing else names its files so.
    return (folder / "plan.json").is_file() and (folder / "plan.gpkg").is_file()


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

"""A plan folder: there whole, or not there at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from netplan.outputs.folder_files import write_contents, write_deliverables
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.reader_choices import Choices, check_choices
from netplan.outputs.targets import check_target
from netplan.outputs.whole_folder import Target, write_folder
from netplan.planfile import read_state
from netplan.planfile.result import PlanResult
from netplan.planfile.schema import read_plan

__all__ = ["check_target", "write_deliverables_again", "write_plan_folder"]


def write_plan_folder(
    result: PlanResult,
    out: Path,
    *,
    overwrite: bool = False,
    choices: Choices | None = None,
    progress: Callable[[str], None] | None = None,
    target: Target | None = None,
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
    target : Target, optional
        As `check_target` returned it before the plan was made: what another run wrote there since stays.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written, or a choice is unknown.
    """
    place = target or check_target(out, overwrite=overwrite)
    chosen, tell = choices or Choices(), progress or (lambda _: None)
    check_choices(chosen)
    return write_folder(place, lambda part: write_contents(result, part, chosen, tell))


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
    place = check_target(out)
    check_choices(choices)
    plan, layers = read_plan(plan_folder), read_plan_layers(plan_folder)
    states = [read_state(layers, option.rank) for option in plan.options]
    tell = progress or (lambda _: None)

    def make(part: Path) -> None:
        write_deliverables(plan, layers, states, part, choices, tell)

    return write_folder(place, make)

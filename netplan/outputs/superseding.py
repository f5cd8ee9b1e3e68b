"""A plan that supersedes an earlier one: what it names, and the note it leaves in the earlier folder."""

from __future__ import annotations

import json
from collections.abc import Collection
from pathlib import Path

from netplan.core.errors import BadInputError
from netplan.outputs.atomic_writes import write_file
from netplan.planfile.model import Plan, ReplacedPlan
from netplan.planfile.plan_json import read_plan
from netplan.planfile.revision import replaced_plan, revision_code
from netplan.planfile.superseded import SUPERSEDED_FILE, Superseded, read_superseded

__all__ = ["check_replaced", "note_superseded"]


def check_replaced(folder: Path, mains: Collection[str]) -> ReplacedPlan:
    """Return how the plan of a folder is named in the one that is to supersede it.

    Parameters
    ----------
    folder : Path
        Folder of the earlier plan.
    mains : collection of str
        Mains that the new plan works on.

    Raises
    ------
    BadInputError
        When the folder holds no plan, or one of other mains, or one that another plan superseded before.
    """
    plan = read_plan(folder)
    theirs = {work.main_id for work in plan.work}
    if theirs.isdisjoint(mains):
        raise BadInputError(
            f"--replaces {folder}: is a plan for {', '.join(sorted(theirs))}, not for "
            f"{', '.join(sorted(mains))}; give the plan of this work that the new one stands in for"
        )
    known = read_superseded(folder)
    if known is not None:
        raise BadInputError(
            f"--replaces {folder}: is {known.words} already; give the folder of that plan, or remove "
            f"{SUPERSEDED_FILE} if that plan was never issued"
        )
    return replaced_plan(plan)


def note_superseded(folder: Path, replaced: ReplacedPlan, plan: Plan, written: Path) -> Path:
    """Write into the folder of an earlier plan by which it is superseded, and return the new file.

    Parameters
    ----------
    folder : Path
        Folder of the earlier plan; no file that is in it is changed.
    replaced : ReplacedPlan
        The earlier plan.
    plan : Plan
        The plan that supersedes it.
    written : Path
        Its folder.

    Raises
    ------
    BadInputError
        When it cannot be written.
    """
    note = Superseded(
        revision=replaced.revision,
        by_revision=revision_code(plan),
        by_sha256=replaced_plan(plan).plan_sha256,
        by_folder=str(written.resolve()),
        by_start=plan.conditions.start,
    )
    path = folder / SUPERSEDED_FILE
    text = json.dumps(note.model_dump(mode="json", by_alias=True), indent=1, ensure_ascii=False) + "\n"
    write_file(path, lambda part: part.write_text(text, encoding="utf-8", newline="\n"))
    return path

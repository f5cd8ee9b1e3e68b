"""Where folders of results go: what may not be written to is refused before anything is worked out.

Loads nothing of what makes the results.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.outputs.atomic_writes import Target, check_folder
from netplan.planfile.contact_log import CONTACTS_STEM

__all__ = [
    "RECORDED_STEM",
    "check_differences_target",
    "check_screen_target",
    "check_stages_target",
    "check_target",
]

RECORDED_STEM: Final = "work_day_log_"
"""How names of recorded logs begin in a plan folder; a number follows."""

_PLAN_MARKS: Final = ("plan.json", "plan.gpkg")
"""A plan folder always holds both, and nothing else names its files so."""
_SCREEN_MARKS: Final = ("mains.parquet", "mains.csv", "report.md")
_STAGES_MARKS: Final = ("stages.csv", "stages.gpkg")
_DIFFERENCE_MARKS: Final = ("notice_differences.xlsx", "notice_differences.csv")


def check_target(out: Path, *, overwrite: bool = False, can_overwrite: bool = True) -> Target:
    """Refuse a target of a plan folder that must not be written to, and return it.

    Raises
    ------
    BadInputError
        When the parent is missing, or something stands there that may not be replaced: a plan folder with the
        log of a day's work, or of who was told, never is.
    """
    target = check_folder(out, _PLAN_MARKS, "plan", overwrite=overwrite, can_overwrite=can_overwrite)
    _check_no_logs(out)
    return target


def _check_no_logs(folder: Path) -> None:
    logs = sorted(folder.glob(f"{RECORDED_STEM}*.json"))
    if logs:
        raise BadInputError(f"{folder}: holds the log of a day's work ({logs[0].name}); choose another name")
    lists = sorted(folder.glob(f"{CONTACTS_STEM}*.json"))
    if lists:
        raise BadInputError(f"{folder}: holds the log of who was told ({lists[0].name}); choose another name")


def check_screen_target(out: Path, *, overwrite: bool = False) -> Target:
    """Refuse a target of a screen that must not be written to, and return it."""
    return check_folder(out, _SCREEN_MARKS, "screen", overwrite=overwrite)


def check_stages_target(out: Path, *, overwrite: bool = False) -> Target:
    """Refuse a target of a renewal in stages that must not be written to, and return it.

    Raises
    ------
    BadInputError
        Also where the plan folder of a stage holds the log of a day's work, or of who was told.
    """
    target = check_folder(out, _STAGES_MARKS, "staging", overwrite=overwrite)
    for folder in sorted(path for path in out.glob("stage-*") if path.is_dir()):
        _check_no_logs(folder)
    return target


def check_differences_target(out: Path) -> Target:
    """Refuse a target of the notices of a difference that must not be written to, and return it.

    Raises
    ------
    BadInputError
        When the parent is missing, or anything stands there.
    """
    kind = "notices of a difference"
    return check_folder(out, _DIFFERENCE_MARKS, kind, overwrite=False, can_overwrite=False)

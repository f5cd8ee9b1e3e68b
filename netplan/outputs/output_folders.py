"""Where folders of results go: what may not be written to is refused before anything is worked out.

Loads nothing of what makes the results.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from netplan.outputs.atomic_writes import Target, check_folder

__all__ = ["check_screen_target", "check_stages_target", "check_target"]

_PLAN_MARKS: Final = ("plan.json", "plan.gpkg")
"""A plan folder always holds both, and nothing else names its files so."""
_SCREEN_MARKS: Final = ("mains.parquet", "mains.csv", "report.md")
_STAGES_MARKS: Final = ("stages.csv", "stages.gpkg")


def check_target(out: Path, *, overwrite: bool = False) -> Target:
    """Refuse a target of a plan folder that must not be written to, and return it.

    Raises
    ------
    BadInputError
        When the parent is missing, or something stands there that may not be replaced.
    """
    return check_folder(out, _PLAN_MARKS, "plan", overwrite=overwrite)


def check_screen_target(out: Path, *, overwrite: bool = False) -> Target:
    """Refuse a target of a screen that must not be written to, and return it."""
    return check_folder(out, _SCREEN_MARKS, "screen", overwrite=overwrite)


def check_stages_target(out: Path, *, overwrite: bool = False) -> Target:
    """Refuse a target of a renewal in stages that must not be written to, and return it."""
    return check_folder(out, _STAGES_MARKS, "staging", overwrite=overwrite)

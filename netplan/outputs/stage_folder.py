"""The folder of a renewal in stages: tables, layers, a map and a plan folder of every stage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

from netplan.outputs.atomic_writes import Target, write_folder
from netplan.outputs.layers import write_layers
from netplan.outputs.map.stage_map import stage_map
from netplan.outputs.output_folders import check_stages_target
from netplan.outputs.plan_folder import write_plan_files
from netplan.outputs.reader_choices import Choices, check_choices
from netplan.outputs.stage_layers import stage_layers
from netplan.outputs.stage_table import calendar_table, stage_folder_name, stage_table
from netplan.staging import Staging

__all__ = ["write_stages_folder"]


def write_stages_folder(
    staging: Staging,
    out: Path,
    *,
    overwrite: bool = False,
    choices: Choices | None = None,
    target: Target | None = None,
    tell: Callable[[str], None] = lambda _: None,
    warn: Callable[[str], None] = lambda _: None,
) -> Path:
    """Write the tables, the layers, and a map and a plan folder of every stage into one folder.

    Parameters
    ----------
    staging : Staging
    out : Path
        The folder to make. Its parent must exist.
    overwrite : bool
        Whether an earlier folder of stages of that name may be replaced. Any other folder never is.
    choices : Choices, optional
        Units, language and so on of the papers; tables and layers stay metric. The option of each stage is
        that which the split takes.
    target : Target, optional
        As `check_stages_target` returned it before the stages were computed.
    tell : callable, optional
        Called with what is being made.
    warn : callable, optional
        Called with each line that must be said of the letters, once for all stages that it concerns.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written, or a choice is unknown.
    """
    place = target or check_stages_target(out, overwrite=overwrite)
    chosen = choices or Choices()
    check_choices(chosen)
    layers = stage_layers(staging)
    said: dict[str, list[int]] = {}

    def make(part: Path) -> None:
        for name, table in (("stages", stage_table(staging)), ("calendar", calendar_table(staging))):
            table.to_csv(part / f"{name}.csv", index=False, encoding="utf-8-sig", lineterminator="\r\n")
        write_layers(layers, part / "stages.gpkg")
        for number, stage in enumerate(staging.stages, 1):
            tell(f"writing stage {number} of {len(staging.stages)}")
            text = stage_map(staging, layers, number, units=chosen.figures)
            (part / f"{stage_folder_name(number)}.html").write_text(text, encoding="utf-8")
            folder = part / stage_folder_name(number)
            folder.mkdir()
            write_plan_files(
                stage.result,
                folder,
                replace(chosen, option=stage.rank),
                lambda _: None,
                partial(_say, said, number),
            )
        for line, numbers in said.items():
            warn(f"{'stage' if len(numbers) == 1 else 'stages'} {', '.join(map(str, numbers))}: {line}")

    return write_folder(place, make)


def _say(said: dict[str, list[int]], number: int, line: str) -> None:
    """Keep what is said of the letters of a stage, each line once."""
    said.setdefault(line, []).append(number)

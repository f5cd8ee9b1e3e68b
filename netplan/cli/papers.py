"""``gas-netplan papers``: map, notices, letters and work pack anew from a plan folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.choices import Language, Tiles, Units, Words
from netplan.cli.damaged import from_plan_folder
from netplan.cli.exit_codes import console
from netplan.cli.progress import progress
from netplan.outputs.plan_folder import write_deliverables_again
from netplan.outputs.reader_choices import Choices


def command(
    plan_dir: Annotated[Path, typer.Argument(help="Plan folder; it is only read.")],
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    option: Annotated[int, typer.Option(min=1, help="Rank of the option they are made for.")] = 1,
    units: Units = "metric",
    language: Language = "en",
    words: Words = None,
    tiles: Tiles = None,
) -> None:
    """Make the papers of a plan again: for another option, in other units, in another language."""
    choices = Choices(units=units, option=option, language=language, words=words, tiles=tiles)
    screen = console()
    with from_plan_folder(plan_dir), progress(screen) as tell:
        write_deliverables_again(plan_dir, out, choices=choices, progress=tell)
    screen.print(f"Papers of option {option}: {out.resolve()}", soft_wrap=True, markup=False)

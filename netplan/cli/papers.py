"""``gas-netplan papers``: map, notices, letters and work pack again from a plan folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import Language, Layers, PlanFolder, Tiles, Units, Words
from netplan.core.input_paths import check_plan_folder


def command(
    plan_dir: PlanFolder,
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    option: Annotated[int, typer.Option(min=1, help="Rank of the option they are made for.")] = 1,
    units: Units = "metric",
    language: Language = "en",
    words: Words = None,
    tiles: Tiles = None,
    layers: Layers = None,
) -> None:
    """Make the papers of a plan again.

    For another option, in other units or in another language.
    """
    from netplan.outputs.reader_choices import Choices, check_choices

    choices = Choices(
        units=units,
        option=option,
        language=language,
        words=words,
        tiles=tiles,
        layers=tuple(layers or ()),
    )
    check_choices(choices)
    check_plan_folder(plan_dir)

    from netplan.cli.terminal import console, progress
    from netplan.outputs.plan_folder import write_deliverables_again
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.planfile.superseded import read_superseded

    terminal, lines = console(), list[str]()
    with from_plan_folder(plan_dir), progress(terminal) as tell:
        write_deliverables_again(plan_dir, out, choices=choices, progress=tell, warn=lines.append)
    known = read_superseded(plan_dir)
    if known is not None:
        lines.insert(0, f"{plan_dir} is {known.words}: its papers say so, and no letters are made.")
    print_lines(terminal, (*lines, f"Papers of option {option}: {out.resolve()}"))

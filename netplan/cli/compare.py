"""``gas-netplan compare``: plans of the same work under other weather, rules or orders, side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.core.input_paths import check_plan_folder


def command(
    plan_dirs: Annotated[list[Path], typer.Argument(metavar="PLAN_DIR…", help="Two or more plan folders.")],
    units: Annotated[str, typer.Option(help="metric or us.")] = "metric",
) -> None:
    """Compare plans of the same work made under other weather, rules or orders."""
    from netplan.outputs.number_format import figures_of

    figures = figures_of(units)
    for folder in plan_dirs:
        check_plan_folder(folder)

    from netplan.cli.terminal import console
    from netplan.outputs.terminal.plan_comparison import print_comparison
    from netplan.planfile.plan_json import read_plan

    plans = [read_plan(folder) for folder in plan_dirs]
    print_comparison(list(zip(_names(plan_dirs), plans, strict=True)), console(), units=figures)


def _names(folders: list[Path]) -> list[str]:
    short = [folder.resolve().name for folder in folders]
    return short if len(set(short)) == len(short) else [str(folder) for folder in folders]

"""``gas-netplan explain``: how a figure of a plan comes about, to be followed with a pocket calculator."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text as RichText

from netplan.cli.damaged import from_plan_folder
from netplan.cli.door import console
from netplan.errors import BadInputError
from netplan.outputs.explained import explanation_lines, figure_lines
from netplan.outputs.layers import read_plan_layers
from netplan.plan.explaining import explain, figures_to_explain
from netplan.plan.schema import read_plan


def command(
    plan_dir: Annotated[Path, typer.Argument(help="Plan folder; it is only read.")],
    figure: Annotated[
        str | None, typer.Argument(help="Figure, such as pressure:S1; without it they are listed.")
    ] = None,
    option: Annotated[int, typer.Option(min=1, help="Rank of the option.")] = 1,
) -> None:
    """Explain a figure: formula, inputs with their origin, and the arithmetic.

    Works from the plan folder alone: the figure is worked out again and set beside what the plan states.
    """
    plan = read_plan(plan_dir)
    if figure is None:
        found = next((row for row in plan.options if row.rank == option), None)
        if found is None:
            raise BadInputError(
                f"--option {option}: the plan has {len(plan.options)} options; choose one of them"
            )
        lines = figure_lines(figures_to_explain(found))
    else:
        with from_plan_folder(plan_dir):
            lines = explanation_lines(explain(plan, read_plan_layers(plan_dir), figure, option))
    screen = console()
    for line in lines:
        screen.print(RichText(line), soft_wrap=True)

"""``gas-netplan explain``: how a figure of a plan comes about, to be followed with a pocket calculator."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text as RichText

from netplan.cli.damaged import from_plan_folder
from netplan.cli.exit_codes import console
from netplan.explain import explain, figures_to_explain
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.terminal.explanation_text import explanation_lines, figure_lines
from netplan.planfile import read_state
from netplan.planfile.plan_json import option_of_rank, read_plan


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
        lines = figure_lines(figures_to_explain(option_of_rank(plan, option)))
    else:
        with from_plan_folder(plan_dir):
            lines = explanation_lines(explain(plan, read_state(read_plan_layers(plan_dir), option), figure))
    screen = console()
    for line in lines:
        screen.print(RichText(line), soft_wrap=True)

"""``gas-netplan explain``: how a figure of a plan comes about, to be followed with a pocket calculator."""

from __future__ import annotations

from typing import Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import PlanFolder, Rank
from netplan.core.input_paths import check_plan_folder


def command(
    plan_dir: PlanFolder,
    figure: Annotated[
        str | None, typer.Argument(help="Figure, such as pressure:S1; without it they are listed.")
    ] = None,
    option: Rank = 1,
) -> None:
    """Explain a figure: formula, inputs with their origin, and the arithmetic.

    Works from the plan folder alone: the figure is worked out again and set beside what the plan states.
    """
    check_plan_folder(plan_dir)

    from rich.text import Text as RichText

    from netplan.cli.terminal import console
    from netplan.explain import explain, figures_to_explain
    from netplan.outputs.terminal.explanation_text import explanation_lines, figure_lines
    from netplan.planfile.plan_json import option_of_rank, read_plan

    plan = read_plan(plan_dir)
    if figure is None:
        lines = figure_lines(figures_to_explain(option_of_rank(plan, option)))
    else:
        from netplan.outputs.layers import read_plan_layers
        from netplan.planfile import read_state

        with from_plan_folder(plan_dir):
            lines = explanation_lines(explain(plan, read_state(read_plan_layers(plan_dir), option), figure))
    terminal = console()
    for line in lines:
        terminal.print(RichText(line), soft_wrap=True)

"""``gas-netplan explain``: how a figure of a plan comes about, to be followed with a pocket calculator."""

from __future__ import annotations

from typing import Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import PlanFolder, Rank, Units
from netplan.core.input_paths import check_plan_folder


def command(
    plan_dir: PlanFolder,
    figure: Annotated[
        str | None, typer.Argument(help="Figure, such as pressure:S1; without it all are listed.")
    ] = None,
    option: Rank = 1,
    every_row: Annotated[
        bool, typer.Option("--all", help="Every row of every table: each piece of main on the path.")
    ] = False,
    units: Units = "metric",
) -> None:
    """Explain a figure: formula, inputs, sources, arithmetic.

    Needs only the plan folder. The figure is worked out again and shown beside that of the plan.
    """
    from netplan.outputs.number_format import figures_of

    check_plan_folder(plan_dir)
    figures = figures_of(units)

    from netplan.cli.terminal import console
    from netplan.explain import explain, figures_to_explain
    from netplan.outputs.terminal.explanation_text import explanation_lines, figure_lines
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.planfile.plan_json import option_of_rank, read_plan

    plan, terminal = read_plan(plan_dir), console()
    width = terminal.width
    if figure is None:
        lines = figure_lines(figures_to_explain(option_of_rank(plan, option)), width=width, units=figures)
    else:
        from netplan.outputs.layers import read_plan_layers
        from netplan.planfile import read_state

        with from_plan_folder(plan_dir):
            found = explain(plan, read_state(read_plan_layers(plan_dir), option), figure)
        lines = explanation_lines(found, width=width, units=figures, whole=every_row)
    print_lines(terminal, lines)

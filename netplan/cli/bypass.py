"""``gas-netplan bypass``: the bypass of a plan for other weather, sizes, hose length or minimum pressure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import (
    LENGTH,
    PRESSURE,
    SIZES,
    TEMPERATURE,
    PlanFolder,
    Rank,
    Units,
    air_temp_c,
    air_temp_note,
    check_charts_folder,
    metres,
    millibars,
    millimetres,
)
from netplan.core.input_paths import check_plan_folder

if TYPE_CHECKING:
    from netplan.outputs.number_format import Figures

NONE_HOLDS: Final = 3


def command(
    plan_dir: PlanFolder,
    air_temp: Annotated[
        str | None,
        typer.Option(
            metavar=TEMPERATURE,
            help="Air temperature [°C; °F with --units us], or with its unit; default as planned.",
        ),
    ] = None,
    bores: Annotated[
        str | None,
        typer.Option(metavar=SIZES, help="Bores to choose from [mm], or with units: '25 mm,1.5 in'."),
    ] = None,
    hose_length: Annotated[
        str | None,
        typer.Option(
            metavar=LENGTH, help="Length of every bypass and hose [m], or with its unit; default as planned."
        ),
    ] = None,
    minimum_mbar: Annotated[
        str | None,
        typer.Option(
            metavar=PRESSURE,
            help="Minimum pressure at a meter inlet [mbar], or with its unit; the margin is added.",
        ),
    ] = None,
    option: Rank = 1,
    charts: Annotated[Path | None, typer.Option(help="Folder for the pictures, SVG and PNG.")] = None,
    units: Units = "metric",
) -> int:
    """Re-size the bypasses of a plan; stops stay. Exit code 3 when no size holds.

    Needs only the plan folder. Demand at another air temperature is worked out again from the customers'
    records by the plan's own rules; customers off stay off. Lengths, bores and pressures without
    a unit are metric with --units us too.
    """
    from netplan.outputs.number_format import figures_of
    from netplan.planning.resize_request import ResizeRequest

    check_plan_folder(plan_dir)
    check_charts_folder(charts)
    figures = figures_of(units)
    request = ResizeRequest(
        air_temp_c=air_temp_c(air_temp, units),
        bores_mm=None if bores is None else _bores(bores),
        hose_length_m=None if hose_length is None else metres(hose_length, "--hose-length"),
        minimum_mbar=None if minimum_mbar is None else millibars(minimum_mbar, "--minimum-mbar"),
    )

    from netplan.cli.terminal import console, progress
    from netplan.outputs.layers import read_plan_layers
    from netplan.outputs.terminal.findings_report import print_unread
    from netplan.outputs.terminal.resized_feeds import print_resized
    from netplan.planfile import read_state
    from netplan.planfile.plan_json import read_plan
    from netplan.planning.resize import resize
    from netplan.planning.resize_problem import resize_problem

    terminal = console()
    with from_plan_folder(plan_dir), progress(terminal) as tell:
        tell("reading the plan")
        plan = read_plan(plan_dir)
        problem = resize_problem(plan, read_state(read_plan_layers(plan_dir), option))
        tell("solving every size")
        found = resize(problem, request)
        if charts is not None:
            from netplan.outputs.charts.resized_charts import write_resized_charts

            tell("drawing")
            write_resized_charts(found, charts, units=figures)
    print_resized(found, terminal, units=figures, note=air_temp_note(air_temp, units))
    print_unread(plan.findings, terminal)
    if charts is not None:
        terminal.print(f"Pictures: {charts.resolve()}", soft_wrap=True, markup=False)
    return 0 if found.holds else NONE_HOLDS


def _bores(text: str) -> tuple[float, ...]:
    return tuple(millimetres(part.strip(), "--bores") for part in text.split(",") if part.strip())


def draw_charts(plan_dir: Path, folder: Path, units: Figures, tell: Callable[[str], None]) -> str:
    """Draw the bypasses of the best option that has any, from the plan folder alone; say what was done.

    The same pictures as ``gas-netplan bypass PLAN_DIR --charts`` makes with nothing changed.
    """
    from netplan.outputs.charts.resized_charts import write_resized_charts
    from netplan.outputs.layers import read_plan_layers
    from netplan.planfile import read_state
    from netplan.planfile.plan_json import read_plan
    from netplan.planning.resize import resize
    from netplan.planning.resize_problem import resize_problem
    from netplan.planning.resize_request import ResizeRequest

    plan = read_plan(plan_dir)
    rank = next((option.rank for option in plan.options if option.bypasses), None)
    if rank is None:
        return "Pictures: none, no option has a bypass or hose"
    tell("drawing")
    state = read_state(read_plan_layers(plan_dir), rank)
    found = resize(resize_problem(plan, state), ResizeRequest(), weather=False)
    write_resized_charts(found, folder, units=units)
    return f"Pictures of option {rank}: {folder.resolve()}"

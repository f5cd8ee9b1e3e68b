"""``gas-netplan record``: a log returned from the site, kept beside its plan and set against it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import Units
from netplan.core.input_paths import check_plan_folder, check_text_file


def command(
    plan_dir: Annotated[Path, typer.Argument(help="Plan folder; the log becomes a new file in it.")],
    log: Annotated[Path, typer.Argument(help="Log exported from work_day.html.")],
    units: Units = "metric",
) -> None:
    """Keep the log of a day's work in its plan folder, and print what was planned against what was done.

    The kind of log is told by its header. Nothing that is in the folder is changed.
    """
    from netplan.outputs.number_format import figures_of
    from netplan.outputs.work_day.log_file import read_log

    figures = figures_of(units)
    check_plan_folder(plan_dir)
    check_text_file(log)
    read = read_log(log)

    from netplan.cli.terminal import console
    from netplan.outputs.terminal.work_day_review import review_lines
    from netplan.outputs.work_day.record_day import record_day

    with from_plan_folder(plan_dir):
        recorded = record_day(plan_dir, read, str(log))
    terminal = console()
    for line in (f"Recorded: {recorded.path.resolve()}", *review_lines(recorded.review, figures)):
        terminal.print(line, soft_wrap=True, markup=False, highlight=False)

"""``gas-netplan record``: a log returned from the site or from the notice team, kept beside its plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import Units
from netplan.core.input_paths import check_plan_folder, check_text_file

if TYPE_CHECKING:
    from netplan.outputs.contacts.spreadsheet_rows import Sheet
    from netplan.outputs.number_format import Figures


def command(
    plan_dir: Annotated[Path, typer.Argument(help="Plan folder; the log is added as a new file.")],
    log: Annotated[
        Path,
        typer.Argument(
            help="Log exported from work_day.html, or the filled-in notice list: notices.xlsx, or one of its "
            "sheets as CSV."
        ),
    ],
    option: Annotated[int, typer.Option(min=1, help="For a notice list: rank of its option.")] = 1,
    units: Units = "metric",
) -> None:
    """Keep a returned log in its plan folder.

    The command compares the plan with what was done. It recognises a day's work, or a list of who was told,
    by its content. No other file in the folder is changed.
    """
    from netplan.outputs.number_format import figures_of

    figures = figures_of(units)
    check_plan_folder(plan_dir)
    check_text_file(log)

    from netplan.outputs.contacts.log_kind import returned_sheets

    sheets = returned_sheets(log)
    lines = _day(plan_dir, log, figures) if sheets is None else _contacts(plan_dir, log, sheets, option)

    from netplan.cli.terminal import console
    from netplan.outputs.terminal.wrapped_lines import print_lines

    print_lines(console(), lines)


def _day(plan_dir: Path, log: Path, figures: Figures) -> list[str]:
    from netplan.outputs.work_day.log_file import read_log

    read = read_log(log)

    from netplan.outputs.terminal.work_day_review import review_lines
    from netplan.outputs.work_day.record_day import record_day

    with from_plan_folder(plan_dir):
        recorded = record_day(plan_dir, read, str(log))
    return [f"Recorded: {recorded.path.resolve()}", *review_lines(recorded.review, figures)]


def _contacts(plan_dir: Path, log: Path, sheets: tuple[Sheet, ...], option: int) -> list[str]:
    from netplan.outputs.contacts.record_contacts import record_contacts
    from netplan.outputs.terminal.contact_lines import contact_lines

    with from_plan_folder(plan_dir):
        recorded = record_contacts(plan_dir, sheets, str(log), option=option)
    return [f"Recorded: {recorded.path.resolve()}", *contact_lines(recorded)]

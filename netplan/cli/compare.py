"""``gas-netplan compare``: plans of the same work side by side, or the notices of what differs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import Words
from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_plan_folder

if TYPE_CHECKING:
    from netplan.outputs.reader_choices import Choices


def command(
    plan_dirs: Annotated[list[Path], typer.Argument(metavar="PLAN_DIR…", help="Two or more plan folders.")],
    units: Annotated[str, typer.Option(help="metric or us.")] = "metric",
    notices: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Folder to make for the notices of what changes: give the old plan, then the new one.",
        ),
    ] = None,
    option: Annotated[
        int | None,
        typer.Option(min=1, help="With --notices: rank of the option of the new plan. [default: 1]"),
    ] = None,
    old_option: Annotated[
        int | None,
        typer.Option(min=1, help="With --notices: rank of the option of the old plan. [default: 1]"),
    ] = None,
    language: Annotated[
        str | None,
        typer.Option(help="With --notices: language of letters where none is recorded. [default: en]"),
    ] = None,
    words: Words = None,
) -> None:
    """Compare plans of the same work.

    They may be made for different weather, rules or orders. With --notices: workbook, letters and call
    sheet only for what changes from an old plan to a new one: who goes off now, who no longer does, whose
    times change, who is now, or no longer, kept, standby or in doubt.
    """
    from netplan.outputs.number_format import figures_of

    figures = figures_of(units)
    if notices is None:
        given = {"--option": option, "--old-option": old_option, "--language": language, "--words": words}
        spare = [name for name, value in given.items() if value is not None]
        if spare:
            raise BadInputError(f"compare: {spare[0]} needs --notices DIR; give both or neither")
    elif len(plan_dirs) != 2:
        raise BadInputError(
            f"compare --notices: {len(plan_dirs)} plan folders were given; give the old one, then the new one"
        )
    for folder in plan_dirs:
        check_plan_folder(folder)
    if notices is not None:
        from netplan.outputs.reader_choices import Choices

        choices = Choices(units=units, option=option or 1, language=language or "en", words=words)
        _notices(plan_dirs, notices, choices, old_option or 1)
        return

    from netplan.cli.terminal import console
    from netplan.outputs.terminal.plan_comparison import print_comparison
    from netplan.planfile.plan_json import read_plan

    plans = [read_plan(folder) for folder in plan_dirs]
    print_comparison(list(zip(_names(plan_dirs), plans, strict=True)), console(), units=figures)


def _notices(plan_dirs: list[Path], out: Path, choices: Choices, old_option: int) -> None:
    from netplan.outputs.output_folders import check_differences_target
    from netplan.outputs.reader_choices import check_choices

    check_choices(choices)
    target = check_differences_target(out)

    from netplan.cli.terminal import console
    from netplan.outputs.difference_folder import compared_plan, write_notice_differences
    from netplan.outputs.terminal.difference_lines import difference_lines
    from netplan.outputs.terminal.wrapped_lines import print_lines

    old, new = plan_dirs
    with from_plan_folder(old):
        before = compared_plan(old, old_option)
    with from_plan_folder(new):
        after = compared_plan(new, choices.option)
    written = write_notice_differences(before, after, target, choices)
    where = f"Notices of the difference: {written.folder.resolve()}"
    print_lines(console(), (*difference_lines(written), where))


def _names(folders: list[Path]) -> list[str]:
    short = [folder.resolve().name for folder in folders]
    return short if len(set(short)) == len(short) else [str(folder) for folder in folders]

"""The typer application: one module per command."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer

from netplan import __version__
from netplan.cli import (
    bypass,
    check,
    compare,
    demo,
    explain,
    map_columns,
    papers,
    plan,
    rules,
    schema,
    screen,
    stages,
)
from netplan.cli.exit_codes import STOPPED, run
from netplan.core.errors import BadInputError, in_brief, quoted

__all__ = ["app", "main"]

app = typer.Typer(
    name="gas-netplan",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Planning help for stopping a low-pressure PE gas main. Planning figures only, never a permit.",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"gas-netplan {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


app.command("plan")(plan.command)
app.command("bypass")(bypass.command)
app.command("check")(check.command)
app.command("compare")(compare.command)
app.command("explain")(explain.command)
app.command("map-columns")(map_columns.command)
app.command("papers")(papers.command)
app.command("rules")(rules.command)
app.command("schema")(schema.command)
app.command("screen")(screen.command)
app.command("stage")(stages.command)
app.command("demo")(demo.command)


def _readable_arguments() -> None:
    for argument in sys.argv[1:]:
        try:
            argument.encode()
        except UnicodeEncodeError:
            raise BadInputError(
                f"command line: {quoted(argument)} is not UTF-8 text; "
                "set the terminal's language to one with UTF-8"
            ) from None


def _stop(number: int, _frame: object) -> None:
    signal.signal(number, signal.SIG_IGN)  # a second one must not break off the clearing away
    raise KeyboardInterrupt


@contextmanager
def _stopped_as_by_ctrl_c() -> Iterator[None]:
    """Make the signals that ask a program to end clear away as Ctrl-C does, unless they are ignored."""
    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():
        numbers = []  # only the main thread may
    changed = [number for number in numbers if signal.getsignal(number) is signal.SIG_DFL]
    for number in changed:
        signal.signal(number, _stop)
    try:
        yield
    finally:
        for number in changed:
            signal.signal(number, signal.SIG_DFL)


def main() -> None:
    """Run the command line and leave with its exit code."""
    code = 0

    def job() -> None:
        nonlocal code
        _readable_arguments()
        try:
            # standalone_mode off: our own door decides what an error looks like.
            result = app(standalone_mode=False)
            code = result if isinstance(result, int) else 0
            if code == STOPPED:  # what Typer makes of Ctrl-C
                raise KeyboardInterrupt
        except typer.Abort:
            raise KeyboardInterrupt from None
        except Exception as error:
            # Misuse of the command line shows itself. Typer may carry its parser inside, so that its errors
            # have no name to import; ours never have a `show`.
            show = getattr(error, "show", None)
            if show is None:
                raise
            if isinstance(getattr(error, "message", None), str):
                error.message = in_brief(error.message)  # type: ignore[attr-defined]
            show()
            code = int(getattr(error, "exit_code", 2))

    with _stopped_as_by_ctrl_c():
        failed = run(job)
    sys.exit(failed or code)

"""The typer application: the commands by name, each loaded when it is asked for."""

from __future__ import annotations

import inspect
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from typing import Annotated, Any, Final

import typer
from typer.core import TyperCommand, TyperGroup

from netplan import __version__
from netplan.cli.exit_codes import STOPPED, run
from netplan.core.errors import BadInputError, in_brief, quoted

__all__ = ["COMMANDS", "app", "main"]

COMMANDS: Final = {
    "plan": "netplan.cli.plan",
    "as-built": "netplan.cli.as_built",
    "bypass": "netplan.cli.bypass",
    "check": "netplan.cli.check",
    "compare": "netplan.cli.compare",
    "explain": "netplan.cli.explain",
    "map-columns": "netplan.cli.map_columns",
    "papers": "netplan.cli.papers",
    "record": "netplan.cli.record",
    "recheck": "netplan.cli.recheck",
    "rules": "netplan.cli.rules",
    "schema": "netplan.cli.schema",
    "screen": "netplan.cli.screen",
    "stage": "netplan.cli.stage",
    "emergency": "netplan.cli.emergency",
    "serve": "netplan.cli.serve",
    "districts": "netplan.cli.districts",
    "demo": "netplan.cli.demo",
}
"""Name of a command to the module that holds it as its function ``command``, in the order of the help."""


def _function(name: str) -> Callable[..., Any]:
    """Load the module of a command and return its function."""
    function: Callable[..., Any] = import_module(COMMANDS[name]).command
    return function


class _Commands(Mapping[str, Any]):
    """The commands by name; each is built when it is taken out."""

    def __init__(self) -> None:
        self._built: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in COMMANDS:
            raise KeyError(name)
        if name not in self._built:
            alone = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None)
            alone.command(name)(_function(name))
            self._built[name] = typer.main.get_command(alone)
        return self._built[name]

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


class CommandGroup(TyperGroup):
    """The commands, without loading those that nobody asks for."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands: Any = _Commands()

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 - as in the class above it
        """Return the names in the order of the help."""
        return list(COMMANDS)

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002
        """Write name and first sentence of every command, which takes their functions, not their options."""
        limit = formatter.width - 6 - max(map(len, COMMANDS))
        rows = [
            (name, TyperCommand(name, help=inspect.getdoc(_function(name))).get_short_help_str(limit))
            for name in COMMANDS
        ]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


app = typer.Typer(
    name="gas-netplan",
    cls=CommandGroup,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Plan the stopping of a low-pressure PE gas main. Planning figures only, never a permit.",
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

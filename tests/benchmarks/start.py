"""What the start of a command costs: ``python -m tests.benchmarks.start [RUNS] [--before PATH]``.

Writes docs/benchmarks/start.md: processor seconds of calls that do no work, beside an otherwise empty typer app
of as many commands that does the same, in the same run. PATH is another checkout, for a column of its own.
"""

from __future__ import annotations

import argparse
import compileall
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Collection, Sequence
from functools import partial
from pathlib import Path

import netplan
from netplan.cli.app import COMMANDS
from netplan.cli.sample import sample_network

ROOT = Path(netplan.__file__).parent.parent
OUT = Path(__file__).parents[2] / "docs" / "benchmarks" / "start.md"
WANTED = 1.6
"""Times the empty app that a call may take."""

OURS = "import sys\nfrom netplan.__main__ import main\nsys.exit(main())\n"
EMPTY = '''
import os
from typing import Annotated
import typer

app = typer.Typer(
    name="empty", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None
)

def show(wanted: bool) -> None:
    if wanted:
        typer.echo("empty 0")
        raise typer.Exit

@app.callback()
def root(
    version: Annotated[bool, typer.Option("--version", callback=show, is_eager=True, help="The version.")] = False,
) -> None:
    pass

def add(name: str) -> None:
    @app.command(name)
    def command(
        path: Annotated[str, typer.Argument(help="A path.")],
        number: Annotated[int, typer.Option(min=1, help="A number.")] = 1,
    ) -> None:
        """Look for a path."""
        if not os.path.exists(path):
            typer.echo(f"{{path}}: no such file", err=True)
            raise typer.Exit(2)

for name in {names!r}:
    add(name)
app()
'''

WORK = ("--main", "M0142", "--from", "158", "--to", "162", "--out", "plan")
TOWN = str(sample_network())
CALLS: list[tuple[str, tuple[str, ...], tuple[str, ...]]] = [
    ("`--version`", ("--version",), ("--version",)),
    ("`--help`", ("--help",), ("--help",)),
    ("`plan --help`", ("plan", "--help"), ("plan", "--help")),
    ("unknown command", ("plam",), ("plam",)),
    ("unknown option", ("plan", "--nothing"), ("plan", "--nothing")),
    ("option out of range", ("plan", TOWN, *WORK, "--max-stops", "0"), ("plan", TOWN, "--number", "0")),
    ("quantity that cannot be read", ("plan", TOWN, *WORK, "--hours", "lots"), ("plan", "nowhere")),
    ("work section without its end", ("plan", TOWN, *WORK[:4], *WORK[6:]), ("plan", "nowhere")),
    ("`plan` of no network", ("plan", "nowhere", *WORK), ("plan", "nowhere")),
    ("`check` of no network", ("check", "nowhere"), ("check", "nowhere")),
    ("`explain` of no plan", ("explain", "nowhere"), ("explain", "nowhere")),
]
"""What is called, our arguments, and those of the empty app."""


def processor_seconds(
    script: Path, arguments: Sequence[str], checkout: Path | None = None, *, ends_with: Collection[int] = (0,)
) -> float:
    """Return user and system seconds of one call, in a folder of its own.

    Raises
    ------
    RuntimeError
        When its exit code is none of `ends_with`: what it took then says nothing.
    """
    path = {} if checkout is None else {"PYTHONPATH": str(checkout)}
    with tempfile.TemporaryDirectory() as folder:
        child = subprocess.Popen(  # noqa: S603
            [sys.executable, str(script), *arguments],
            cwd=folder,
            env={**os.environ, **path},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in ends_with:
        raise RuntimeError(f"{' '.join(arguments)}: ended with {child.returncode}")
    return used.ru_utime + used.ru_stime


def write_byte_code(checkouts: Sequence[Path]) -> None:
    """Compile the package of each checkout, as its installation does: else every call would where none is kept."""
    for checkout in checkouts:
        compileall.compile_dir(checkout / "netplan", quiet=1)


def least_in_turn(calls: Sequence[Callable[[], float]], runs: int) -> list[float]:
    """Return the least seconds of each call, all of them run in turn so many times."""
    return [min(each) for each in zip(*([call() for call in calls] for _ in range(runs)), strict=True)]


def table(runs: int, before: Path | None) -> list[str]:
    """Return the rows of the table: least of `runs` runs of each, taken in turn."""
    rows = []
    write_byte_code([ROOT] if before is None else [ROOT, before])
    with tempfile.TemporaryDirectory() as home:
        ours, empty = Path(home) / "ours.py", Path(home) / "empty.py"
        ours.write_text(OURS, encoding="utf-8")
        empty.write_text(EMPTY.format(names=list(COMMANDS)), encoding="utf-8")
        for what, arguments, same in CALLS:
            kinds = [(ours, arguments, ROOT), (empty, same, None)]
            if before is not None:
                kinds.append((ours, arguments, before))
            # Most of them are refused: that is what is timed.
            least = least_in_turn([partial(processor_seconds, *k, ends_with=(0, 2)) for k in kinds], runs)
            cells = [what, f"{least[0]:.3f}", f"{least[1]:.3f}", f"{least[0] / least[1]:.2f}"]
            cells += [f"{seconds:.2f}" for seconds in least[2:]]
            rows.append("| " + " | ".join(cells) + " |")
            sys.stderr.write(rows[-1] + "\n")
    return rows


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="?", type=int, default=15)
    parser.add_argument("--before", type=Path)
    given = parser.parse_args()
    rows = table(given.runs, given.before)
    more = "" if given.before is None else " before |"
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text(
        "# The start of a command\n\n"
        f"Made by `python -m tests.benchmarks.start {given.runs}{' --before PATH' if more else ''}`: processor "
        f"seconds (user and system) of calls that do no work, the least of {given.runs} runs, beside an otherwise "
        f"empty typer app of as many commands ({len(COMMANDS)}) doing the same call, run in turn, byte code written "
        f"before as an installation does. Wanted: at most "
        f"{WANTED} times that app. Where the empty app has no such option it refuses a path.\n\n"
        f"| call | ours [s] | empty app [s] | times |{more}\n|---|--:|--:|--:|{'--:|' if more else ''}\n"
        + "\n".join(rows)
        + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()

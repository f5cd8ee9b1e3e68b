"""From errors to one line on stderr and an exit code; nothing else leaves the program.

Loads nothing but the errors themselves: what a person mistypes is refused at once.
"""

from __future__ import annotations

import errno
import io
import os
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from netplan.cli.shown_units import forget_units, in_shown_units
from netplan.core.errors import BadInputError, NetplanError, NoPlanError, StoppedError, in_brief, shown

__all__ = ["FAULT", "STOPPED", "from_plan_folder", "run", "visible"]

FAULT = 1
STOPPED = StoppedError.exit_code

_NARROWEST: Final = 20
"""Lines are not broken for a narrower terminal (own) [characters]."""
_MOST_NOTICED: Final = 8
"""Warnings about the data that are printed with an error (own)."""

_OF_THE_PATH: Final = (errno.ENAMETOOLONG, errno.EACCES, errno.EPERM, errno.ELOOP, errno.ENOTDIR)
"""What the system says of a path that a person gave."""

_UNSEEN: Final = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff]"
)
"""Control characters, and those that hide or turn text: a terminal would obey them."""


def visible(text: str) -> str:
    """Return a text with control characters, and those that hide or turn text, shown by their number."""
    return _UNSEEN.sub(lambda match: f"\\u{ord(match[0]):04x}", text)


def run(job: Callable[[], None]) -> int:
    """Run `job` and return the exit code; every error becomes one line on stderr."""
    # What GDAL would print of a broken file is in the one line that is printed here.
    os.environ.setdefault("CPL_LOG", os.devnull)
    for stream in (sys.stdout, sys.stderr):
        # A terminal of few letters shows the numbers of the others.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    forget_units()
    try:
        job()
    except NoPlanError as error:
        _say(f"gas-netplan: no plan: {_one_line(error)}")
        # Only here: planning takes longer to load than most commands need.
        from netplan.cli.lifts import lifted_in_words

        said = _one_line(error)
        lines = [*map(_one_line, error.reasons), *map(lifted_in_words, error.lifted)]
        for line in dict.fromkeys(line for line in lines if line not in said):
            _say(f"  - {_one_line(line)}")
        _say_noticed(error)
        return error.exit_code
    except NetplanError as error:
        _say(f"gas-netplan: {_one_line(error)}")
        _say_noticed(error)
        return error.exit_code
    except KeyboardInterrupt:
        _say("gas-netplan: stopped; nothing was written")
        return STOPPED
    except BrokenPipeError:
        # The reader went away, as in `gas-netplan rules | head`: no fault; Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # the last door: a person must not be shown a traceback
        if isinstance(error, OSError) and error.errno in _OF_THE_PATH and error.filename is not None:
            place = shown(error.filename)
            _say(f"gas-netplan: {place}: {error.strerror}; check the path and its rights")
            return BadInputError.exit_code
        if os.environ.get("GAS_NETPLAN_TRACEBACK"):
            raise
        _say(
            f"gas-netplan: fault in the program: {type(error).__name__}: {_one_line(error)}; "
            "please report it (GAS_NETPLAN_TRACEBACK=1 shows where)"
        )
        return FAULT
    return 0


def _say(line: str) -> None:
    """Print a line: whole where a program reads it, broken between words where a person does."""
    said = visible(line)
    if sys.stderr.isatty():
        indent = 4 if said.startswith("  - ") else 2
        width = max(shutil.get_terminal_size().columns, _NARROWEST)
        said = textwrap.fill(
            said,
            width,
            subsequent_indent=" " * indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
    sys.stderr.write(said + "\n")
    sys.stderr.flush()


def _say_noticed(error: NetplanError) -> None:
    """Print what is doubtful in the data and may explain an error."""
    for line in error.noticed[:_MOST_NOTICED]:
        _say(f"  - in the data: {_one_line(line)}")
    if len(error.noticed) > _MOST_NOTICED:
        _say(f"  - and {len(error.noticed) - _MOST_NOTICED} more: run gas-netplan check")


def _one_line(error: object) -> str:
    return in_shown_units(in_brief(" ".join(str(error).split())))


@contextmanager
def from_plan_folder(folder: Path) -> Iterator[None]:
    """Say that a plan folder is damaged where what it holds cannot be worked with.

    Its files are checked as they are read. That rows of plan.gpkg are gone, or numbers in it impossible,
    shows only where they are used.

    Raises
    ------
    BadInputError
        With the one line; the error that came stands behind it.
    """
    try:
        yield
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        if os.environ.get("GAS_NETPLAN_TRACEBACK"):
            raise
        raise BadInputError(
            f"{folder}: plan.json or plan.gpkg is damaged, or they belong to different plans "
            f"({type(error).__name__}); plan again, and report it if nobody changed them"
        ) from error

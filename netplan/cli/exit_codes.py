"""From errors to one line on stderr and an exit code; nothing else leaves the program."""

from __future__ import annotations

import errno
import io
import os
import re
import sys
from collections.abc import Callable, Iterable
from typing import Any, Final

from rich.console import Console, ConsoleOptions
from rich.segment import Segment
from rich.text import Text as RichText

from netplan.core.errors import BadInputError, NetplanError, NoPlanError, StoppedError, in_brief, shown

__all__ = ["FAULT", "STOPPED", "console", "run"]

FAULT = 1
STOPPED = StoppedError.exit_code


_MOST_NOTICED: Final = 8
"""Warnings about the data that are printed with an error (own)."""

_OF_THE_PATH: Final = (errno.ENAMETOOLONG, errno.EACCES, errno.EPERM, errno.ELOOP, errno.ENOTDIR)
"""What the system says of a path that a person gave."""

_UNSEEN: Final = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff]"
)
"""Control characters, and those that hide or turn text: a terminal would obey them."""


class PlainConsole(Console):
    """A console on which text from the data stays text: nothing in it moves, colours or turns the screen."""

    def render(self, renderable: Any, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield the segments of something printed, with control characters shown by their number."""
        for segment in super().render(renderable, options):
            if segment.control or not _UNSEEN.search(segment.text):
                yield segment
            else:
                yield Segment(_UNSEEN.sub(_shown, segment.text), segment.style)


def _shown(match: re.Match[str]) -> str:
    return f"\\u{ord(match[0]):04x}"


def console() -> Console:
    """Return a console for what people read on screen."""
    return PlainConsole(highlight=False)


def run(job: Callable[[], None]) -> int:
    """Run `job` and return the exit code; every error becomes one line on stderr."""
    # What GDAL would print of a broken file is in the one line that is printed here.
    os.environ.setdefault("CPL_LOG", os.devnull)
    for stream in (sys.stdout, sys.stderr):
        # A terminal of few letters shows the numbers of the others.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    errors = PlainConsole(stderr=True, highlight=False, soft_wrap=True)
    try:
        job()
    except NoPlanError as error:
        errors.print(RichText(f"gas-netplan: no plan: {_one_line(error)}"))
        # Only here: planning takes longer to load than most commands need.
        from netplan.cli.lifts import lifted_in_words

        said = _one_line(error)
        lines = [*map(_one_line, error.reasons), *map(lifted_in_words, error.lifted)]
        for line in dict.fromkeys(line for line in lines if line not in said):
            errors.print(RichText(f"  - {_one_line(line)}"))
        _print_noticed(error, errors)
        return error.exit_code
    except NetplanError as error:
        errors.print(RichText(f"gas-netplan: {_one_line(error)}"))
        _print_noticed(error, errors)
        return error.exit_code
    except KeyboardInterrupt:
        errors.print("gas-netplan: stopped; nothing was written")
        return STOPPED
    except BrokenPipeError:
        # The reader went away, as in `gas-netplan rules | head`: no fault; Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # the last door: a person must not be shown a traceback
        if isinstance(error, OSError) and error.errno in _OF_THE_PATH and error.filename is not None:
            place = shown(error.filename)
            errors.print(RichText(f"gas-netplan: {place}: {error.strerror}; check the path and its rights"))
            return BadInputError.exit_code
        if os.environ.get("GAS_NETPLAN_TRACEBACK"):
            raise
        errors.print(
            RichText(
                f"gas-netplan: fault in the program: {type(error).__name__}: {_one_line(error)}; "
                "please report it (GAS_NETPLAN_TRACEBACK=1 shows where)"
            )
        )
        return FAULT
    return 0


def _print_noticed(error: NetplanError, errors: Console) -> None:
    """Print what is doubtful in the data and may explain an error."""
    for line in error.noticed[:_MOST_NOTICED]:
        errors.print(RichText(f"  - in the data: {_one_line(line)}"))
    if len(error.noticed) > _MOST_NOTICED:
        errors.print(RichText(f"  - and {len(error.noticed) - _MOST_NOTICED} more: run gas-netplan check"))


def _one_line(error: object) -> str:
    return in_brief(" ".join(str(error).split()))

"""From errors to one line on stderr and an exit code; nothing else leaves the program."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable

from rich.console import Console
from rich.text import Text as RichText

from netplan.errors import NetplanError, NoPlanError

__all__ = ["FAULT", "STOPPED", "console", "run"]

FAULT = 1
STOPPED = 130


def console() -> Console:
    """Return a console for what people read on screen."""
    return Console(highlight=False)


def run(job: Callable[[], None]) -> int:
    """Run `job` and return the exit code; every error becomes one line on stderr."""
    errors = Console(stderr=True, highlight=False, soft_wrap=True)
    try:
        job()
    except NoPlanError as error:
        errors.print(RichText(f"gas-netplan: no plan: {_one_line(error)}"))
        for reason in error.reasons:
            errors.print(RichText(f"  - {_one_line(reason)}"))
        return error.exit_code
    except NetplanError as error:
        errors.print(RichText(f"gas-netplan: {_one_line(error)}"))
        return error.exit_code
    except KeyboardInterrupt:
        errors.print("gas-netplan: stopped; nothing was written")
        return STOPPED
    except BrokenPipeError:
        # The reader went away, as in `gas-netplan rules | head`: no fault; Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # the last door: a person must not be shown a traceback
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


def _one_line(error: object) -> str:
    return " ".join(str(error).split())

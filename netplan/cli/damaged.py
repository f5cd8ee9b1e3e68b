"""Plan folders that were changed by hand or by chance: one line, not a fault of the program."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from netplan.core.errors import BadInputError

__all__ = ["from_plan_folder"]


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
            f"{folder}: plan.json or plan.gpkg is damaged, or they are not of one plan "
            f"({type(error).__name__}); plan again, and report it if nobody changed them"
        ) from error

"""Entry point of the ``gas-netplan`` command."""

import gc
import os
import sys
from typing import Final

from netplan.core.errors import StoppedError

__all__ = ["main"]

COLLECT_AFTER: Final = (500_000, 50, 50)
"""Objects, and collections of younger ones, between two collections of garbage (own) [-]."""


def main() -> None:
    """Run the command line; a Ctrl-C while its parts are still loading ends it without a word."""
    # Arrays of a city live for a moment each, and clearing huge pages for them takes longer than small ones:
    # the benchmark of a city can be run with either. It counts only before numpy is loaded.
    os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")
    # Looking for plugins of pydantic reads the files of every package that is installed; none is ours.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # Loading makes a million small objects that stay: looking through them again and again takes a tenth of
    # a plan.
    gc.set_threshold(*COLLECT_AFTER)
    try:
        from netplan.cli import main as command_line
    except KeyboardInterrupt:
        sys.exit(StoppedError.exit_code)
    try:
        command_line()
    finally:
        # The end of Python looks for garbage several times; its memory goes as a whole anyway.
        gc.freeze()


if __name__ == "__main__":
    main()

"""Entry point of the ``gas-netplan`` command."""

import sys

from netplan.errors import StoppedError

__all__ = ["main"]


def main() -> None:
    """Run the command line; a Ctrl-C while its parts are still loading ends it without a word."""
    try:
        from netplan.cli import main as command_line
    except KeyboardInterrupt:
        sys.exit(StoppedError.exit_code)
    command_line()


if __name__ == "__main__":
    main()

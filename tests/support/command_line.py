"""The command line run inside the test's own process."""

from __future__ import annotations

import sys
from pathlib import Path
from unittest import mock

from netplan.cli import main


def run_command(*arguments: str | Path) -> int:
    """Run ``gas-netplan`` with these arguments and return its exit code."""
    with mock.patch.object(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)]):
        try:
            main()
        except SystemExit as left:
            return int(left.code or 0)
    return 0

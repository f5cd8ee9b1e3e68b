"""The command line: parse, call, print; errors become one line and an exit code.

Exit codes: 0 done, 2 bad input, 3 no feasible plan, 1 a fault of the program itself, 130 stopped by the user.
"""

from netplan.cli.app import main

__all__ = ["main"]

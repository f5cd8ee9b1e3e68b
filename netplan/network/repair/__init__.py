"""Mending what is safe to mend by program: repeats go, ends that plainly miss their joint are drawn up to it.

Everything else is a person's decision and stays a finding.
"""

from netplan.network.repair.changes import Change, Mended
from netplan.network.repair.repair import SNAP_M, mend

__all__ = ["SNAP_M", "Change", "Mended", "mend"]

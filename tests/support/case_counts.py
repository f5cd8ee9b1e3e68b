"""How many seeded cases a test takes: a share by default, more of them with ``NETPLAN_MORE_CASES``."""

from __future__ import annotations

import os

__all__ = ["MORE", "cases"]

MORE = int(os.environ.get("NETPLAN_MORE_CASES", "1"))
"""How many times as many cases as by default."""


def cases(share: int) -> int:
    """Return how many cases to take where the suite takes some by default."""
    return share * MORE

"""How near to a main a pipe may end without reaching it before a joint counts as missing.

It stands apart from the checks that use it, so that an option is held against it before any array is needed.
"""

from typing import Final

__all__ = ["NEAR_MISS_M"]

NEAR_MISS_M: Final = 2.0
"""A pipe that ends this near to a main, and does not reach it, is doubtful [m]."""

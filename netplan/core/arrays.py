"""Names of the array types that the whole package uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Codes", "Flags", "Floats", "Ints", "Ints32"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
Codes = NDArray[np.uint8]
"""Small codes of words, see `netplan.network.vocabulary`."""
Flags = NDArray[np.bool_]

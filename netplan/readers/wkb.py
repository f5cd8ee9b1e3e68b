"""Geometries from well-known binary."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray

__all__ = ["shapes_of_wkb"]


def shapes_of_wkb(column: Any) -> NDArray[np.object_]:
    """Return shapely geometries for an Arrow column of well-known binary; None for what is none."""
    if pa.types.is_null(column.type):
        return np.full(len(column), None, dtype=object)
    blobs = column.to_numpy(zero_copy_only=False) if isinstance(column, pa.Array) else column.to_numpy()
    return np.asarray(shapely.from_wkb(blobs, on_invalid="ignore"), dtype=object)

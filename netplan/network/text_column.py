"""Text columns held as Arrow arrays, so that a million ids are not a million Python objects."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

__all__ = ["TextColumn"]


class TextColumn:
    """An immutable column of text without missing values.

    Parameters
    ----------
    values : iterable of str or pyarrow array
        The texts; missing ones become empty.
    """

    __slots__ = ("_array",)

    def __init__(self, values: Iterable[str | None] | Any = ()) -> None:
        if isinstance(values, pa.ChunkedArray):
            values = values.combine_chunks()
        array = values if isinstance(values, pa.Array) else pa.array(list(values), type=pa.string())
        if array.type != pa.string():
            array = pc.cast(array, pa.string())
        self._array = pc.fill_null(array, "") if array.null_count else array

    def __len__(self) -> int:
        return len(self._array)

    def __getitem__(self, index: int | np.integer[Any]) -> str:
        return str(self._array[int(index)].as_py())

    def __iter__(self) -> Iterator[str]:
        return iter(self._array.to_pylist())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, TextColumn) and bool(self._array.equals(other._array))

    def __hash__(self) -> int:
        return hash((len(self), str(self._array[0]) if len(self) else ""))

    def __repr__(self) -> str:
        return f"Text({len(self)} values)"

    @property
    def arrow(self) -> Any:
        """The Arrow array of strings, without nulls."""
        return self._array

    def find(self, text: str, start: int = 0, stop: int | None = None) -> int:
        """Return the first position of `text` in [start, stop), or -1."""
        part = self._array.slice(start, None if stop is None else stop - start)
        place = pc.index(part, pa.scalar(text, pa.string())).as_py()
        return int(place) + start if place >= 0 else -1

    def take(self, indices: NDArray[Any]) -> TextColumn:
        """Return the texts at `indices`, in that order."""
        return TextColumn(self._array.take(pa.array(np.asarray(indices, dtype=np.int64))))

    def numpy(self) -> NDArray[np.object_]:
        """Return the texts as a numpy array of Python strings: for small tables only."""
        return np.asarray(self._array.to_numpy(zero_copy_only=False), dtype=object)

"""Which district holds an id: sorted tables of hashes on disk, merged range by range, looked up in place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from netplan.core.arrays import Ints, Ints32
from netplan.network.text_column import TextColumn

__all__ = ["IdTable", "hashes_of", "merge_tables", "write_part"]

_ROWS_AT_ONCE: Final = 4_000_000
"""Rows that are sorted in memory at once (own) [-]."""
_HASHES: Final = 2.0**64
Hashes = NDArray[np.uint64]


def hashes_of(ids: Any) -> Hashes:
    """Return a hash of 64 bits of each text of an Arrow array, the same on every machine."""
    texts = TextColumn(ids).numpy()
    return np.asarray(pd.util.hash_array(texts, categorize=False), dtype=np.uint64)


class IdTable:
    """A merged table: hashes ascending, and the district and value of each row.

    Parameters
    ----------
    place : Path
        Path of its files without their endings.
    """

    def __init__(self, place: Path) -> None:
        self._hash: Hashes = np.load(place.with_suffix(".hash.npy"), mmap_mode="r")
        self._district: Ints32 = np.load(place.with_suffix(".district.npy"), mmap_mode="r")
        self._value: Ints32 = np.load(place.with_suffix(".value.npy"), mmap_mode="r")

    def __len__(self) -> int:
        return len(self._hash)

    def find(self, text: str) -> list[tuple[int, int]]:
        """Return district and value of every row of an id; of a part ``id/2`` also those of its line.

        Two ids may share a hash once in many thousand million rows: then a district is named too many.
        """
        for name in [text, text.rpartition("/")[0]] if "/" in text else [text]:
            row, district, value = self.find_each([name])
            if len(row):
                return sorted(set(zip(district.tolist(), value.tolist(), strict=True)))
        return []

    def find_each(self, ids: Any) -> tuple[Ints, Ints32, Ints32]:
        """Return every row of some ids: the place of the id among those given, its district and its value."""
        asked = hashes_of(ids)
        first, last = (np.searchsorted(self._hash, asked, side=side) for side in ("left", "right"))
        count = last - first
        row = np.repeat(np.arange(len(asked)), count)
        at = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + first[row]
        return row, np.asarray(self._district[at]), np.asarray(self._value[at])


def write_part(folder: Path, district: int, hashes: Hashes, value: Ints32) -> None:
    """Keep the rows of one district for `merge_tables`, sorted by hash."""
    folder.mkdir(parents=True, exist_ok=True)
    order = np.lexsort((value, hashes))
    np.save(folder / f"{district}.hash.npy", hashes[order])
    np.save(folder / f"{district}.value.npy", value[order].astype(np.int32))


def merge_tables(
    folder: Path, districts: Sequence[int], place: Path, values: Sequence[Ints32] | None = None
) -> list[tuple[int, int, int]]:
    """Merge the rows of all districts into one table; return hash and districts of ids in two of them.

    Parameters
    ----------
    folder : Path
        Where `write_part` put them.
    districts : sequence of int
    place : Path
        Path of the merged files without their endings.
    values : sequence of int arrays, optional
        New value for each value of a district; by default it stays.
    """
    parts = [np.load(folder / f"{number}.hash.npy", mmap_mode="r") for number in districts]
    total = sum(map(len, parts))
    merged = {
        name: np.lib.format.open_memmap(
            place.with_suffix(f".{name}.npy"), mode="w+", dtype=kind, shape=(total,)
        )
        for name, kind in (("hash", np.uint64), ("district", np.int32), ("value", np.int32))
    }
    twice: list[tuple[int, int, int]] = []
    steps = max(1, -(-total // _ROWS_AT_ONCE))
    edges = [np.uint64(min(int(_HASHES * step / steps), 2**64 - 1)) for step in range(steps + 1)]
    done, first = 0, [0] * len(parts)
    for step in range(steps):
        is_last = step == steps - 1
        last = [
            len(part) if is_last else int(np.searchsorted(part, edges[step + 1], side="left"))
            for part in parts
        ]
        hashes = np.concatenate([part[a:b] for part, a, b in zip(parts, first, last, strict=True)])
        count = [b - a for a, b in zip(first, last, strict=True)]
        district = np.repeat(np.array(districts, dtype=np.int32), count)
        value = np.concatenate(
            [
                _renumbered(np.load(folder / f"{number}.value.npy", mmap_mode="r")[a:b], values, number)
                for number, a, b in zip(districts, first, last, strict=True)
            ]
        )
        order = np.argsort(hashes, kind="stable")
        hashes, district = hashes[order], district[order]
        end = done + len(hashes)
        merged["hash"][done:end], merged["district"][done:end] = hashes, district
        merged["value"][done:end] = value[order]
        rows = np.flatnonzero((hashes[1:] == hashes[:-1]) & (district[1:] != district[:-1]))
        twice += zip(hashes[rows].tolist(), district[rows].tolist(), district[rows + 1].tolist(), strict=True)
        done, first = end, last
    for held in merged.values():
        held.flush()
    return twice


def _renumbered(value: Any, values: Sequence[Ints32] | None, district: int) -> Ints32:
    return np.asarray(value) if values is None else values[district][np.asarray(value)]

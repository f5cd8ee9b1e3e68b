"""Ways of damaging the bytes of network files, in every format that is read."""

from __future__ import annotations

import re
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np

from netplan.readers import write_layers
from tests.fuzz.districts import district

__all__ = ["FORMATS", "damaged_bytes", "whole_files"]

Rng = np.random.Generator
FORMATS = ("gpkg", "geojson", "parquet", "shp")
_NUMBER = re.compile(rb"-?\d+\.?\d*")
_TOKENS = (
    b"1e999",
    b"-1e308",
    b"NaN",
    b"Infinity",
    b"null",
    b"[]",
    b"{}",
    b'"text"',
    b"[" * 300 + b"]" * 300,
    b"-",
    b"true",
    b"0",
    b'"\\u0000"',
    b'"\\ud800"',
    b"\xff\xfe",
)


@lru_cache(maxsize=8)
def whole_files(town: str, file_format: str) -> dict[str, bytes]:
    """Return the undamaged files of a district: bytes by name below the network's path."""
    layers, _ = district(town)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / ("network.gpkg" if file_format == "gpkg" else "network")
        write_layers(layers, place, "parquet" if file_format == "gpkg" else file_format)
        if place.is_file():
            return {place.name: place.read_bytes()}
        return {f"network/{file.name}": file.read_bytes() for file in sorted(place.iterdir())}


def damaged_bytes(data: bytes, rng: Rng, *, is_text: bool) -> tuple[bytes, str]:
    """Return damaged bytes, and what was done to them."""
    way = str(rng.choice(["flip", "flip", "cut", "blank", "repeat", "insert", "token", "token", "empty"]))
    if not data or way == "empty":
        return b"", "empty"
    size = len(data)
    at = int(rng.integers(size))
    length = int(min(size - at, rng.choice([1, 4, 64, 1024, 8192])))
    if way == "flip":
        mutable = bytearray(data)
        for place in rng.integers(size, size=int(rng.choice([1, 3, 20, 200]))):
            mutable[int(place)] ^= int(rng.integers(1, 256))
        return bytes(mutable), way
    if way == "cut":
        return data[:at], way
    if way == "blank":
        return data[:at] + bytes(length) + data[at + length :], way
    if way == "repeat":
        return data[:at] + data[at : at + length] * 3 + data[at + length :], way
    if way == "insert" or not is_text:
        return data[:at] + rng.bytes(length) + data[at:], "insert"
    token = _TOKENS[int(rng.integers(len(_TOKENS)))]
    found = _NUMBER.search(data, at)
    if found is None:
        return data[:at] + token + data[at:], way
    return data[: found.start()] + token + data[found.end() :], way

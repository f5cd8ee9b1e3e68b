"""What an output folder says, as plain values: a digest for every column, whole values for the plan."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import shapely

__all__ = ["contents", "differences"]

LEFT_OUT: Final = ("provenance",)
"""Keys of plan.json that differ from run to run."""
LONG: Final = 40
"""Plain values in a list from which only their digest is kept."""
DIGITS: Final = 6
"""Significant digits that two numbers must share."""


def contents(folder: Path) -> dict[str, Any]:
    """Return what plan.json, the layers and the tables of a folder hold, by file name."""
    found: dict[str, Any] = {}
    for path in sorted(folder.iterdir()):
        if path.suffix == ".json":
            found[path.name] = _without(json.loads(path.read_text()))
        elif path.suffix == ".gpkg":
            found[path.name] = {
                layer: _frame(geopandas.read_file(path, layer=layer)) for layer in _layers(path)
            }
        elif path.suffix == ".parquet":
            found[path.name] = _frame(pd.read_parquet(path))
        elif path.suffix == ".csv":
            found[path.name] = _frame(pd.read_csv(path, dtype=str, keep_default_na=False))
    return found


def _layers(path: Path) -> list[str]:
    return sorted(name for name, _ in pyogrio.list_layers(path))


def _without(plan: Any) -> Any:
    kept = (
        {key: value for key, value in plan.items() if key not in LEFT_OUT} if isinstance(plan, dict) else plan
    )
    return _shortened(kept)


def _shortened(value: Any) -> Any:
    """Return a value with a digest for every long list of plain values, and for readings by weather."""
    if isinstance(value, dict):
        return {
            key: _digest(one) if key == "by_weather" and one else _shortened(one)
            for key, one in value.items()
        }
    if isinstance(value, list):
        is_long = len(value) > LONG and not any(isinstance(one, (dict, list)) for one in value)
        return _digest(value) if is_long else [_shortened(one) for one in value]
    return value


def _digest(rows: list[Any]) -> str:
    plain = [{k: _plain(v) for k, v in one.items()} if isinstance(one, dict) else _plain(one) for one in rows]
    return f"{len(rows)} {hashlib.sha256(json.dumps(plain).encode()).hexdigest()[:16]}"


def _frame(frame: Any) -> dict[str, str]:
    found = {"rows": str(len(frame))}
    for name in frame.columns:
        column = frame[name]
        if isinstance(frame, geopandas.GeoDataFrame) and name == frame.geometry.name:
            values = shapely.to_wkt(column.to_numpy(), rounding_precision=3).tolist()
        else:
            values = [_plain(value) for value in column.tolist()]
        found[str(name)] = hashlib.sha256(json.dumps(values, default=str).encode()).hexdigest()[:16]
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return [_plain(each) for each in value.tolist()]
    if isinstance(value, float):
        # What is nothing but for the last bits differs from machine to machine.
        return f"{round(value, DIGITS) + 0.0:.{DIGITS}g}"
    return value if isinstance(value, (str, int, bool, list, dict)) else str(value)


def differences(old: Any, new: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield where two values differ: the place, the old and the new; numbers by their first six digits."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            yield from differences(old.get(key), new.get(key), f"{path}.{key}" if path else key)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for row, (one, other) in enumerate(zip(old, new, strict=True)):
            yield from differences(one, other, f"{path}[{row}]")
    elif isinstance(old, float) and isinstance(new, float):
        if abs(old - new) > 10**-DIGITS * max(abs(old), abs(new), 1.0):
            yield path, old, new
    elif old != new:
        yield path, old, new

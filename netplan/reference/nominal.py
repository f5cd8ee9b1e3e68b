"""Nominal sizes: which outside diameter a DN or an inch size means, by material."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Final, Literal

__all__ = ["Family", "Nominal", "Stuff", "nominal_size", "of_outside_diameter"]

Stuff = Literal["pe", "steel", "iron", ""]
"""What a pipe is made of, as far as sizes go; empty where nobody says."""

Family = Literal["dn", "inch", "cts"]
"""How a size is named: a DN, an inch size (iron pipe size for PE), or a copper tube size."""

_MM_PER_INCH: Final = 25.4
_MATCH_MM: Final = 0.15


@dataclass(frozen=True, slots=True)
class Nominal:
    """What a nominal size stands for.

    Parameters
    ----------
    od_mm : float
        Outside diameter [mm].
    bore_mm : float or None
        Nominal bore [mm], for steel and iron, whose nominal size is their bore.
    schedule_40_mm : float or None
        Wall of schedule 40 [mm], for inch sizes of steel.
    source_key : str
        Key in `netplan.core.sources`.
    """

    od_mm: float
    bore_mm: float | None
    schedule_40_mm: float | None
    source_key: str


def nominal_size(family: Family, size: float, stuff: Stuff) -> Nominal | None:
    """Return what a nominal size means, or None where the tables do not hold it.

    Parameters
    ----------
    family : str
        How the size is named.
    size : float
        The number: millimetres for a DN [mm], inches for the others [in].
    stuff : str
        Material; a DN of no known material is not known, because PE and steel differ.
    """
    if family == "cts":
        table = "cts"
    elif stuff == "":
        return None
    else:
        table = f"{stuff}_{'dn' if family == 'dn' else 'in'}"
    return _tables().get((table, _key(size)))


def of_outside_diameter(od_mm: float, stuff: Stuff) -> bool:
    """Return whether the tables hold a pipe of that material with this outside diameter [mm]."""
    return any(
        abs(size.od_mm - od_mm) <= _MATCH_MM
        for (table, _), size in _tables().items()
        if stuff and table.startswith(stuff)
    )


def _inches(text: str) -> float:
    """Read ``4``, ``3/4`` or ``1-1/4`` as the tables write them [in]."""
    whole, _, part = text.rpartition("-")
    top, _, bottom = part.partition("/")
    return float(whole or 0) + float(top) / float(bottom or 1)


@lru_cache(maxsize=1)
def _tables() -> dict[tuple[str, int], Nominal]:
    found: dict[tuple[str, int], Nominal] = {}
    for row in _rows("pipes_nominal.csv"):
        family, is_inch = row["family"], not row["family"].endswith("_dn")
        size = _inches(row["nominal"]) if is_inch else float(row["nominal"])
        bore = None if family == "cts" else size * (_MM_PER_INCH if is_inch else 1.0)
        wall = float(row["wall_mm"]) if row["wall_mm"] else None
        found[family, _key(size)] = Nominal(float(row["od_mm"]), bore, wall, row["source"])
    for row in _rows("pipes_metric.csv"):
        size = float(row["dn_mm"])
        found.setdefault(("pe_dn", _key(size)), Nominal(size, None, None, row["source"]))
    for row in _rows("pipes_ips.csv"):
        od = float(row["od_in"]) * _MM_PER_INCH
        found.setdefault(
            ("pe_in", _key(_inches(row["nps_in"]))), Nominal(round(od, 4), None, None, row["source"])
        )
    return found


def _key(size: float) -> int:
    return round(size * 1000.0)


def _rows(name: str) -> Iterable[dict[str, str]]:
    text = resources.files("netplan.reference").joinpath(name).read_text(encoding="utf-8")
    return csv.DictReader(text.splitlines())

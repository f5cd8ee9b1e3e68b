"""Pipe sizes from published tables: walls of PE by outside diameter and SDR, and nominal sizes by material.

A wall is looked up first; a rule answers only where the table is silent. Metric walls are not od/sdr: the SDR
is a rounded name for a step of the Renard series R10, and walls are rounded up to a tenth of a millimetre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from netplan.core.constants import MM_PER_INCH
from netplan.reference import table_rows

__all__ = [
    "NominalSize",
    "PipeMaterial",
    "SizeFamily",
    "Wall",
    "inch_od_mm",
    "inch_pipe_name",
    "is_outside_diameter",
    "least_wall_bore_mm",
    "nominal_size",
    "wall_by_rule_mm",
    "wall_mm",
]


Size = TypeVar("Size", float, NDArray[np.float64])

_MATCH_MM: Final = 0.1
_SERIES_OF_SDR: Final = {
    6.0: 10 ** (4 / 10),
    7.4: 10 ** (5 / 10),
    9.0: 10 ** (6 / 10),
    11.0: 10 ** (7 / 10),
    13.6: 10 ** (8 / 10),
    17.0: 10 ** (9 / 10),
    17.6: 8.3,
    21.0: 10.0,
    26.0: 10 ** (11 / 10),
}
"""Exact series number S for the nominal SDR = 2 S + 1; 17.6 is no step of R10."""


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall and how it is known.

    Parameters
    ----------
    wall_mm : float
        Least wall [mm].
    source_key : str
        Key in `netplan.core.sources`.
    computed : bool
        Whether the rule was used because no table holds the size.
    """

    wall_mm: float
    source_key: str
    computed: bool


@lru_cache(maxsize=1)
def _walls() -> dict[tuple[int, float], Wall]:
    walls: dict[tuple[int, float], Wall] = {}
    for row in table_rows("pipes_metric.csv"):
        key = (_micrometres(float(row["dn_mm"])), float(row["sdr"]))
        walls[key] = Wall(float(row["wall_mm"]), row["source"], computed=False)
    for row in table_rows("pipes_ips.csv"):
        key = (_micrometres(float(row["od_in"]) * MM_PER_INCH), float(row["sdr"]))
        walls[key] = Wall(float(row["wall_in"]) * MM_PER_INCH, row["source"], computed=False)
    return walls


@lru_cache(maxsize=1)
def inch_od_mm() -> tuple[float, ...]:
    """Return the outside diameters of the inch sizes [mm], rising."""
    return tuple(sorted({float(row["od_in"]) * MM_PER_INCH for row in table_rows("pipes_ips.csv")}))


@lru_cache(maxsize=1)
def _metric_od_mm() -> tuple[float, ...]:
    return tuple(sorted({float(row["dn_mm"]) for row in table_rows("pipes_metric.csv")}))


def wall_mm(od_mm: float, sdr: float) -> Wall:
    """Return the least wall of a PE pipe.

    Parameters
    ----------
    od_mm : float
        Outside diameter [mm]; a size within 0.1 mm of one of the tables is taken as that size.
    sdr : float
        Standard dimension ratio [-], greater than 2.

    Returns
    -------
    Wall
        From the tables (ISO 4065 series, ASTM inch series), else from `wall_by_rule_mm`, then with
        ``computed`` set.

    Raises
    ------
    ValueError
        When no pipe can have these figures.
    """
    if not (math.isfinite(od_mm) and od_mm > 0 and math.isfinite(sdr) and sdr > 2):
        raise ValueError(f"no pipe has an outside diameter of {od_mm} mm and SDR {sdr}")
    for size in (*_metric_od_mm(), *inch_od_mm()):
        if abs(size - od_mm) <= _MATCH_MM:
            row = _walls().get((_micrometres(size), sdr))
            if row is not None:
                return row
    return Wall(wall_by_rule_mm(od_mm, sdr), "pe_walls_rule", computed=True)


def wall_by_rule_mm(od_mm: float, sdr: float) -> float:
    """Return the wall that the rule behind the tables gives [mm].

    Inch sizes: outside diameter over SDR, to the nearest 0.001 in. Others: dn / (2 S + 1) with the exact
    series number S, cut to 0.01 mm, then rounded up to 0.1 mm. Within 0.1 mm of the published metric
    walls from 40 mm upward; smaller pipes have a least wall that no ratio gives.
    """
    if any(abs(size - od_mm) <= _MATCH_MM for size in inch_od_mm()):
        return round(od_mm / MM_PER_INCH / sdr, 3) * MM_PER_INCH
    series = _SERIES_OF_SDR.get(sdr, (sdr - 1.0) / 2.0)
    hundredths = math.floor(od_mm / (2.0 * series + 1.0) * 100.0 + 1e-9)
    return math.ceil(hundredths / 10.0) / 10.0


def least_wall_bore_mm(od_mm: Size, least_wall_mm: Size) -> Size:
    """Return the bore at the least wall, OD - 2 t [mm]; maker's charts give the average one, OD - 2.12 t."""
    return od_mm - 2.0 * least_wall_mm


def _micrometres(size_mm: float) -> int:
    return round(size_mm * 1000.0)


PipeMaterial = Literal["pe", "steel", "iron", ""]
"""What a pipe is made of, as far as sizes go; empty where nobody says."""

SizeFamily = Literal["dn", "inch", "cts"]
"""How a size is named: a DN, an inch size (iron pipe size for PE), or a copper tube size."""

_SAME_OD_MM: Final = 0.15


@dataclass(frozen=True, slots=True)
class NominalSize:
    """What a nominal size stands for.

    Parameters
    ----------
    od_mm : float
        Outside diameter [mm].
    bore_mm : float or None
        NominalSize bore [mm], for steel and iron, whose nominal size is their bore.
    schedule_40_mm : float or None
        Wall of schedule 40 [mm], for inch sizes of steel.
    source_key : str
        Key in `netplan.core.sources`.
    """

    od_mm: float
    bore_mm: float | None
    schedule_40_mm: float | None
    source_key: str


def nominal_size(family: SizeFamily, size: float, material: PipeMaterial) -> NominalSize | None:
    """Return what a nominal size means, or None where the tables do not hold it.

    Parameters
    ----------
    family : str
        How the size is named.
    size : float
        The number: millimetres for a DN [mm], inches for the others [in].
    material : str
        Material; a DN of no known material is not known, because PE and steel differ.
    """
    if family == "cts":
        table = "cts"
    elif material == "":
        return None
    else:
        table = f"{material}_{'dn' if family == 'dn' else 'in'}"
    return _nominal_sizes().get((table, _thousandths(size)))


def is_outside_diameter(od_mm: float, material: PipeMaterial) -> bool:
    """Return whether the tables hold a pipe of that material with this outside diameter [mm]."""
    return any(
        abs(size.od_mm - od_mm) <= _SAME_OD_MM
        for (table, _), size in _nominal_sizes().items()
        if material and table.startswith(material)
    )


@lru_cache(maxsize=1)
def _inch_pipe_names() -> tuple[tuple[float, str], ...]:
    found = {
        float(row["od_mm"]): f"{row['nominal']} in CTS"
        for row in table_rows("pipes_nominal.csv")
        if row["family"] == "cts"
    }
    for row in table_rows("pipes_ips.csv"):
        found[float(row["od_in"]) * MM_PER_INCH] = f"{row['nps_in']} in IPS"
    return tuple(sorted(found.items()))


def inch_pipe_name(od_mm: float) -> str:
    """Return the nominal inch size of an outside diameter [mm], such as ``4 in IPS``; empty for none."""
    return next((name for size, name in _inch_pipe_names() if abs(size - od_mm) <= _SAME_OD_MM), "")


def _inches(text: str) -> float:
    """Read ``4``, ``3/4`` or ``1-1/4`` as the tables write them [in]."""
    whole, _, part = text.rpartition("-")
    top, _, bottom = part.partition("/")
    return float(whole or 0) + float(top) / float(bottom or 1)


@lru_cache(maxsize=1)
def _nominal_sizes() -> dict[tuple[str, int], NominalSize]:
    found: dict[tuple[str, int], NominalSize] = {}
    for row in table_rows("pipes_nominal.csv"):
        family, is_inch = row["family"], not row["family"].endswith("_dn")
        size = _inches(row["nominal"]) if is_inch else float(row["nominal"])
        bore = None if family == "cts" else size * (MM_PER_INCH if is_inch else 1.0)
        wall = float(row["wall_mm"]) if row["wall_mm"] else None
        found[family, _thousandths(size)] = NominalSize(float(row["od_mm"]), bore, wall, row["source"])
    for row in table_rows("pipes_metric.csv"):
        size = float(row["dn_mm"])
        found.setdefault(("pe_dn", _thousandths(size)), NominalSize(size, None, None, row["source"]))
    for row in table_rows("pipes_ips.csv"):
        od = float(row["od_in"]) * MM_PER_INCH
        found.setdefault(
            ("pe_in", _thousandths(_inches(row["nps_in"]))),
            NominalSize(round(od, 4), None, None, row["source"]),
        )
    return found


def _thousandths(size: float) -> int:
    return round(size * 1000.0)

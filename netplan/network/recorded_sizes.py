"""Wall and bore of every pipe from what is recorded: bore before wall before SDR."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import NormalisedTable
from netplan.network.vocabulary import Material
from netplan.reference.pipe_sizes import least_wall_bore_mm, wall_mm

__all__ = ["resolve_sizes"]

_SDR_RANGE: Final = (5.0, 42.0)
_OD_RANGE_MM: Final = (10.0, 2500.0)


def resolve_sizes(table: NormalisedTable, notes: FindingLog) -> tuple[Floats, Floats, Floats]:
    """Return outside diameter, wall and bore of the pipes of a layer [m].

    The bore is OD - 2 × least wall; walls of PE come from the dimension tables. Pipes whose bore cannot
    be had, or is impossible, are errors.
    """
    od, sdr = table.number["od_mm"].copy(), table.number["sdr"]
    wall, bore = table.number["wall_mm"].copy(), table.number["bore_mm"].copy()
    ids, name = table.id, table.name
    odd_od = ~np.isnan(od) & ~((od >= _OD_RANGE_MM[0]) & (od <= _OD_RANGE_MM[1]))
    notes.add_each(
        "impossible-size",
        name,
        ids,
        odd_od,
        Severity.ERROR,
        lambda row: f"outside diameter {od[row]:g} mm is impossible",
        "correct od_mm; it is in millimetres",
    )
    need_wall = np.isnan(wall) & np.isnan(bore)
    odd_sdr = need_wall & ~np.isnan(sdr) & ~((sdr >= _SDR_RANGE[0]) & (sdr <= _SDR_RANGE[1]))
    notes.add_each(
        "impossible-sdr",
        name,
        ids,
        odd_sdr,
        Severity.ERROR,
        lambda row: f"SDR {sdr[row]:g} is impossible",
        "correct the SDR, or give wall_mm",
    )
    from_sdr = need_wall & ~np.isnan(sdr) & ~np.isnan(od) & ~odd_sdr & ~odd_od
    wall[from_sdr] = _walls(table, from_sdr, od, notes)
    wall = np.where(np.isnan(wall) & ~np.isnan(bore) & ~np.isnan(od), (od - bore) / 2.0, wall)
    bore = np.where(np.isnan(bore), least_wall_bore_mm(od, wall), bore)
    faulty = odd_od | odd_sdr
    missing = ~faulty & (np.isnan(od) | np.isnan(bore))
    notes.add_each(
        "missing-size",
        name,
        ids,
        missing,
        Severity.ERROR,
        "outside diameter or wall is not recorded",
        "give od_mm, and one of sdr, wall_mm, bore_mm",
    )
    impossible = ~faulty & ~missing & ~((bore > 0.3 * od) & (bore < od) & (wall > 0))
    notes.add_each(
        "impossible-size",
        name,
        ids,
        impossible,
        Severity.ERROR,
        lambda row: f"outside diameter {od[row]:g} mm and bore {bore[row]:g} mm do not go together",
        "correct od_mm, sdr, wall_mm or bore_mm",
    )
    return od / MM_PER_M, wall / MM_PER_M, bore / MM_PER_M


def _walls(table: NormalisedTable, rows: NDArray[np.bool_], od: Floats, notes: FindingLog) -> Floats:
    where = np.flatnonzero(rows)
    if not len(where):
        return np.zeros(0)
    which, kinds = _kinds(od[where], table.number["sdr"][where])
    walls = [wall_mm(float(size), float(ratio)) for size, ratio in kinds]
    computed = np.array([wall.computed for wall in walls], dtype=bool)[which]
    notes.add_each(
        "computed-wall",
        table.name,
        table.id,
        where[computed],
        Severity.NOTE,
        "the dimension tables do not hold its size and SDR; the wall is computed",
        "give wall_mm if it is known",
    )
    material = table.code["material"][where]
    not_pe = ~np.isin(material, [kind for kind in Material if kind.is_pe])
    notes.add_each(
        "sdr-not-pe",
        table.name,
        table.id,
        where[not_pe],
        Severity.WARNING,
        "has an SDR though it is not PE",
        "give wall_mm or bore_mm",
    )
    return np.asarray(np.array([wall.wall_mm for wall in walls])[which])


def _kinds(od: Floats, sdr: Floats) -> tuple[NDArray[np.int64], list[tuple[float, float]]]:
    """Return the kind of each pair of size and SDR, and the kinds."""
    size, sizes = pd.factorize(od)
    ratio, ratios = pd.factorize(sdr)
    pair, pairs = pd.factorize(size * len(ratios) + ratio)
    return pair, [(sizes[code // len(ratios)], ratios[code % len(ratios)]) for code in pairs.tolist()]

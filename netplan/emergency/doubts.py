"""What is in doubt in the records that an emergency answer rests on, nearest to the hit first."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from netplan.core.findings import Finding, Severity
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.ring_outcome import RingOutcome

__all__ = ["doubts_near"]

MOST_TOLD: Final = 25
"""Doubts told at most (own) [-]."""
NEAR_M: Final = 300.0
"""How far from the hit a doubtful record counts at least (own) [m]."""


def doubts_near(tables: EmergencyTables, hits: Hits, outcomes: Sequence[RingOutcome]) -> tuple[str, ...]:
    """Return findings about the records near what may be hit, nearest first, one line each.

    Parameters
    ----------
    tables : EmergencyTables
    hits : Hits
    outcomes : sequence of RingOutcome
        What the rings do.
    """
    lines = list(_supply_doubts(tables, outcomes))
    near = sorted(_near(tables, hits), key=lambda row: (row[0], row[1].line()))
    for away_m, finding in near[:MOST_TOLD]:
        where = f"{away_m:.0f} m away: " if away_m > 0.0 else ""
        lines.append(where + finding.line())
    if len(near) > MOST_TOLD:
        lines.append(f"and {len(near) - MOST_TOLD} more records in doubt within {NEAR_M:g} m: see check")
    return tuple(lines)


def _near(tables: EmergencyTables, hits: Hits) -> Iterable[tuple[float, Finding]]:
    """Yield the errors and warnings within reach, each with its distance [m]; 0 for those of no place."""
    for finding in tables.network.findings:
        if finding.severity is Severity.NOTE:
            continue
        if finding.x_m is None or finding.y_m is None:
            if finding.severity is Severity.ERROR:
                yield 0.0, finding
            continue
        away_m = min(
            math.hypot(hit.x_m - finding.x_m, hit.y_m - finding.y_m) for hit in (*hits.mains, *hits.services)
        )
        if away_m <= NEAR_M * tables.network.scale:
            yield away_m / tables.network.scale, finding


def _supply_doubts(tables: EmergencyTables, outcomes: Sequence[RingOutcome]) -> Iterable[str]:
    network = tables.network
    for row in np.flatnonzero(network.stations.node < 0).tolist():
        yield f"station {network.stations.id[row]} lies on no main on record: it may feed the hit"
    for row in np.flatnonzero(network.injections.node < 0).tolist():
        yield f"injection {network.injections.id[row]} lies on no main on record: it may feed the hit"
    aside = [network.pipes.id[row] for row in network.set_aside.pipe.tolist()]
    if aside:
        yield f"pipes without a usable size, taken as live: {', '.join(aside)}"
    if outcomes and not any(outcome.off.any() for outcome in outcomes):
        yield "nobody loses gas by these rings on record: check the services"

"""What is in doubt in the records that an emergency answer rests on, nearest to the hit first."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.findings import Finding, Severity
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.ring_outcome import RingOutcome

__all__ = ["doubts_near"]

MOST_TOLD: Final = 25
"""Doubts told at most (own) [-]."""
MOST_NAMED: Final = 20
"""Pipes that one line names (own) [-]."""
SAME_PLACE_M: Final = 0.05
"""Nodes that lie in one square of this width are at one place (own) [m]."""
NEAR_M: Final = 300.0
"""How far from the hit a doubtful record counts at least (own) [m]."""


PLACELESS: Final = frozenset({"no-place", "layer-absent", "missing-layer"})
"""Warnings without a place that an emergency rests on."""


def doubts_near(tables: EmergencyTables, hits: Hits, outcomes: Sequence[RingOutcome]) -> tuple[str, ...]:
    """Return findings about the records near what may be hit, nearest first, one line each.

    Parameters
    ----------
    tables : EmergencyTables
    hits : Hits
    outcomes : sequence of RingOutcome
        What the rings do.
    """
    lines = list(_supply_doubts(tables, hits, outcomes))
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
            if finding.severity is Severity.ERROR or finding.code in PLACELESS:
                yield 0.0, finding
            continue
        away_m = min(
            math.hypot(hit.x_m - finding.x_m, hit.y_m - finding.y_m) for hit in (*hits.mains, *hits.services)
        )
        if away_m <= NEAR_M * tables.network.scale:
            yield away_m / tables.network.scale, finding


def _unsized(tables: EmergencyTables, hits: Hits) -> Iterator[str]:
    """Yield a line about the pipes without a size, nearest first."""
    network = tables.network
    rows = network.set_aside.pipe.astype(np.int64)
    if not len(rows):
        return
    pipes = network.pipes
    first = pipes.coords_m[pipes.coord_start[rows]]
    order = np.argsort(_least_away_m(hits, first[:, 0], first[:, 1]), kind="stable")
    named = [pipes.id[row] for row in rows[order[:MOST_NAMED]].tolist()]
    more = f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    yield f"pipes without a usable size, taken as live, no stop but a valve on them: {', '.join(named)}{more}"


def _other_systems(tables: EmergencyTables, hits: Hits) -> Iterator[str]:
    """Yield a line for each place near the hits where nodes of two systems lie on each other."""
    network = tables.network
    nodes = network.nodes
    if len(network.systems) < 2:
        return
    near = np.flatnonzero(_least_away_m(hits, nodes.x_m, nodes.y_m) <= NEAR_M * network.scale)
    cell = np.round(np.column_stack([nodes.x_m[near], nodes.y_m[near]]) / SAME_PLACE_M).astype(np.int64)
    met: dict[tuple[int, int], int] = {}
    told: set[tuple[str, str]] = set()
    for at, node in zip(map(tuple, cell.tolist()), near.tolist(), strict=True):
        one, two = nodes.system.item(met.setdefault(at, node)), nodes.system.item(node)
        names = (network.systems[min(one, two)], network.systems[max(one, two)])
        if one != two and names not in told:
            told.add(names)
            yield (
                f"pipes of systems {names[0]} and {names[1]} meet near the hit and are taken as not joined: "
                "if a record names the wrong system, gas passes there"
            )


def _least_away_m(hits: Hits, x_m: Floats, y_m: Floats) -> Floats:
    """Return how far places lie from the nearest hit, in the working CRS [m]."""
    away = [np.hypot(x_m - hit.x_m, y_m - hit.y_m) for hit in (*hits.mains, *hits.services)]
    return np.asarray(np.min(away, axis=0), dtype=np.float64)


def _supply_doubts(tables: EmergencyTables, hits: Hits, outcomes: Sequence[RingOutcome]) -> Iterable[str]:
    network = tables.network
    for row in np.flatnonzero(network.stations.node < 0).tolist():
        yield f"station {network.stations.id[row]} lies on no main on record: it may feed the hit"
    for row in np.flatnonzero(network.injections.node < 0).tolist():
        yield f"injection {network.injections.id[row]} lies on no main on record: it may feed the hit"
    yield from _unsized(tables, hits)
    yield from _other_systems(tables, hits)
    if outcomes and not any(outcome.off.any() for outcome in outcomes):
        yield "nobody loses gas by these rings on record: check the services"

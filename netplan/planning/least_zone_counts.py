"""What a zone adds to the day at least, told from its lengths of pipe alone: nothing is solved for it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.gas import least_flow_m3_per_s, natural_gas_figures_hold
from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut, CutStop, CutZone
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.zone_lengths import SAME_M
from netplan.procedure.hours_by_counts import BranchMinutes, ZoneCounts

__all__ = ["least_zones"]

ROUNDING_MIN = 0.1
"""More than rounding takes from the time of one branch (own) [min]."""
ROUNDING_M3 = 1e-3
"""More than rounding takes from the volume of a zone (own) [m³]."""


_End = tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class _Main:
    """A length of main in a zone: what it ends at, its volume [m³ actual] and bore [m]."""

    ends: tuple[_End, _End]
    volume_m3: float
    bore_m: float


def least_zones(context: PlanningContext, cut: Cut, reach: CutConnectivity) -> tuple[ZoneCounts, ...]:
    """Return counts that no order of work undercuts in the zones of a cut.

    Ends of branches are all there. Where no stop has gas behind it without a feed, or customers were too weak
    before any stop so that pressures are not known to hold, nothing is taken to be purged in.
    """
    with_gas = {end for stop in cut.stops if reach.fed[stop.live_node] for end in _ends_of(stop)}
    if context.weak_before.any():
        with_gas = set()
    return tuple(_least_zone(context, zone, with_gas) for zone in cut.zones)


def _ends_of(stop: CutStop) -> tuple[_End, ...]:
    """Return what a length of main in the zone may end at where it ends at a stop."""
    own = ("stop", stop.piece, 1 if stop.work_side == "from" else 0)
    return (own,) if stop.zone_node < 0 else (own, ("node", stop.zone_node, 0))


def _least_zone(context: PlanningContext, zone: CutZone, with_gas: set[_End]) -> ZoneCounts:
    pieces, pipes = context.request.network.pieces, context.request.network.pipes
    mains: list[_Main] = []
    services: set[int] = set()
    volume = 0.0
    for part in zone.pieces:
        row, pipe = part.piece, int(pieces.pipe[part.piece])
        if not pieces.is_open[row]:
            continue
        bore = float(pipes.bore_m[pipe])
        own = (part.to_m - part.from_m) * math.pi / 4.0 * bore**2
        volume += own
        if pipe >= pipes.n_mains:
            services.add(pipe)
            continue
        ends: tuple[_End, _End] = (
            ("node", int(pieces.from_node[row]), 0)
            if part.from_m <= float(pieces.from_m[row]) + SAME_M
            else ("stop", row, 0),
            ("node", int(pieces.to_node[row]), 0)
            if part.to_m >= float(pieces.to_m[row]) - SAME_M
            else ("stop", row, 1),
        )
        mains.append(_Main(ends, own, bore))
    return ZoneCounts(
        volume_m3=max(volume - ROUNDING_M3, 0.0),
        services=len(services),
        branches=tuple(branch for part in _components(mains) for branch in _branches(context, part, with_gas))
        or (BranchMinutes(has_gas=False),),
    )


def _components(mains: Sequence[_Main]) -> list[list[_Main]]:
    if not mains:
        return []
    number: dict[_End, int] = {}
    links = np.array([[number.setdefault(end, len(number)) for end in one.ends] for one in mains])
    labels, count = component_labels(len(number), links[:, 0], links[:, 1])
    parts: list[list[_Main]] = [[] for _ in range(count)]
    for one, label in zip(mains, labels[links[:, 0]].tolist(), strict=True):
        parts[label].append(one)
    return parts


def _branches(context: PlanningContext, mains: Sequence[_Main], with_gas: set[_End]) -> list[BranchMinutes]:
    """Return a branch for every end but the one that is purged from, and for every loop."""
    degree = Counter(end for one in mains for end in one.ends)
    leaves = sum(count == 1 for count in degree.values())
    loops = len(mains) - len(degree) + 1
    count = max(leaves - 1, 0) + loops if leaves else 0
    if not count or with_gas.isdisjoint(degree):
        return [BranchMinutes(has_gas=False)] * count
    gas, purge = context.gas, context.request.rules.purge
    minutes = 0.0
    if natural_gas_figures_hold(gas):
        # No leg is purged faster than the widest main takes, twice that where a loop fills from both sides.
        flow = (2 if loops else 1) * least_flow_m3_per_s(max(one.bore_m for one in mains), gas)
        volume = sum(one.volume_m3 for one in mains)
        minutes = purge.volumes_out * volume / flow / SECONDS_PER_MINUTE - count * ROUNDING_MIN
    return [BranchMinutes(out=max(minutes, 0.0)), *[BranchMinutes()] * (count - 1)]

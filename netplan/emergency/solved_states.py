"""The states of the network while a ring closes: who falls below the minimum outside it, and in which."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.emergency.answer_records import RecordedRing
from netplan.emergency.solved_network import HitNetwork, SolvedState
from netplan.hydraulics import PartStatus
from netplan.planfile import emergency_answer as model
from netplan.planning.subnetwork_context import SubnetworkContext
from netplan.planning.work_states import ROUNDING_PA

__all__ = ["MOST_HITS", "ClosingRing", "closing_ring"]

FALLS_PA: Final = 100.0
"""An inlet below its minimum before any hit counts as off once it falls by this much more (own) [Pa]."""
MOST_HITS: Final = 4
"""Places that may be hit that are opened one by one, the nearest first (own) [-]."""
MOST_STATES: Final = 60
"""States solved for one ring at most (own) [-]."""
UNKNOWN: Final = (PartStatus.NOT_CONVERGED, PartStatus.SENSING_CUT_OFF, PartStatus.GAS_NOT_TAKEN)


@dataclass(slots=True, eq=False)
class ClosingRing:
    """What was solved of a ring.

    Parameters
    ----------
    states : list of SolvedRingState
        In the order of shutting.
    weak : dict of int to (str, float)
        For each customer of the whole network that falls below its minimum outside the ring: the state in
        which it is lowest, and its inlet there [Pa gauge]; NaN without gas.
    low : bool array, shape (nodes here,)
        Nodes that lie below the minimum in some state, or have no gas in it.
    open_first : list of float or None
        What escapes at full bore of each hit before any stop [m³/s at 15 °C, 101.325 kPa].
    not_solved : list of str
        What has no solution, in lines.
    """

    low: Flags
    states: list[model.SolvedRingState] = field(default_factory=list)
    weak: dict[int, tuple[str, float]] = field(default_factory=dict)
    open_first: list[float | None] = field(default_factory=list)
    not_solved: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A state to solve: how many stops are shut, and which hit is open."""

    stops: int
    hit: int
    is_shut: bool


def closing_ring(hit_network: HitNetwork, recorded: RecordedRing) -> ClosingRing:
    """Return the states of a ring: before any stop, after each of them, and shut with its stations.

    The hit stands open to the air at full bore until the ring is shut; of several hits one at a time.

    Parameters
    ----------
    hit_network : HitNetwork
    recorded : RecordedRing
        With the order of its stops.

    Raises
    ------
    BoundaryAffectedError
        When the ring is felt beyond the subnetwork.
    """
    found = ClosingRing(np.zeros(len(hit_network.context.request.network.nodes), dtype=np.bool_))
    stops = [recorded.chosen.cut.stops[one.row] for one in recorded.chosen.order]
    wanted, left_out = _wanted(len(stops), min(len(hit_network.hits), MOST_HITS), bool(_supplies(recorded)))
    if left_out:
        found.not_solved.append(f"{left_out} of the states between are left out: too many to solve")
    beyond = hit_network.hits[MOST_HITS:]
    if beyond:
        names = ", ".join(_pipe_name(hit_network, hit.pipe) for hit in beyond)
        found.not_solved.append(f"with gas escaping at {names}: only the nearest {MOST_HITS} are solved")
    off = hit_network.customers_here(recorded.outcome.off)
    inlets = _Inlets(hit_network, off)
    warm: SolvedState | None = None
    for one in wanted:
        shut = stops[: one.stops]
        if one.is_shut:
            stations = _stations_here(hit_network, recorded.outcome.stations)
            state = hit_network.solve(
                shut, range(len(hit_network.hits)), gone=off, stations_shut=stations, warm=warm
            )
        else:
            state = hit_network.solve(shut, [one.hit], warm=warm)
        warm = state
        name = _name(hit_network, recorded, one)
        _judge(found, hit_network, inlets, state, one, name, recorded.ring.stops[: one.stops])
    return found


def _supplies(recorded: RecordedRing) -> int:
    return len(recorded.outcome.stations) + len(recorded.outcome.injections)


def _wanted(stops: int, hits: int, has_supplies: bool) -> tuple[list[_Wanted], int]:
    """Return the states to solve, and how many between the first and the last are left out."""
    counts = list(range(stops + 1 if has_supplies else max(stops, 1)))
    most = max(MOST_STATES // hits, 2)
    kept = counts
    if len(counts) > most:
        kept = sorted({counts[place] for place in np.linspace(0, len(counts) - 1, most).round().astype(int)})
    wanted = [_Wanted(count, hit, is_shut=False) for count in kept for hit in range(hits)]
    return [*wanted, _Wanted(stops, 0, is_shut=True)], (len(counts) - len(kept)) * hits


def _name(hit_network: HitNetwork, recorded: RecordedRing, one: _Wanted) -> str:
    ring = recorded.ring
    if one.is_shut:
        return "ring shut with its stations" if ring.stations_to_shut else "ring shut"
    name = "before any stop"
    if one.stops:
        stop = ring.stops[one.stops - 1]
        name = f"after stop {stop.n} ({_stop_name(stop)})"
        if one.stops == len(ring.stops):
            name += ", stations still on"
    if len(hit_network.hits) > 1:
        name += f", gas escaping at {_pipe_name(hit_network, hit_network.hits[one.hit].pipe)}"
    return name


def _stop_name(stop: model.RingStop) -> str:
    return stop.valve_id or f"{stop.main_id} {stop.chainage_m:.1f} m"


def _pipe_name(hit_network: HitNetwork, pipe: int) -> str:
    return hit_network.context.request.network.pipes.id[hit_network.pipe_here(pipe)]


def _stations_here(hit_network: HitNetwork, rows: Ints) -> Ints:
    """Return stations of the whole network as rows here, those that lie elsewhere left out."""
    context = hit_network.context
    if not isinstance(context, SubnetworkContext):
        return rows
    return np.flatnonzero(np.isin(context.subnetwork.rows.station, rows))


class _Inlets:
    """The meter inlets outside a ring, as they were before any stop."""

    def __init__(self, hit_network: HitNetwork, off: Flags) -> None:
        context = hit_network.context
        owner, at = context.attachments
        rows = np.flatnonzero(~off[owner] & context.fed_before[at])
        self.owner, self.at = owner[rows], at[rows]
        self.required_pa_gauge = context.required_pa_gauge
        before = hit_network.before
        pressure = np.where(before.starved[self.at], np.nan, before.pressure_pa_gauge[self.at])
        self.was_weak = ~(pressure >= self.required_pa_gauge)
        self.before_pa_gauge: Floats = np.nan_to_num(pressure, nan=0.0)


def _judge(
    found: ClosingRing,
    hit_network: HitNetwork,
    inlets: _Inlets,
    state: SolvedState,
    one: _Wanted,
    name: str,
    shut: Sequence[model.RingStop],
) -> None:
    """Add what a state does."""
    at, pressure = inlets.at, state.pressure_pa_gauge[inlets.at]
    unknown = np.isnan(pressure) & state.has_status(at, *UNKNOWN)
    dry = state.starved[at] | (np.isnan(pressure) & ~unknown)
    below = dry | (pressure < inlets.required_pa_gauge - ROUNDING_PA)
    fell = inlets.before_pa_gauge - np.where(dry, 0.0, pressure) >= FALLS_PA
    counted = below & (~inlets.was_weak | fell)
    _keep_lowest(found, hit_network, inlets, np.flatnonzero(counted), np.where(dry, np.nan, pressure), name)
    nodes, known = state.pressure_pa_gauge[: len(found.low)], hit_network.context.fed_before
    is_low = state.starved[: len(found.low)] | ~(nodes >= inlets.required_pa_gauge - ROUNDING_PA)
    found.low |= np.asarray(is_low & known & state.reach.fed, dtype=np.bool_)
    has_gas = ~dry & ~unknown
    least = float(pressure[has_gas].min(initial=np.inf))
    escaping = None if one.is_shut else state.escaping[one.hit]
    if not one.stops and not one.is_shut:
        found.open_first.append(escaping)
    found.states.append(
        model.SolvedRingState(
            name=name,
            shut=tuple(_stop_name(stop) for stop in shut),
            escape_m3h=None if escaping is None else escaping * SECONDS_PER_HOUR,
            least_mbar=None if np.isinf(least) else least / PA_PER_MBAR,
            below_minimum=len(np.unique(inlets.owner[below])),
            stations_full_flow=hit_network.full_flow(state),
        )
    )
    found.not_solved += _without_solution(hit_network, state, at, name)


def _keep_lowest(
    found: ClosingRing, hit_network: HitNetwork, inlets: _Inlets, rows: Ints, pressure: Floats, name: str
) -> None:
    """Keep of each customer the state in which it is lowest; without gas is lower than any pressure."""
    who = hit_network.customer_rows(inlets.owner[rows])
    for row, at_pa in zip(who.tolist(), pressure[rows].tolist(), strict=True):
        known = found.weak.get(row)
        if known is None or (not np.isnan(known[1]) and (np.isnan(at_pa) or at_pa < known[1])):
            found.weak[row] = (name, at_pa)


def _without_solution(hit_network: HitNetwork, state: SolvedState, at: Ints, name: str) -> Iterator[str]:
    """Yield a line for each part with meters outside the ring that has no solution."""
    stations = hit_network.context.request.network.stations
    flow, used = state.flow, set(state.flow.node_part[at].tolist())
    for part, status in enumerate(flow.part_status):
        if status is PartStatus.SOLVED or part not in used:
            continue
        fed_by = [
            stations.id[row]
            for row, node in zip(
                hit_network.stations_placed.tolist(), hit_network.flow.station_node.tolist(), strict=False
            )
            if flow.node_part[node] == part
        ]
        by = f"the part fed by {', '.join(fed_by[:5])}" if fed_by else "a part without a station"
        yield f"{name}: {by}: {_REASON[status]}"


_REASON: Final = {
    PartStatus.NO_SOURCE: "no station feeds it; its meters count as off",
    PartStatus.DEMAND_NOT_MET: "its stations cannot meet the demand; all of its meters count as off",
    PartStatus.GAS_NOT_TAKEN: "more gas is put in than drawn; who falls below minimum there is not known",
    PartStatus.SENSING_CUT_OFF: "a station is cut off from where it senses and opens fully; who falls "
    "below minimum there is not known",
    PartStatus.NOT_CONVERGED: "no solution was found; who falls below minimum there is not known",
}

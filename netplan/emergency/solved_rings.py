"""Pressures while a ring closes, added to the first answer: who falls weak, and what a feed could keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import NetplanError
from netplan.emergency.answer_records import RecordedRing, RingKind, customers_of, customers_on, notified
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.next_rings import EmergencyRequest, least_rings
from netplan.emergency.solved_escape import solved_escape
from netplan.emergency.solved_feed_lines import feed_lines
from netplan.emergency.solved_network import HitNetwork
from netplan.emergency.solved_states import ClosingRing, closing_ring
from netplan.network.model import Customers
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planfile import emergency_answer as model
from netplan.planning.context import PlanningContext
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_context import SubnetworkContext, contexts_around

__all__ = ["solved_answer"]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """What was solved of the rings of least minutes, and the network it was solved in."""

    hit_network: HitNetwork
    closing: tuple[ClosingRing, ...]
    escape: tuple[model.EscapeRange, ...]


def solved_answer(
    tables: EmergencyTables,
    hits: Hits,
    request: EmergencyRequest,
    answer: model.EmergencyAnswer,
    *,
    at: datetime,
    air_temp_c: float | None = None,
) -> model.EmergencyAnswer:
    """Return a first answer with pressures: states of each ring, who falls weak, gas escaping as solved.

    Parameters
    ----------
    tables, hits, request
        As the first answer was made of.
    answer : EmergencyAnswer
    at : datetime
        Local time whose full hour's demand is taken.
    air_temp_c : float, optional
        Air temperature then; the rules' design temperature without it [°C].

    Notes
    -----
    Solved in the subnetwork round the hit while nothing is felt at its boundary, else in the whole network.
    Two kinds of ring that are the same stops are solved once.
    """
    recorded = [one.recorded for one in least_rings(tables, hits, request)]
    different = [one for place, one in enumerate(recorded) if _twin(recorded, place) == place]
    plan_request = PlanRequest(
        tables.network,
        (),
        tables.rules,
        start=at.replace(minute=0, second=0, microsecond=0, tzinfo=None),
        hours=1.0,
        air_temp_c=air_temp_c,
    )
    why = ""
    try:
        context = PlanningContext.for_request(plan_request)
        solved = _solved(tables, context, hits, different)
    except NetplanError as error:
        why = str(error)
    if why:
        unsolved = tuple(_unsolved(one.ring.kind, why) for one in recorded)
        log = (*answer.log, _entry(answer, unsolved))
        return answer.model_copy(update={"solved": unsolved, "log": log})
    of_kind = {one.ring.kind: ring for one, ring in zip(different, solved.closing, strict=True)}
    rings: list[model.SolvedRing] = []
    weak: dict[RingKind, Ints] = {}
    for place, one in enumerate(recorded):
        twin = recorded[_twin(recorded, place)].ring.kind
        closing = of_kind[twin]
        weak[one.ring.kind] = np.array(sorted(closing.weak), dtype=np.int64)
        rings.append(_solved_ring(tables, solved.hit_network, one, closing))
    return _with_pressures(tables, hits, answer, recorded, tuple(rings), weak, solved, context)


def _twin(recorded: Sequence[RecordedRing], place: int) -> int:
    """Return the place of the first ring that shuts the same as another."""
    keys = [
        (one.chosen.cut.stops, [stop.row for stop in one.chosen.order], one.ring.stations_to_shut)
        for one in recorded
    ]
    return keys.index(keys[place])


def _solved(
    tables: EmergencyTables, context: PlanningContext, hits: Hits, rings: Sequence[RecordedRing]
) -> _Solved:
    places = [(hit.x_m, hit.y_m) for hit in hits.mains]
    places += [(stop.x, stop.y) for ring in rings for stop in ring.ring.stops]
    xy_m: Floats = np.array(places, dtype=np.float64).reshape(-1, 2)
    for near in contexts_around(context, xy_m):
        try:
            hit_network = HitNetwork(near, hits.mains)
            closing = tuple(closing_ring(hit_network, ring) for ring in rings)
            return _Solved(
                hit_network, closing, solved_escape(hit_network, tables.rules, closing[0].open_first)
            )
        except BoundaryAffectedError:
            continue
    raise AssertionError("the whole network has no boundary")


def _solved_ring(
    tables: EmergencyTables, hit_network: HitNetwork, recorded: RecordedRing, closing: ClosingRing
) -> model.SolvedRing:
    customers = tables.network.customers
    rows = sorted(closing.weak, key=lambda row: (not customers.priority[row], customers.id[row]))
    weak = np.array(sorted(closing.weak), dtype=np.int64)
    return model.SolvedRing(
        kind=recorded.ring.kind,
        states=tuple(closing.states),
        weak=tuple(
            model.WeakMeter(
                customer_id=customers.id[row],
                state=closing.weak[row][0],
                pressure_mbar=_mbar(closing.weak[row][1]),
            )
            for row in rows
        ),
        meters_weak=int(customers.meters[weak].sum()),
        may_be_fed=feed_lines(tables, recorded, weak, _in_whole(tables, hit_network, closing.low)),
        not_solved="; ".join(dict.fromkeys(closing.not_solved)),
    )


def _mbar(pressure_pa: float) -> float | None:
    return None if np.isnan(pressure_pa) else pressure_pa / PA_PER_MBAR


def _in_whole(tables: EmergencyTables, hit_network: HitNetwork, low: Flags) -> Flags:
    """Return flags of nodes of the network that was solved as those of the whole."""
    context = hit_network.context
    if not isinstance(context, SubnetworkContext):
        return low
    whole = np.zeros(len(tables.network.nodes), dtype=np.bool_)
    whole[context.subnetwork.rows.node[low]] = True
    return whole


def _unsolved(kind: RingKind, why: str) -> model.SolvedRing:
    return model.SolvedRing(
        kind=kind, states=(), weak=(), meters_weak=0, may_be_fed=(), not_solved=f"no pressures: {why}"
    )


def _with_pressures(
    tables: EmergencyTables,
    hits: Hits,
    answer: model.EmergencyAnswer,
    recorded: Sequence[RecordedRing],
    solved: tuple[model.SolvedRing, ...],
    weak: dict[RingKind, Ints],
    found: _Solved,
    context: PlanningContext,
) -> model.EmergencyAnswer:
    """Return the answer with its rings, lists and thresholds as they are with the weak meters off too."""
    network = tables.network
    least = {one.ring.kind: _with_weak(network.customers, one.ring, weak[one.ring.kind]) for one in recorded}
    meters = {kind: ring.meters for kind, ring in least.items()}
    own = {row.main_id: row for row in found.escape}
    return answer.model_copy(
        update={
            "rings": tuple(
                least[ring.kind] if ring.aim == "least minutes" else ring for ring in answer.rings
            ),
            "customers": customers_of(network, recorded, customers_on(network, hits.services), weak),
            "notify": notified(tables, meters),
            "escape": tuple(own.get(row.main_id, row) for row in answer.escape),
            "solved": solved,
            "conditions": _conditions(context),
            "log": (*answer.log, _entry(answer, solved)),
        }
    )


def _with_weak(customers: Customers, ring: model.Ring, weak: Ints) -> model.Ring:
    """Return a ring with the meters outside it that fall weak counted as off."""
    names = [customers.id[row] for row in weak.tolist()]
    first = [name for name, row in zip(names, weak.tolist(), strict=True) if customers.priority[row]]
    return ring.model_copy(
        update={
            "customers_off": (*ring.customers_off, *names),
            "priority": (*ring.priority, *first),
            "meters": ring.meters + int(customers.meters[weak].sum()),
        }
    )


def _conditions(context: PlanningContext) -> model.SolvedConditions:
    rules, hour = context.request.rules, context.demand.hours[context.hours[0]]
    return model.SolvedConditions(
        hour=hour.words(),
        air_temp_c=hour.air_temp_c,
        is_design_temperature=context.request.air_temp_c is None,
        ground_temp_c=rules.gas.ground_temp_c,
        demand_total_m3h=float(context.before_flow_m3_per_s_std.sum()) * SECONDS_PER_HOUR,
        required_mbar=context.required_pa_gauge / PA_PER_MBAR,
    )


def _entry(answer: model.EmergencyAnswer, rings: Sequence[model.SolvedRing]) -> model.LogEntry:
    words = [
        f"{ring.kind}: {ring.not_solved}"
        if not ring.states
        else f"{ring.kind}: {len(ring.states)} states, {ring.meters_weak} meters weak outside"
        for ring in rings
    ]
    return model.LogEntry(
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        revision=answer.revision,
        what=f"pressures solved; {'; '.join(words)}",
    )

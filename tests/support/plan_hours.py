"""How long the work of a cut takes, added up anew for the plan oracle from the table of durations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from netplan.rules.rule_set import Rules

__all__ = ["PurgedBranch", "WorkToDo", "is_done_in_time", "least_work"]

START_MIN = 7 * 60
AIR_MBAR, PILOT_L_MIN, LONGEST_WATCH_MIN = 1013.25, 0.4, 30.0


@dataclass(frozen=True)
class PurgedBranch:
    """Minutes of a branch's purge out and in; whether nitrogen goes ahead, and whether gas comes at all."""

    out: float
    into: float
    nitrogen: bool
    gas: bool


@dataclass(frozen=True)
class WorkToDo:
    """What has to be done on the day, in one zone.

    Parameters
    ----------
    methods : sequence of str
        Of the stops.
    hoses, valves, meters, services : int
    volume_m3 : float
    stranded : bool
        Whether somebody beyond the zone is off.
    branches : sequence of PurgedBranch
    """

    methods: Sequence[str]
    hoses: int
    valves: int
    meters: int
    services: int
    volume_m3: float
    stranded: bool
    branches: Sequence[PurgedBranch]


def least_work(methods: Sequence[str], meters: int, *, hoses: int = 0, valves: int = 0) -> WorkToDo:
    """Return the least there is to do with some stops, meters off and feeds, whatever the zone holds."""
    nothing = PurgedBranch(0.0, 0.0, nitrogen=False, gas=False)
    return WorkToDo(methods, hoses, valves, meters, 0, 0.0, stranded=False, branches=[nothing])


def _gas_back_min(work: WorkToDo, rules: Rules) -> float:
    take, crew = rules.duration, rules.crew
    minutes = {method.name: (method.minutes, method.barriers) for method in rules.method}
    stops = [minutes[name] for name in work.methods]
    double = sum(barriers == 2 for _, barriers in stops)
    feeds = work.hoses * (take.bypass_purge + take.bypass_open) + work.valves * take.open_valve
    proofs = math.ceil(len(stops) / crew.stop_crews) * take.prove
    total = take.briefing + take.baseline + max(feeds, proofs)
    if work.meters:
        total += math.ceil(work.meters / crew.meter_fitters) * take.door + take.tally
    total += sum(own for own, _ in stops)
    # A leak of a pilot has to show on a gauge that is read to a fifth, against an error on either side.
    litres = 1000.0 * round(work.volume_m3, 3)
    fall_mbar = 2.0 * rules.gauge.error_mbar / rules.let_by.resolution_share
    watched = min(max(fall_mbar * litres / (AIR_MBAR * PILOT_L_MIN), take.let_by), LONGEST_WATCH_MIN)
    total += round(take.settle + watched, 1) + take.vent + take.let_by
    total += double * (3 * take.vent + 2 * take.let_by)
    total += sum(take.purge_branch + round(branch.out, 1) for branch in work.branches)
    total += math.ceil(work.services / crew.meter_fitters) * take.door
    total += take.gas_free + take.cut_and_fit + take.joint + take.tie_in_test + take.vent + take.tally
    total += sum(take.purge_branch + round(branch.out, 1) for branch in work.branches if branch.nitrogen)
    if all(branch.gas for branch in work.branches):
        total += sum(take.purge_branch + round(branch.into, 1) for branch in work.branches)
        total += take.settle + take.tie_in_test
    else:
        total += sum(take.purge_branch + round(branch.out, 1) for branch in work.branches if not branch.gas)
    total += take.tally if work.stranded else 0.0
    total += len(stops) * (take.vent + take.withdraw) + double * (2 * take.vent + take.withdraw)
    return total + take.through_flow


def is_done_in_time(work: WorkToDo, rules: Rules, hours: float) -> bool:
    """Return whether gas is back in the window, and the last meter on, with the overrun, by the day's end."""
    back = _gas_back_min(work, rules)
    hour, minute = (int(part) for part in rules.crew.day_end.split(":"))
    on = back + 60.0 * work.meters / rules.crew.relights_per_hour
    return (
        back <= 60.0 * hours + 1e-6 and rules.duration.overrun * on <= 60 * hour + minute - START_MIN + 1e-6
    )

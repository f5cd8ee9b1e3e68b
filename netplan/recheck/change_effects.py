"""What one changed record does by itself: the plan solved with that record as it was, all others as today."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import in_brief
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category, Operable, ValveState
from netplan.planfile import SolvedState
from netplan.planning.request import PlanRequest
from netplan.recheck.found_change import FoundChange
from netplan.recheck.issued_plan import IssuedPlan
from netplan.recheck.told_and_today import ToldAndToday, told_and_today

__all__ = ["effects_alone"]

MOST_TRIED: Final = 6
"""Changes solved one by one, the nearest to the work first (own) [-]."""
MOST_NODES: Final = 200_000
"""Nodes of a network beyond which none is: each takes a solution of all of it (own) [-]."""


def effects_alone(
    issued: IssuedPlan,
    request: PlanRequest,
    found: ToldAndToday,
    changes: Sequence[FoundChange],
    tell: Callable[[str], None],
) -> dict[tuple[str, str], str]:
    """Return in words what would be so without each change, by layer and id.

    A valve's state, sizes of pipes, figures of stations and columns of customers are put back one at a time;
    what is new, gone or moved is not.

    Parameters
    ----------
    issued : IssuedPlan
    request : PlanRequest
        Today's.
    found : ToldAndToday
        With all changes in.
    changes : sequence of FoundChange
        Nearest first.
    tell : callable
        Called with a few words on what is being done.
    """
    network = request.network
    if len(network.nodes) > MOST_NODES or not found.today.conditions:
        return {}
    answers: dict[tuple[str, str], str] = {}
    for change in changes:
        if len(answers) == MOST_TRIED:
            break
        before = _as_it_was(network, issued.state, change)
        if before is None:
            continue
        tell(f"solving without the change of {change.layer} {change.feature_id}")
        without = told_and_today(issued, replace(request, network=before), lambda _: None)
        answers[change.key] = _words(found, without)
    return answers


def _words(found: ToldAndToday, without: ToldAndToday) -> str:
    if not without.against:
        return "without it the plan would hold"
    gone = [one for one in found.against if one not in without.against]
    if not gone:
        return "by itself it changes nothing that the papers say"
    more = f", and {len(gone) - 1} more" if len(gone) > 1 else ""
    return f"without it this would not be so: {in_brief(gone[0].what)}{more}"


def _as_it_was(network: Network, state: SolvedState, change: FoundChange) -> Network | None:
    """Return today's network with one record as it was; None where that cannot be put back."""
    if not change.is_figure:
        return None
    name = change.feature_id
    if change.layer == "valves":
        return _valve(network, network.valves.id.find(name), change.what)
    if change.layer == "regulators":
        return _station(network, state, network.stations.id.find(name), name)
    if change.layer == "customers":
        return _customer(network, state, network.customers.id.find(name), name)
    return _pipe(network, state, change)


def _put(values: NDArray[Any], row: int, value: Any) -> NDArray[Any]:
    changed = values.copy()
    changed[row] = value
    return changed


def _valve(network: Network, row: int, what: str) -> Network:
    valves, pieces, piece = network.valves, network.pieces, int(network.valves.piece[row])
    if "operable" in what:
        valves = replace(valves, operable=_put(valves.operable, row, int(Operable.YES)))
    for now, was in ((ValveState.OPEN, ValveState.CLOSED), (ValveState.CLOSED, ValveState.OPEN)):
        if f"{now.word} instead of {was.word}" in what:
            valves = replace(valves, state=_put(valves.state, row, int(was)))
            is_open = was is ValveState.OPEN
            pieces = replace(pieces, is_open=_put(pieces.is_open, piece, is_open))
    return replace(network, valves=valves, pieces=pieces)


def _station(network: Network, state: SolvedState, row: int, name: str) -> Network:
    stations, before = network.stations, state.stations
    old = list(before.station_id).index(name)
    return replace(
        network,
        stations=replace(
            stations,
            outlet_pa_gauge=_put(stations.outlet_pa_gauge, row, before.outlet_mbar[old] * PA_PER_MBAR),
            max_outlet_pa_gauge=_put(
                stations.max_outlet_pa_gauge, row, before.max_outlet_mbar[old] * PA_PER_MBAR
            ),
            capacity_m3_per_s_std=_put(
                stations.capacity_m3_per_s_std, row, before.capacity_m3h[old] / SECONDS_PER_HOUR
            ),
        ),
    )


def _customer(network: Network, state: SolvedState, row: int, name: str) -> Network:
    customers, before = network.customers, state.customers
    old = list(before.customer_id).index(name)
    priority = list(customers.priority)
    priority[row] = before.priority[old]
    category = list(Category.words()).index(before.category[old])
    return replace(
        network,
        customers=replace(
            customers,
            priority=TextColumn(priority),
            category=_put(customers.category, row, category),
            meters=_put(customers.meters, row, int(before.meters[old])),
            annual_kwh=_put(customers.annual_kwh, row, before.annual_kwh[old]),
            peak_kw=_put(customers.peak_kw, row, before.peak_kw[old]),
        ),
    )


def _pipe(network: Network, state: SolvedState, change: FoundChange) -> Network | None:
    pipes = network.pipes
    is_main = change.layer == "mains"
    row = pipes.id.find(change.feature_id, *((0, pipes.n_mains) if is_main else (pipes.n_mains,)))
    old = state.pipes.rows_of(change.feature_id, is_main=is_main)
    if row < 0 or not len(old):
        return None
    od_m, bore_m = (float(column[old[0]]) / MM_PER_M for column in (state.pipes.od_mm, state.pipes.bore_mm))
    wall_m = (od_m - bore_m) / 2.0
    return replace(
        network,
        pipes=replace(
            pipes,
            od_m=_put(pipes.od_m, row, od_m),
            bore_m=_put(pipes.bore_m, row, bore_m),
            wall_m=_put(pipes.wall_m, row, wall_m),
            sdr=_put(pipes.sdr, row, np.nan),
        ),
    )

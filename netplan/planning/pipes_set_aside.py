"""A plan with pipes taken as not live, proven against the plans with them live, or refused.

The plan is made three times: with these pipes not live, and live in the least and in the greatest size of
their kind. It stands where lists, stops and feeds are the same each time and pressures at the work about so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Flags
from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadNetworkError, NoPlanError, NotSolvedError
from netplan.core.findings import Finding, Severity, in_order
from netplan.network.finding_log import listed
from netplan.network.linear_reference import lines_between, piece_at
from netplan.network.model import Network
from netplan.network.topology import components, fed_nodes
from netplan.network.unsized_pipes import taken_as_live, too_many
from netplan.network.work_section import WorkSection, work_section
from netplan.planfile import model
from netplan.planfile.model import Option
from netplan.planfile.plan_result import PlanResult
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import PieceState
from netplan.planning.plan_differences import first_difference
from netplan.planning.request import PlanRequest

__all__ = ["dark_while_set_aside", "plan_with_set_aside", "touched_pipes"]


Tell = Callable[[str], None]
Make = Callable[[PlanRequest, Tell], PlanResult]
Outcome = PlanResult | NoPlanError | NotSolvedError
_NAMED: Final = 10


def plan_with_set_aside(request: PlanRequest, tell: Tell, make: Make) -> PlanResult:
    """Plan with the pipes that the network has set aside, where it can be shown that nothing hangs on them.

    Parameters
    ----------
    request : PlanRequest
        Its network has pipes set aside.
    tell : callable
        Called with a few words on what is being done.
    make : callable
        Makes a plan of a request as it stands.

    Raises
    ------
    BadNetworkError
        When there are too many of them, one is worked on or met by what is stopped, emptied or fed, or the
        plan with them live is another one or cannot be made.
    NoPlanError
        When no plan was found, neither with them nor without.
    """
    network, section = request.network, work_section(request.network, request.parts)
    _require_few(request)
    _require_off_the_work(network, section)
    result = _made(request, tell, make)
    if isinstance(result, NotSolvedError):
        raise _refused(network, network.set_aside.pipe.tolist(), f"taken as not live, {result}")
    without_gas = dark_while_set_aside(network)
    if isinstance(result, PlanResult):
        met = touched_pipes(result)
        rows = [row for row in network.set_aside.pipe.tolist() if _key(network, row) in met]
        if rows:
            raise _refused(network, rows, "it meets what the plan stops, empties or feeds")
    others: list[Outcome] = []
    for size in ("least", "greatest"):
        tell(f"planning with what is set aside as live, in its {size} size")
        other = _made(replace(request, network=taken_as_live(network, size)), tell, make)
        others.append(other)
        why = _difference(result, other, without_gas, request.rules.bad_data.pressure_mbar)
        if why:
            bore_mm = _bores_mm(network, size)
            raise _refused(
                network,
                network.set_aside.pipe.tolist(),
                f"taken as live ({bore_mm}) instead of not live, {why}",
            )
    if isinstance(result, NoPlanError):
        raise result
    plans = [other.plan for other in others if isinstance(other, PlanResult)]
    return _told(result, plans, _rows_set_aside(network, section, without_gas), without_gas)


def _made(request: PlanRequest, tell: Tell, make: Make) -> Outcome:
    try:
        return make(request, tell)
    except (NoPlanError, NotSolvedError) as error:
        return error


def _difference(
    one: PlanResult | NoPlanError,
    other: Outcome,
    without_gas: frozenset[str],
    apart_mbar: float,
) -> str:
    if isinstance(one, PlanResult) and isinstance(other, PlanResult):
        return first_difference(one.plan, other.plan, without_gas, apart_mbar)
    if isinstance(other, PlanResult):
        return "a plan was found"
    if isinstance(one, PlanResult) or isinstance(other, NotSolvedError):
        return f"no plan was found ({other})"
    return ""


def _require_few(request: PlanRequest) -> None:
    network, limits = request.network, request.rules.bad_data
    aside, n_mains = network.set_aside.pipe, network.pipes.n_mains
    bad = int((aside < n_mains).sum())
    why = too_many((bad, n_mains), (len(aside) - bad, len(network.pipes) - n_mains), limits)
    if why:
        raise _refused(network, aside.tolist(), why)


def _require_off_the_work(network: Network, section: WorkSection) -> None:
    on = sorted(set(section.pipe.tolist()) & set(network.set_aside.pipe.tolist()))
    if on:
        raise _refused(network, on, "it is worked on")


def _refused(network: Network, rows: Sequence[int], why: str) -> BadNetworkError:
    aside = network.set_aside
    at = aside.pipe.tolist().index(rows[0])
    others = f" (and {_names(network, rows[1:])})" if len(rows) > 1 else ""
    what = f"{_name(network, rows[0])}: {aside.what[at]}{others}"
    return BadNetworkError(f"{what}; not taken as not live: {why}; {aside.mend[at]}", network.findings)


def _names(network: Network, rows: Sequence[int]) -> str:
    return listed([_name(network, row) for row in rows], _NAMED)


def _key(network: Network, row: int) -> tuple[bool, str]:
    return row < network.pipes.n_mains, network.pipes.id[row]


def _name(network: Network, row: int) -> str:
    is_main, name = _key(network, row)
    return f"{'main' if is_main else 'service'} {name}"


def _bores_mm(network: Network, size: str) -> str:
    aside = network.set_aside
    like = aside.like_least if size == "least" else aside.like_greatest
    bores = sorted({round(float(bore) * MM_PER_M, 1) for bore in network.pipes.bore_m[like]})
    return f"bore {' and '.join(f'{bore:g}' for bore in bores)} mm"


def dark_while_set_aside(network: Network) -> frozenset[str]:
    """Return the customers who have gas through what is set aside alone."""
    customers = network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    dark, lit = (
        ~fed_nodes(network, injections=True),
        fed_nodes(taken_as_live(network, "least"), injections=True),
    )
    return frozenset(customers.id[row] for row in np.unique(owner[dark[at] & lit[at]]).tolist())


def _told(
    result: PlanResult,
    plans: Sequence[model.Plan],
    rows: tuple[model.PipeSetAside, ...],
    without_gas: frozenset[str],
) -> PlanResult:
    """Return a plan that tells of every pipe set aside, by id and distance from the work.

    Who fails when a feed or a station is lost is whoever does in any of the plans.
    """
    findings = [
        model.FindingRow(
            code=f.code,
            layer=f.layer,
            feature_id=f.feature_id,
            severity=f.severity.value,
            what=f.what,
            mend=f.mend,
        )
        for f in in_order(_finding(row) for row in rows)
    ]
    warning = _warning(rows)
    options = tuple(
        option.model_copy(
            update={
                "warnings": (*option.warnings, warning),
                "losses": _all_losses(option, [plan.options[at] for plan in plans], without_gas),
            }
        )
        for at, option in enumerate(result.plan.options)
    )
    plan = result.plan.model_copy(
        update={
            "set_aside": rows,
            "findings": (*findings, *result.plan.findings),
            "options": options,
        }
    )
    return replace(result, plan=plan)


def _all_losses(
    option: model.Option, others: Sequence[model.Option], without_gas: frozenset[str]
) -> tuple[model.Loss, ...]:
    """Return the losses of an option with those who fail, or are added to who fails, in other plans of it."""
    elsewhere = {(loss.what, loss.id): loss for other in others for loss in other.losses}
    more: dict[Any, set[str]] = {}
    for loss in (loss for other in others for loss in other.losses):
        more.setdefault((loss.what, loss.id), set()).update(without_gas & set(loss.customers))
    mine = {(loss.what, loss.id): loss for loss in option.losses}
    rows = {key: mine.get(key) or elsewhere[key] for key in [*mine, *(key for key in more if more[key])]}
    return tuple(
        loss.model_copy(update={"customers": tuple(sorted({*loss.customers, *more.get(key, ())}))})
        for key, loss in rows.items()
    )


def _rows_set_aside(
    network: Network, section: WorkSection, without_gas: frozenset[str]
) -> tuple[model.PipeSetAside, ...]:
    aside, pipes = network.set_aside, network.pipes
    work = shapely.union_all(lines_between(network, section.pipe, section.from_m, section.to_m))
    nothing = np.zeros(len(aside))
    lines = lines_between(network, aside.pipe, nothing, pipes.length_m[aside.pipe])
    behind = _behind_each(network, without_gas)
    bore_mm = pipes.bore_m * MM_PER_M
    return tuple(
        model.PipeSetAside(
            layer="mains" if row < pipes.n_mains else "services",
            pipe_id=pipes.id[row],
            code=aside.code[k],
            what=aside.what[k],
            mend=aside.mend[k],
            distance_m=float(shapely.distance(work, lines[k])) / network.scale,
            least_bore_mm=float(bore_mm[aside.like_least[k]]),
            greatest_bore_mm=float(bore_mm[aside.like_greatest[k]]),
            customers=behind[k],
        )
        for k, row in enumerate(aside.pipe.tolist())
    )


def _behind_each(network: Network, without_gas: frozenset[str]) -> list[tuple[str, ...]]:
    """Return the customers behind each pipe: they have no gas, and have it with all of these pipes live.

    A customer is behind a pipe that meets the part without gas that it hangs on.
    """
    customers, pieces = network.customers, network.pieces
    part = components(network)
    start, at = customers.attach_start, customers.attach_node
    rows_without = {name: customers.id.find(name) for name in sorted(without_gas)}
    parts_of = {
        name: set(part[at[start[row] : start[row + 1]]].tolist()) for name, row in rows_without.items()
    }
    found = []
    for pipe in network.set_aside.pipe.tolist():
        rows = list(pieces.rows_of(pipe))
        parts = {*part[pieces.from_node[rows]].tolist(), *part[pieces.to_node[rows]].tolist()}
        found.append(tuple(name for name, own in parts_of.items() if own & parts))
    return found


def _finding(row: model.PipeSetAside) -> Finding:
    named = listed(row.customers, _NAMED)
    gas = f"; without it no gas is recorded for customers {named}" if row.customers else ""
    return Finding(
        "set-aside",
        row.layer,
        row.pipe_id,
        Severity.WARNING,
        f"{row.what}: taken as not live, {row.distance_m:,.0f} m from the work{gas}; with a bore of "
        f"{row.least_bore_mm:.0f} and of {row.greatest_bore_mm:.0f} mm lists, stops and feeds are the same",
        row.mend,
    )


def _warning(rows: Sequence[model.PipeSetAside]) -> str:
    nearest = min(rows, key=lambda row: (row.distance_m, row.layer, row.pipe_id))
    count = (
        "one pipe without a usable size is"
        if len(rows) == 1
        else f"{len(rows)} pipes without a usable size are"
    )
    kind = "main" if nearest.layer == "mains" else "service"
    return (
        f"{count} taken as not live ({'' if len(rows) == 1 else 'the nearest '}{kind} {nearest.pipe_id}, "
        f"{nearest.distance_m:,.0f} m from the work); lists, stops and feeds are the same with them live"
    )


def touched_pipes(result: PlanResult) -> frozenset[tuple[bool, str]]:
    """Return the pipes taken as not live that meet what any option of a plan touches.

    Touched are the zones, what is stranded or kept by a feed, and the pieces that carry a stop, a tapping, an
    end of a feed or a fallback stop. A pipe meets them where one of its nodes is theirs.

    Returns
    -------
    frozenset of (bool, str)
        Whether it is a main, and its id.
    """
    network = result.network
    pieces = network.pieces
    bad = np.flatnonzero(
        ~pieces.is_open & (pieces.valve < 0)
    )  # of those that are no valve, these alone are shut
    if not len(bad):
        return frozenset()
    touched = np.zeros(len(network.nodes), dtype=bool)
    for option, state in zip(result.plan.options, result.states, strict=True):
        touched |= _emptied_or_fed(network, state)
        rows = [piece_at(network, pipe, at) for pipe, at in _places(network, option)]
        touched[pieces.from_node[rows]] = True
        touched[pieces.to_node[rows]] = True
    met = bad[touched[pieces.from_node[bad]] | touched[pieces.to_node[bad]]]
    pipes = network.pipes
    return frozenset((row < pipes.n_mains, pipes.id[row]) for row in np.unique(pieces.pipe[met]).tolist())


def _emptied_or_fed(network: Network, state: SolvedState) -> Flags:
    pipes = state.pipes
    # What has no gas before any stop either is stranded by no stop; nodes of stops and hoses have some.
    has_gas = fed_nodes(network, injections=True)
    count = len(has_gas)
    touched = np.zeros(count, dtype=bool)
    isolated = pipes.state == PieceState.ISOLATED
    beyond = np.isin(pipes.state, (PieceState.STRANDED, PieceState.FED))
    for ends in (pipes.from_node, pipes.to_node):
        own = ends < count
        touched[ends[own & isolated]] = True
        kept = ends[own & beyond]
        touched[kept[has_gas[kept]]] = True
    return touched


def _places(network: Network, option: Option) -> Iterator[tuple[int, float]]:
    """Yield the main and the chainage [m] of all that is dug, tapped or shut."""
    pipes = network.pipes
    for main_id, at in _named_places(option):
        row = pipes.id.find(main_id, 0, pipes.n_mains)
        if row >= 0:
            yield row, min(max(at, 0.0), float(pipes.length_m[row]))


def _named_places(option: Option) -> Iterable[tuple[str, float]]:
    for stop in option.stops:
        yield stop.main_id, stop.chainage_m
        yield from ((tapping.main_id or stop.main_id, tapping.chainage_m) for tapping in stop.tappings)
    for feed in option.bypasses:
        yield from ((end.main_id, end.chainage_m) for end in (feed.from_, feed.to))
    for fallback in option.fallback:
        yield from ((use.main_id, use.chainage_m) for use in fallback.use)
        yield from ((shut.main_id, shut.chainage_m) for shut in fallback.shut)
    for gauge in option.gauges:
        yield gauge.main_id, gauge.chainage_m

"""Whether an issued plan still holds: the same stops and feeds on today's records, closures and weather."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from netplan.network.model import Network
from netplan.network.unsized_pipes import taken_as_live
from netplan.planfile import SolvedState
from netplan.planfile.model import Option, Plan
from netplan.planfile.network_facts import network_facts, provenance_of
from netplan.planfile.plan_json import option_of_rank, plan_digest
from netplan.planfile.recheck_answer import (
    Against,
    MovedReading,
    RecheckAnswer,
    RecordChange,
    TouchedCustomer,
)
from netplan.planning.make_plan import CAUTION
from netplan.planning.request import PlanRequest
from netplan.recheck.found_change import FoundChange
from netplan.recheck.moved_readings import least_in_states, moved_readings
from netplan.recheck.plan_findings import papers_against
from netplan.recheck.record_changes import NEAR_M, NOT_HELD, WorkSurroundings, record_changes
from netplan.recheck.rule_differences import rule_differences
from netplan.recheck.todays_option import TodaysOption, todays_option
from netplan.recheck.told_customers import lists_of, lists_without_option, touched_customers

__all__ = ["IssuedPlan", "recheck_plan"]

Tell = Callable[[str], None]
MOST_READINGS: Final = 3
OTHER_CRS: Final = "the plan is in another working CRS: places of records are not compared"


@dataclass(frozen=True, slots=True, eq=False)
class IssuedPlan:
    """A plan as its folder holds it.

    Parameters
    ----------
    plan : Plan
    state : SolvedState
        Of the option that is to be rechecked.
    superseded_by : str
        What its folder says supersedes it; empty for nothing.
    revision : str
        Its revision code; empty where it has none.
    """

    plan: Plan
    state: SolvedState
    superseded_by: str = ""
    revision: str = ""

    @property
    def option(self) -> Option:
        """The option that is to be rechecked."""
        return option_of_rank(self.plan, self.state.option)


def recheck_plan(issued: IssuedPlan, request: PlanRequest, tell: Tell = lambda _: None) -> RecheckAnswer:
    """Return whether an option of an issued plan still holds.

    It holds only if every hard constraint holds with the same stops and feeds in every state of the work,
    nobody is in another list than the papers say, and every pressure to be read lies within its band.

    Parameters
    ----------
    issued : IssuedPlan
    request : PlanRequest
        Today's network, rules, window and weather, with the orders of the plan; its work is not read.
    tell : callable, optional
        Called with a few words on what is being done, for a progress display.

    Raises
    ------
    BadInputError
        When window, weather or rules cannot be used.
    BadNetworkError
        When no station feeds today's network.
    """
    network, recorded = request.network, issued.option
    tell("comparing the records")
    changes, notes = _changes(issued, request)
    near = [one for one in changes if one.away_m <= NEAR_M]
    against: list[Against] = []
    if issued.superseded_by:
        against.append(Against(subject="superseded", what=f"superseded by {issued.superseded_by}"))
    today = todays_option(replace(request, network=network), issued.plan, recorded, tell)
    against += today.against
    readings: tuple[MovedReading, ...] = ()
    touched: tuple[TouchedCustomer, ...] = ()
    states: tuple[Any, ...] = ()
    if today.option is not None:
        told, now = lists_of(recorded), lists_of(today.option, today.below)
        touched = touched_customers(told, now, network, issued.state)
        readings = moved_readings(recorded, today.option)
        limits = request.rules.pressure
        states = least_in_states(recorded, today.option, limits.minimum_mbar + limits.margin_mbar)
        against += papers_against(recorded, today.option)
    elif today.is_solved:
        told = lists_of(recorded, whole=False)
        now = lists_without_option(today.off, today.kept_by, today.below)
        touched = touched_customers(told, now, network, issued.state)
    against += _in_words(touched, readings)
    against += _set_aside(issued, request, today, tell)
    facts = network_facts(network)
    return RecheckAnswer(
        caution=CAUTION,
        holds=not against,
        plan_sha256=plan_digest(issued.plan),
        revision=issued.revision,
        superseded_by=issued.superseded_by,
        option=recorded.rank,
        network=facts,
        same_records=facts.content_sha256 == issued.plan.network.content_sha256,
        provenance=provenance_of(network),
        planned=issued.plan.conditions,
        conditions=None
        if today.conditions is None
        else today.conditions.model_copy(update={"orders": issued.plan.conditions.orders}),
        rules_differ=rule_differences(issued.plan.rules, request.rules.values()),
        against=tuple(dict.fromkeys(against)),
        changes=tuple(_told(one, against, touched, is_solved=today.is_solved) for one in near),
        changes_elsewhere=len(changes) - len(near),
        customers=touched,
        customers_unknown="" if today.option else "standby and doubt" if today.is_solved else "all",
        readings=readings,
        states=states,
        not_compared=(NOT_HELD, *notes),
    )


def _changes(issued: IssuedPlan, request: PlanRequest) -> tuple[list[FoundChange], list[str]]:
    """Return the records that differ, and what could not be compared."""
    plan, network = issued.plan, request.network
    notes = [f"the plan folder does not hold all of the network: {issued.state.left_out}"]
    notes = notes if issued.state.left_out else []
    if network.content_sha256 == plan.network.content_sha256:
        return [], notes
    was, now = plan.network.counts, network_facts(network).counts
    if was.get("fittings") != now["fittings"]:
        notes.append(f"fittings: {now['fittings']} on record today, {was.get('fittings', 0)} then")
    if network.crs != plan.network.crs:
        return [], [*notes, OTHER_CRS]
    around = WorkSurroundings.of(issued.option, issued.state, plan.network.length_scale)
    return record_changes(network, request.rules, issued.state, issued.option, around), notes


def _in_words(touched: Sequence[TouchedCustomer], readings: Sequence[MovedReading]) -> list[Against]:
    found = []
    if touched:
        many = f"{len(touched)} customers are" if len(touched) > 1 else "1 customer is"
        found.append(
            Against(subject="customers", what=f"{many} told otherwise by the papers than is so today")
        )
    for one in readings[:MOST_READINGS]:
        what = (
            f"step {one.step}, gauge {one.gauge_id}: {one.today_mbar:.2f} mbar today, the pack expects "
            f"{one.planned_mbar:.2f} ± {one.band_mbar:.2f} mbar"
        )
        if abs(one.today_mbar - one.planned_mbar) <= one.band_mbar and one.today_abort_mbar is not None:
            planned = "none" if one.planned_abort_mbar is None else f"{one.planned_abort_mbar:.2f} mbar"
            what = (
                f"step {one.step}, gauge {one.gauge_id}: the abort pressure is {one.today_abort_mbar:.2f} "
                f"mbar today, the pack says {planned}"
            )
        found.append(Against(subject="reading", what=what))
    if len(readings) > MOST_READINGS:
        more = len(readings) - MOST_READINGS
        found.append(Against(subject="reading", what=f"and {more} more readings beyond their bands"))
    return found


def _told(
    change: FoundChange, against: Sequence[Against], touched: Sequence[TouchedCustomer], *, is_solved: bool
) -> RecordChange:
    """Return a change with what it does, as far as anything names it."""
    does = ""
    if change.layer == "customers":
        one = next((one for one in touched if one.id == change.feature_id), None)
        if one is not None:
            does = f"today: {_words(one.now)}; the papers say: {_words(one.told)}"
    if not does:
        named = re.compile(rf"(?<![\w-]){re.escape(change.feature_id)}(?![\w-])")
        does = next((one.what for one in against if named.search(one.what)), "")
    if not does and is_solved:
        does = "solved with it: nothing that is told names it"
    return RecordChange(
        layer=change.layer,
        feature_id=change.feature_id,
        what=change.what,
        does=does,
        away_m=change.away_m,
    )


def _words(lists: Sequence[str]) -> str:
    return ", ".join(lists) if lists else "in no list"


def _set_aside(issued: IssuedPlan, request: PlanRequest, today: TodaysOption, tell: Tell) -> list[Against]:
    """Return what pipes without a usable size may do: the plan must hold with them live in either size."""
    network = request.network
    found: list[Against] = []
    for size in ("least", "greatest") if len(network.set_aside) else ():
        tell(f"solving with what is set aside as live, in its {size} size")
        other = todays_option(
            replace(request, network=taken_as_live(network, size)), issued.plan, issued.option, tell
        )
        new = [one for one in other.against if one not in today.against]
        if (other.option is None) == (today.option is None) and other.option and today.option:
            apart = _lists_apart(other.option, today.option, network)
            if apart:
                new.append(Against(subject="customers", what=f"other lists for {', '.join(apart[:5])}"))
        names = ", ".join(network.pipes.id[int(row)] for row in network.set_aside.pipe[:5])
        found += [
            one.model_copy(
                update={"what": f"with {names} taken as live (no usable size on record): {one.what}"}
            )
            for one in new
        ]
    return found


def _lists_apart(one: Option, other: Option, network: Network) -> list[str]:
    mine, theirs = lists_of(one), lists_of(other)
    dark = {
        network.customers.id[row]
        for row in range(len(network.customers))
        if network.customers.attach_start[row + 1] == network.customers.attach_start[row]
    }
    return [name for name in sorted({*mine, *theirs} - dark) if mine.get(name) != theirs.get(name)]

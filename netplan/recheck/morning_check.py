"""Whether an issued plan still holds: the same stops and feeds on today's records, closures and weather."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from netplan.core.errors import BadInputError
from netplan.network.finding_log import listed
from netplan.network.model import Network
from netplan.network.unsized_pipes import taken_as_live
from netplan.planfile.model import Option
from netplan.planfile.network_facts import network_facts, provenance_of
from netplan.planfile.plan_json import plan_digest
from netplan.planfile.recheck_answer import Against, RecheckAnswer, RecordChange
from netplan.planning.make_plan import CAUTION
from netplan.planning.pipes_set_aside import dark_while_set_aside
from netplan.planning.request import PlanRequest
from netplan.recheck.change_effects import effects_alone
from netplan.recheck.found_change import FoundChange
from netplan.recheck.issued_plan import IssuedPlan
from netplan.recheck.record_changes import NEAR_M, NOT_HELD, WorkSurroundings, record_changes
from netplan.recheck.todays_option import TodaysOption, todays_option
from netplan.recheck.told_and_today import ToldAndToday, told_and_today
from netplan.recheck.told_customers import lists_of
from netplan.rules import checked_rules
from netplan.rules.rule_differences import rule_differences

__all__ = ["recheck_plan"]

Tell = Callable[[str], None]
_ADDRESS: Final = re.compile(r"(?:^|; )(?:address|street|number|postcode) ")
UNCHANGED: Final = "it changes nothing that the papers say"
SOLVED_WITH_IT: Final = "included in today's solution; nothing in the papers names it"
OTHER_CRS: Final = "the plan is in another working CRS: places of records are not compared"


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
        When window, weather or rules cannot be used, or the network has none of the plan's mains.
    BadNetworkError
        When no station feeds today's network.
    """
    network, recorded = request.network, issued.option
    planned = checked_rules(issued.plan.rules, "plan.json: rules")
    _require_same_network(issued, network)
    tell("comparing the records")
    changes, notes = _changes(issued, request)
    near = [one for one in changes if one.away_m <= NEAR_M]
    against: list[Against] = []
    if issued.superseded_by:
        against.append(Against(subject="superseded", what=f"superseded by {issued.superseded_by}"))
    found = told_and_today(issued, request, tell)
    against += found.against
    against += _set_aside(issued, request, found.today, tell)
    effects = {} if not found.against else effects_alone(issued, request, found, near, tell)
    today = found.today
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
        rules_differ=rule_differences(planned.values(), request.rules.values()),
        against=tuple(dict.fromkeys(against)),
        corrections=(*found.corrections, *_other_addresses(changes, recorded)),
        changes=tuple(_told(one, found, against, effects.get(one.key, "")) for one in near),
        changes_elsewhere=len(changes) - len(near),
        customers=found.touched,
        customers_unknown="" if today.option else "standby and doubt" if today.is_solved else "all",
        readings=found.readings,
        states=found.states,
        not_compared=(NOT_HELD, *notes),
    )


def _require_same_network(issued: IssuedPlan, network: Network) -> None:
    mains = {item.main_id for item in issued.plan.work} | {stop.main_id for stop in issued.option.stops}
    if not any(network.pipes.id.find(name) >= 0 or network.not_live.find(name) >= 0 for name in mains):
        raise BadInputError(
            f"{network.source}: has none of the plan's mains ({listed(sorted(mains), 3)}); give today's "
            "records of the network that the plan was made on"
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


def _other_addresses(changes: Sequence[FoundChange], recorded: Option) -> list[Against]:
    """Return customers in the plan's lists whose address is another one today: their letters have the old."""
    told = lists_of(recorded)
    return [
        Against(
            subject="customers", what=f"{one.feature_id}: {one.what}; letters and sheets have the old one"
        )
        for one in changes
        if one.layer == "customers" and one.feature_id in told and _ADDRESS.search(one.what)
    ]


def _told(change: FoundChange, found: ToldAndToday, against: Sequence[Against], alone: str) -> RecordChange:
    """Return a change with what it does: what names it, and what would be so without it."""
    does = ""
    if change.layer == "customers":
        one = next((one for one in found.touched if one.id == change.feature_id), None)
        if one is not None:
            does = f"today: {_words(one.now)}; the papers say: {_words(one.told)}"
    if not does:
        named = re.compile(rf"(?<![\w-]){re.escape(change.feature_id)}(?![\w-])")
        does = next((one.what for one in (*against, *found.corrections) if named.search(one.what)), "")
    if does and alone.endswith(does):
        alone = "not so without this change"
    does = "; ".join(part for part in (does, alone) if part)
    if not does and found.today.is_solved:
        does = UNCHANGED if not against else SOLVED_WITH_IT
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
    dark = dark_while_set_aside(network)
    return [name for name in sorted({*mine, *theirs} - dark) if mine.get(name) != theirs.get(name)]

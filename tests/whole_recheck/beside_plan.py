"""The recheck beside a plan of the changed town in which the stops of the issued plan are ordered."""

from __future__ import annotations

from typing import Any

from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Plan
from netplan.planfile.recheck_answer import RecheckAnswer
from netplan.planning.given_orders import orders_given
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_polygons
from netplan.recheck.todays_option import TodaysOption
from netplan.rules import read_rules
from tests.whole_recheck.changes import Changed
from tests.whole_recheck.tally import Rechecked

__all__ = ["compare_plan"]

HARD = frozenset({"work section", "stop", "feed", "pressure", "priority", "crew day", "purge", "superseded"})
"""Subjects of hard constraints; the others are about what the papers say."""


def compare_plan(
    run: Rechecked,
    answer: RecheckAnswer,
    single: TodaysOption,
    plan: Plan,
    option: Option,
    network: Network,
    changed: Changed,
) -> None:
    """Set the recheck against a plan of the changed town in which these stops are ordered."""
    hard = [one for one in single.against if one.subject in HARD or one.subject == "order of work"]
    # A plan made anew brings the kit for a main of another size; an issued one does not.
    hard = [one for one in hard if "mm outside now" not in one.what]
    forced = _forced(network, plan, option, changed)
    if isinstance(forced, str):
        run.holds[f"ordered stops: {forced}"] += 1
        if not hard and single.option is not None and forced == "no plan":
            run.found.append("every constraint holds, and no plan with these stops is found")
        return
    same = [one for one in forced.options if _made_of(one) == _made_of(option)]
    if not same:
        run.holds["ordered stops: another option"] += 1
        return
    run.holds["ordered stops: the same option"] += 1
    other = same[0]
    if single.option is None and not hard:
        run.holds["a main of another size"] += 1
        return
    if hard or single.option is None:
        run.found.append(f"a plan with the same stops and feeds stands: {[one.what for one in hard][:2]}")
        return
    apart = _apart(single.option, other)
    if apart:
        run.found.append(f"a plan with the same stops and feeds differs in {apart}")


def _forced(network: Network, plan: Plan, option: Option, changed: Changed) -> Plan | str:
    places = [s.valve_id or f"{s.main_id}:{s.chainage_m!r}" for s in option.stops]
    given = orders_given(force=places, forbid=[], keep_out=None, max_stops=len(option.stops), keep_on=[])
    rules = read_rules(None, overrides=changed.town.rules)
    own = [network.customers.id.find(ident) for ident in changed.town.own_supply]
    try:
        request = PlanRequest(
            network,
            tuple(WorkPart(w.main_id, w.from_m, w.to_m) for w in plan.work),
            rules,
            air_temp_c=changed.town.air_temp_c,
            orders=given.on(network, read_polygons),
            feeds_allowed=changed.town.seed % 3 != 2,
            own_supply=tuple(row for row in own if row >= 0),
            weather=False,
            options=8,
        )
        return make_plan(request).plan
    except NoPlanError as error:
        return "budget" if error.cut_short else "no plan"
    except (BadInputError, NotSolvedError):
        return "refused"


def _made_of(option: Option) -> tuple[Any, ...]:
    """Return what tells an option by its stops, feeds and who is off."""
    stops = tuple(
        (s.main_id, round(s.chainage_m, 2), s.method, s.work_side, s.valve_id) for s in option.stops
    )
    feeds = tuple(
        (
            b.from_.main_id,
            round(b.from_.chainage_m, 2),
            b.to.main_id,
            round(b.to.chainage_m, 2),
            b.bore_mm,
            b.parallel,
        )
        for b in option.bypasses
    )
    return stops, feeds, tuple(v.valve_id for v in option.opened_valves)


def _apart(mine: Option, theirs: Option) -> list[str]:
    """Return in which lists and figures two options of one network differ."""
    off = (
        {c.id for c in mine.customers if c.effect == "off"},
        {c.id for c in theirs.customers if c.effect == "off"},
    )
    if off[0] != off[1]:
        # The plan may have parts off that these feeds would keep: another option.
        return []
    found = []
    if {c.id: (c.effect, c.kept_by) for c in mine.customers} != {
        c.id: (c.effect, c.kept_by) for c in theirs.customers
    }:
        found.append("customers")
    if mine.standby != theirs.standby:
        found.append("standby")
    if {r.id for r in mine.in_doubt} != {r.id for r in theirs.in_doubt}:
        found.append("in doubt")
    if [r.stop_id for r in mine.fallback] != [r.stop_id for r in theirs.fallback]:
        found.append("fallbacks")
    for one, other in zip(mine.states, theirs.states, strict=False):
        if one.after_step != other.after_step or abs((one.least_mbar or 0) - (other.least_mbar or 0)) > 0.01:
            found.append(f"state {one.after_step}: {one.least_mbar} and {other.least_mbar}")
            break
    for gauge, there in zip(mine.gauges, theirs.gauges, strict=False):
        if gauge.main_id != there.main_id or abs(gauge.normal_mbar - there.normal_mbar) > 0.01:
            found.append(f"gauge {gauge.id}")
            break
    return found

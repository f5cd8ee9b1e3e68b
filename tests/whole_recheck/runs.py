"""One seed: a town, its plan, changes, the recheck, and what others who share no code with it find.

Two answers stand beside the recheck. The walk and the solver of `tests.whole_plan` take the issued plan.json
and the changed layers alone. The planner itself plans the changed town with the same stops ordered.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd

from netplan.core.errors import BadInputError, BadNetworkError, NoPlanError, NotSolvedError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import read_plan_layers
from netplan.planfile import read_state
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import read_plan
from netplan.planfile.recheck_answer import RecheckAnswer
from netplan.planning.given_orders import orders_given
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, read_polygons
from netplan.recheck import IssuedPlan, recheck_plan, todays_request
from netplan.recheck.todays_option import TodaysOption, todays_option
from netplan.rules import read_rules
from tests.whole_plan.case import Case
from tests.whole_plan.check import read_raw
from tests.whole_plan.making import plan_town, write_layers
from tests.whole_plan.people import check_doubt, check_fallbacks, check_people, check_zone
from tests.whole_plan.places import check_places
from tests.whole_plan.pressure_limits import check_fault_pressures, check_feeds
from tests.whole_plan.pressures import check_pressures
from tests.whole_plan.tapped import check_tapped
from tests.whole_plan.towns import random_town
from tests.whole_plan.walk import Raw
from tests.whole_recheck.changes import Changed, changed_town

__all__ = ["HARD", "Run", "run_seed"]

HARD = frozenset({"work section", "stop", "feed", "pressure", "priority", "crew day", "purge", "superseded"})
"""Subjects of hard constraints; the others are about what the papers say."""
PLACES = frozenset(
    {
        "gas reaches the work",
        "injection in the zone",
        "sensing point in the zone",
        "sensing point parted from its station",
        "customer's cause",
        "kept customer without gas",
        "customer off who has gas",
        "priority customer off",
        "standby misses customers",
        "kept inlet below minimum",
        "kept inlet above maximum",
        "state without a solution",
        "stop in a keep-out",
        "stop is a valve not known to work",
        "too near a fitting",
        "size of another main",
    }
)
"""Deviations of an issued plan on changed layers with which it cannot hold."""


@dataclass
class Run:
    """What came of a seed.

    Parameters
    ----------
    found : list of str
        Where the recheck and another answer do not agree.
    holds : Counter
        Kinds of cases, to count what was covered.
    """

    changes: list[tuple[str, str, str]] = field(default_factory=list)
    found: list[str] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)


def run_seed(seed: int, folder: Path) -> Run:
    """Plan the town of a seed, change its records, recheck, and set other answers beside it."""
    run = Run()
    town = random_town(seed)
    town.rules["fallback"] = {"prepared": seed % 4 == 0}
    source = folder / "town.gpkg"
    write_layers(town.layers(), source)
    made = plan_town(town, source, folder / "plan", feeds=seed % 3 != 2, papers=False)
    if made.folder is None:
        run.holds[f"no plan to recheck: {made.answer}"] += 1
        return run
    plan = read_plan(made.folder)
    option = plan.options[seed % len(plan.options)]
    raw_option = json.loads((made.folder / "plan.json").read_text(encoding="utf-8"))["options"][
        option.rank - 1
    ]
    changed = changed_town(town, raw_option, seed)
    run.changes = changed.done
    today = folder / "today.gpkg"
    write_layers(changed.town.layers(), today)
    try:
        network = read_network(today)
    except BadInputError as error:
        run.holds[f"today's network cannot be read: {str(error)[:40]}"] += 1
        return run
    issued = _issued(made.folder, plan, option)
    request = todays_request(plan, network)
    try:
        answer = recheck_plan(issued, request)
    except BadNetworkError:
        run.holds["no station on today's network"] += 1
        return run
    single = todays_option(request, plan, option, lambda _: None)
    _compare_unchanged(run, changed, answer, option, single)
    _compare_named(run, changed, answer, network)
    _compare_walk(run, answer, single, made.folder, option.rank, today, changed)
    _compare_plan(run, answer, single, plan, option, network, changed)
    run.holds["holds" if answer.holds else "does not hold"] += 1
    run.holds.update({f"against: {one.subject}" for one in answer.against})
    run.holds.update(f"changed: {layer}" for layer, _, _ in changed.done)
    run.holds["solved"] += single.is_solved
    run.holds["with feeds"] += bool(option.bypasses or option.opened_valves)
    return run


def _issued(folder: Path, plan: Plan, option: Option) -> IssuedPlan:
    return IssuedPlan(plan, read_state(read_plan_layers(folder), option.rank))


def _compare_unchanged(
    run: Run, changed: Changed, answer: RecheckAnswer, option: Option, single: TodaysOption
) -> None:
    if changed.done:
        return
    run.holds["unchanged"] += 1
    if not answer.holds:
        run.found.append(f"unchanged town does not hold: {[one.what for one in answer.against][:3]}")
    if single.option is None or _figures(single.option) != _figures(option):
        run.found.append("unchanged town has other figures")


def _figures(option: Option) -> dict[str, Any]:
    """Return an option as it is written, but for what is proven of it and what words say of other places."""
    data = option.model_dump(mode="json", by_alias=True, exclude={"proof"})
    for stop in data["stops"]:
        del stop["not_nearer"]
    for price in (price for dug in data["excavations"] for price in dug["prices"]):
        # To six digits: finer than the millimetre to which a plan states the ends of its work.
        del price["beyond_m"]
    return data


def _compare_named(run: Run, changed: Changed, answer: RecheckAnswer, network: Network) -> None:
    """Every change in what a plan folder holds is named near the work, or counted farther away."""
    named = {(one.layer, one.feature_id): one.what for one in answer.changes}
    told = 0
    times = Counter((layer, ident) for layer, ident, _ in changed.done)
    for layer, ident, words in changed.done:
        if not words or layer not in ("mains", "services", "customers", "valves", "regulators"):
            continue
        if layer == "valves" and network.valves.piece[network.valves.id.find(ident)] < 0:
            continue  # on no main: a plan folder does not hold it
        if (layer, ident) in named:
            told += 1
            if (
                times[layer, ident] == 1
                and words not in named[layer, ident]
                and "new" not in named[layer, ident]
            ):
                run.found.append(f"{layer} {ident}: says {named[layer, ident]!r}, was {words!r}")
        elif not answer.changes_elsewhere:
            run.found.append(f"{layer} {ident} ({words}) is not named")
    run.holds["changes named"] += told


def _lists(answer: RecheckAnswer, option: Option) -> dict[str, tuple[str, ...]]:
    """Return what is so today of each customer who is in a list, from the plan and the answer alone."""
    now: dict[str, tuple[str, ...]] = {}
    for c in option.customers:
        now[c.id] = ("off",) if c.effect == "off" else (f"kept by {c.kept_by or 'a feed'}",)
    if not answer.customers_unknown:
        for name in option.standby:
            now[name] = (*now.get(name, ()), "standby")
        for row in option.in_doubt:
            if "in doubt" not in now.get(row.id, ()):
                now[row.id] = (*now.get(row.id, ()), "in doubt")
    for one in answer.customers:
        now[one.id] = one.now
    return now


def _compare_walk(
    run: Run,
    answer: RecheckAnswer,
    single: TodaysOption,
    folder: Path,
    rank: int,
    today: Path,
    changed: Changed,
) -> None:
    """Set the recheck against the walk and the solver that know raw layers and plan.json alone."""
    raw = read_raw(today)
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    option = plan["options"][rank - 1]
    deviations = _walked(raw, plan, option, changed, folder)
    if deviations is None:
        # A main of the plan is gone: there is nothing to put its stops on.
        if answer.holds or single.is_solved:
            run.found.append("holds though a main of the plan is gone")
        run.holds["main of the plan gone"] += 1
        return
    broken = {rule for rule, _ in deviations} & PLACES
    if answer.holds and broken:
        run.found.append(f"holds, and the walk finds {[d for d in deviations if d[0] in PLACES][:3]}")
    run.holds["walk finds it broken"] += bool(broken)
    subjects = {one.subject for one in answer.against}
    reached = any(d == "gas reaches the work" and what.startswith("all stops") for d, what in deviations)
    if reached and single.is_solved:
        run.found.append("solved though gas reaches the work")
    if "priority customer off" in broken and single.is_solved and "priority" not in subjects:
        run.found.append("a priority customer is off and not said")
    if not single.is_solved:
        return
    _compare_people(run, raw, plan, option, changed, answer, rank, folder)


def _walked(
    raw: Raw, plan: dict[str, Any], option: dict[str, Any], changed: Changed, folder: Path
) -> list[tuple[str, str]] | None:
    """Return what the walk finds wrong with an issued option on raw layers; None where it cannot be laid out."""
    try:
        case = Case(raw, plan, option, changed.town.own_supply)
    except (KeyError, ValueError, IndexError, StopIteration):
        return None
    gone = {s["main_id"] for s in option["stops"]} - set(raw.mains)
    if gone:
        return None
    people = set(raw.people)
    for row in (*option["customers"], *option["in_doubt"]):
        if row["id"] not in people:
            return [("customer's cause", f"{row['id']} is no customer any more")]
    layers = read_plan_layers(folder)["customers"]
    rows: gpd.GeoDataFrame = layers[layers.customer_id.isin(people)]
    for check in (check_zone, check_people, check_fallbacks, check_doubt, check_fault_pressures):
        try:
            check(case)
        except KeyError:
            return None
    for check in (check_feeds, check_places, check_tapped):
        try:
            check(case)
        except (KeyError, IndexError, ValueError):
            case.say("place is not there", check.__name__)
    if not _demand_differs(changed):
        check_pressures(case, rows)
    return [(one.rule, one.what) for one in case.found]


def _demand_differs(changed: Changed) -> bool:
    """Return whether customers draw otherwise than plan.gpkg says, so that its demand is none to solve with."""
    return any(layer in ("customers", "services") for layer, _, _ in changed.done)


def _compare_people(
    run: Run,
    raw: Raw,
    plan: dict[str, Any],
    option: dict[str, Any],
    changed: Changed,
    answer: RecheckAnswer,
    rank: int,
    folder: Path,
) -> None:
    """Who is isolated or stranded by the walk is off, kept by a feed or without gas by the recheck."""
    del rank
    case = Case(raw, plan, option, changed.town.own_supply)
    from tests.whole_plan.people import _where

    where = _where(case, case.stopped)
    lost = {ident for ident, how in where.items() if how in ("isolated", "dark", "half dark")}
    issued = next(one for one in read_plan(folder).options if one.rank == option["rank"])
    now = _lists(answer, issued)
    touched = {name for name, words in now.items() if "off" in words or any("kept by" in w for w in words)}
    weak_told = {c["id"] for c in option["customers"] if c["cause"] == "below minimum"}
    missed = lost - touched
    if missed:
        run.found.append(f"the walk has {sorted(missed)[:4]} without gas, the recheck has not")
    weak = touched - lost - weak_told
    # Whom the stops leave too little pressure is no matter of the walk; there is none without a feed.
    if weak and not (option["bypasses"] or option["opened_valves"]):
        run.found.append(f"the recheck touches {sorted(weak)[:4]}, the walk does not")
    run.holds["people compared"] += 1


def _compare_plan(
    run: Run,
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

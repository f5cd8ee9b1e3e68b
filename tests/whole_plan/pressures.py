"""Pressures at meter inlets in every state, solved anew from raw layers (design, section 5)."""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable

import geopandas as gpd

from tests.whole_plan.case import Case
from tests.whole_plan.flow import NotSolvedError, Pressures, solve_state
from tests.whole_plan.readings import StateOfWork
from tests.whole_plan.walk import State

__all__ = ["check_pressures", "solve_all_in"]

Key = Hashable
AGREE_MBAR = 0.05
"""What two solvers may differ by at a pressure, rounding of plan.gpkg included [mbar]."""


def check_pressures(case: Case, customers: gpd.GeoDataFrame) -> None:
    """Check what plan.json and plan.gpkg say of pressures.

    Parameters
    ----------
    case : Case
    customers : GeoDataFrame
        Layer of plan.gpkg: demand and pressure of each at the worst hour.
    """
    rows = customers[customers.option == case.rank]
    demand = dict(zip(rows.customer_id, rows.demand_m3h.fillna(0.0), strict=True))
    stated = dict(zip(rows.customer_id, rows.pressure_mbar, strict=True))
    missing = sorted(case.raw.people.keys() - demand.keys())
    case.require(not missing, "customer not in plan.gpkg", f"{missing[:3]}")
    weak = set(case.option["pressures"]["weak_before"])
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    kept = [c for c in case.raw.people if c not in off and c not in weak]
    shut: list[Key] = []
    states = {s["after_step"]: s for s in case.option["states"]}
    for name, gap in [("meters off", None), *((f"{s} in", gap) for s, _, gap in case.stops)]:
        shut += [] if gap is None else [gap]
        solved = _solve(case, name, shut, case.opened, case.feeds, demand)
        if solved is None:
            continue
        least = _holds(case, name, solved, kept)
        if name in states:
            _same(case, name, least, states[name])
        else:
            case.say("state missing", name)
        if len(shut) == len(case.stops):
            # Those low before any stop count in that one figure.
            everybody = _inlets(case, solved, [*kept, *(weak - off)])
            low = min(everybody.values(), default=math.nan)
            _same(case, "all stops and feeds in", low, case.option["pressures"]["after"])
            _each(case, solved, kept, stated)
            _at_stops_and_feeds(case, solved)
    _gas_back(case, demand, kept)
    _fallback_pressures(case, demand, kept)


def _gas_back(case: Case, demand: dict[str, float], kept: Collection[str]) -> None:
    """Check the states with gas back in and meters still off: stops taken out, then feeds shut."""
    states = {s["after_step"]: s for s in case.option["states"]}
    wanted = [f"{ident} out" for ident, *_ in reversed(case.stops)]
    # Opened valves are shut before hoses.
    wanted += [f"{key[1]} shut" for key in (*case.opened, *case.feeds) if isinstance(key, tuple)]
    work = StateOfWork(case, [])
    for name in wanted:
        changes = work.changes(name)
        solved = _solve(case, name, changes.shut, changes.opened, changes.laid, demand)
        if name not in states:
            case.say("state missing", name)
        elif solved is not None:
            _same(case, name, _holds(case, name, solved, kept), states[name])


def solve_all_in(case: Case, customers: gpd.GeoDataFrame) -> dict[str, float]:
    """Return the pressure of every meter inlet with all stops in and all feeds open [mbar]."""
    rows = customers[customers.option == case.rank]
    demand = dict(zip(rows.customer_id, rows.demand_m3h.fillna(0.0), strict=True))
    shut = [gap for *_, gap in case.stops]
    solved = _solve(case, "all stops in", shut, case.opened, case.feeds, demand)
    return {} if solved is None else _inlets(case, solved, list(case.raw.people))


def _attached(case: Case, ident: str, state: State) -> list[Key]:
    """Return the service ends of a customer that have gas in normal running and lie outside the zone."""
    fed = case.before.parts_fed()
    nodes = case.raw.ends_of[ident]
    return [n for n in nodes if case.before.part(n) in fed and not case.stopped.in_zone(n)]


def _solve(
    case: Case,
    name: str,
    shut: Collection[Key],
    opened: Collection[Key],
    laid: Collection[Key],
    demand: dict[str, float],
) -> Pressures | None:
    state = case.net.state(shut, opened, laid)
    by_node: dict[Key, float] = {}
    for ident, flow in demand.items():
        nodes = _attached(case, ident, state)
        for node in nodes:
            by_node[node] = by_node.get(node, 0.0) + flow / len(nodes)
    try:
        return solve_state(case, state, shut, opened, laid, by_node)
    except NotSolvedError as error:
        case.say("state without a solution", f"{name}: {error}")
        return None


def _inlets(case: Case, solved: Pressures, some: Collection[str]) -> dict[str, float]:
    """Return the least pressure of each customer's service ends [mbar]."""
    stationed = {solved.state.part(n) for n in case.net.station_node.values()}
    found = {}
    for ident in some:
        nodes = _attached(case, ident, solved.state)
        # Where an injection alone feeds, no pressure is known.
        injected = {case.before.part(n) for n in case.net.injection_node.values()}
        stations = {case.before.part(n) for n in case.net.station_node.values()}
        nodes = [n for n in nodes if case.before.part(n) in stations or case.before.part(n) not in injected]
        if nodes:
            found[ident] = min(
                solved.at(n) if solved.state.part(n) in stationed else -math.inf for n in nodes
            )
    return found


def _holds(case: Case, name: str, solved: Pressures, kept: Collection[str]) -> float:
    """Check the limits at kept inlets; return the least pressure."""
    limits = case.rules["pressure"]
    need = limits["minimum_mbar"] + limits["margin_mbar"]
    inlets = _inlets(case, solved, kept)
    low = {c: p for c, p in inlets.items() if p < need - AGREE_MBAR}
    for ident, mbar in sorted(low.items())[:1]:
        case.say("kept inlet below minimum", f"{name}: {len(low)} inlets, {ident} {mbar:.2f} of {need:g}")
    most = limits.get("maximum_mbar")
    if most is not None:
        # Those who stood above it before any stop are a finding of their own, and no veto.
        before = set(case.option["pressures"]["high_before"])
        high = {c: p for c, p in inlets.items() if p > most + AGREE_MBAR and c not in before}
        for ident, mbar in sorted(high.items())[:1]:
            case.say("kept inlet above maximum", f"{name}: {len(high)} inlets, {ident} {mbar:.2f}")
    return min(inlets.values(), default=math.nan)


def _same(case: Case, name: str, least: float, row: dict[str, object]) -> None:
    """Compare the least pressure: the stated one is the worst of all hours, ours of the hour of most demand."""
    stated = row["least_mbar"]
    if stated is None or math.isnan(least):
        case.require(stated is None and math.isnan(least), "least pressure", f"{name}: {stated} for {least}")
        return
    same_hour = row["hour"] == case.plan["conditions"]["worst_hour"]
    low = float(str(stated)) <= least + AGREE_MBAR
    holds = low and (not same_hour or float(str(stated)) >= least - AGREE_MBAR)
    case.require(holds, "least pressure", f"{name}: states {stated}, solved {least:.3f} ({row['hour']})")


def _each(case: Case, solved: Pressures, kept: Collection[str], stated: dict[str, float]) -> None:
    inlets = _inlets(case, solved, kept)
    apart = {
        c: (stated[c], p) for c, p in inlets.items() if c in stated and not abs(stated[c] - p) <= AGREE_MBAR
    }
    for ident, (theirs, ours) in sorted(apart.items())[:1]:
        case.say("inlet pressure", f"{len(apart)} inlets, {ident}: states {theirs:.3f}, solved {ours:.3f}")


def _at_stops_and_feeds(case: Case, solved: Pressures) -> None:
    """Compare what is stated at stops, on their live side, and at both ends of feeds."""
    for stop in case.option["stops"]:
        ours, theirs = solved.at(case.live_node(stop)), stop["pressure_mbar"]
        same = math.isnan(ours) if theirs is None else abs(ours - theirs) <= AGREE_MBAR
        case.require(same, "pressure at a stop", f"{stop['id']}: states {theirs}, solved {ours:.3f}")
    for feed in case.option["bypasses"]:
        for end in ("from", "to"):
            ours, theirs = solved.at(("end", feed["id"], end)), feed[f"pressure_{end}_mbar"]
            same = abs(ours - theirs) <= AGREE_MBAR
            case.require(
                same, "pressure at a feed", f"{feed['id']} {end}: states {theirs}, solved {ours:.3f}"
            )


def _fallback_pressures(case: Case, demand: dict[str, float], kept: Collection[str]) -> None:
    """Check that whoever neither is off nor stands by holds the minimum when a fallback is used."""
    done: set[tuple[object, ...]] = set()
    need = case.rules["pressure"]["minimum_mbar"]
    for k, row in enumerate(case.option["fallback"]):
        places = tuple((u["main_id"], u["chainage_m"]) for u in row["use"])
        if not places or (row["stop_id"], places) in done:
            continue
        done.add((row["stop_id"], places))
        name = f"fallback of {row['stop_id']} ({row['failure']})"
        shut = [gap for *_, gap in case.fallback_stops(k)]
        feeds, valves = case.surviving(shut)
        state = case.net.state(shut, valves, feeds)
        fed = state.parts_fed()
        # Those cut off are another check's concern.
        on = {
            c
            for c in kept
            if c not in row["standby"]
            and all(state.part(n) in fed and not state.in_zone(n) for n in _attached(case, c, state))
        }
        here = {c: flow for c, flow in demand.items() if c in on}
        solved = _solve(case, name, shut, valves, feeds, here)
        if solved is None:
            continue
        low = {c: p for c, p in _inlets(case, solved, on).items() if p < need - AGREE_MBAR}
        for ident, mbar in sorted(low.items())[:1]:
            case.say("fallback leaves inlets below minimum", f"{name}: {len(low)} inlets, {ident} {mbar:.2f}")

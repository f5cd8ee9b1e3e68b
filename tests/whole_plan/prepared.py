"""Fallbacks that a plan prepares, their minutes and prices, and hoses that are moved, from raw layers and rules."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable
from typing import Any

import geopandas as gpd
import shapely

from tests.whole_plan.case import Case, Row
from tests.whole_plan.flow import NotSolvedError, solve_state
from tests.whole_plan.walk import text

__all__ = ["check_moves", "check_prepared"]

Key = Hashable
CLOSE_M = 0.002
AGREE_MBAR = 0.05


def check_prepared(case: Case) -> None:
    """Check what is prepared: by rule alone, each place once, paid, dug and tapped before any stop, capped after.

    Minutes are the sum of the rule's: fast for what is prepared or is a valve that the plan opens, else full.
    """
    option, rows = case.option, case.option["prepared_fallbacks"]
    asked = bool(case.rules["fallback"]["prepared"])
    case.require(asked or not rows, "fallback prepared against the rule", f"{len(rows)}")
    paid = sum(row["price"] for row in rows)
    case.require(
        math.isclose(paid, option["burden_parts"]["fallbacks"], abs_tol=0.011),
        "burden of fallbacks",
        f"{paid} for {option['burden_parts']['fallbacks']}",
    )
    serves: dict[str, set[str]] = defaultdict(set)
    for row in option["fallback"]:
        _minutes(case, row)
        for use in row["use"]:
            if use["prepared_id"]:
                serves[use["prepared_id"]].add(row["stop_id"])
    stated = {row["id"]: set(row["serves"]) for row in rows}
    case.require(stated == dict(serves), "prepared fallback serves", f"{stated} for {dict(serves)}")
    places = [(row["main_id"], row["chainage_m"], row["work_side"]) for row in rows]
    case.require(len(set(places)) == len(places), "fallback prepared twice", f"{places}")
    for row in rows:
        _price(case, row)
        _steps(case, row)
    _apart(case, rows)


def _minutes(case: Case, row: Row) -> None:
    """Compare the minutes with the rules'; without a fallback there are none."""
    name = f"fallback of {row['stop_id']} ({row['failure']})"
    if row["minutes"] is None:
        case.require(not row["use"] and not row["moves"], "fallback without minutes", name)
        return
    rules, opened = case.rules, {v["valve_id"] for v in case.option["opened_valves"]}
    hose = float(rules["bypass"]["minutes_shut"])
    valve = next((float(m["minutes_fast"]) for m in rules["method"] if m["kind"] == "valve"), hose)
    total = sum(valve if one["what"] == "opened valve" else hose for one in row["shut"])
    ready = []
    for use in row["use"]:
        ready.append(bool(use["prepared_id"]) or use["valve_id"] in opened)
        total += case.method(use["method"])["minutes_fast" if ready[-1] else "minutes"]
    case.require(
        math.isclose(row["minutes"], total, abs_tol=0.051), "minutes", f"{name}: {row['minutes']} for {total}"
    )
    case.require(row["prepared"] == (bool(ready) and all(ready)), "prepared", f"{name}: {row['prepared']}")


def _price(case: Case, row: Row) -> None:
    main, rule = case.raw.mains[row["main_id"]], case.method(row["method"])
    surface = text(main.get("surface")) or "unknown"
    price = rule["price"] + rule["price_per_mm_od"] * main["od_mm"] + rule["price_surface"][surface]
    if row["kind"] == "valve":
        pit = case.rules["excavation"]
        price += pit["price"] + pit["price_surface"][surface]
    case.require(
        math.isclose(row["price"], price, abs_tol=0.011),
        "price of a fallback",
        f"{row['id']}: {row['price']}",
    )
    roles = sorted(part["role"] for part in rule["assembly"] if part["role"] != "bypass")
    own = sorted(t["role"] for t in row["tappings"] if t["role"] != "bypass")
    case.require(own == roles, "tappings of a fallback", f"{row['id']}: {own}")


def _steps(case: Case, row: Row) -> None:
    """Check that a place is proved, tapped and its barriers proved before the first stop, and capped later."""
    steps = case.option["steps"]
    first = next(step["n"] for step in steps if step["stage"] == "stop in")
    own = [step for step in steps if row["id"] in step["uses"]]
    before = {step["stage"] for step in own if step["n"] < first}
    after = {step["stage"] for step in own if step["n"] > first}
    tapped = any(tapping["size_mm"] > 0 for tapping in row["tappings"])
    wanted = {"records proved", "barriers proved"} | ({"tappings drilled"} if tapped else set())
    case.require(wanted <= before, "fallback not prepared by the steps", f"{row['id']}: {sorted(before)}")
    sealed = not tapped or "tappings capped" in after
    case.require(sealed, "tappings of a fallback not capped", row["id"])


def _apart(case: Case, rows: list[Row]) -> None:
    """Check that the assemblies of stops and prepared fallbacks keep off each other.

    What is tapped beside a valve may lie beyond the assembly of another; both may use one tapping of one kind.
    """
    spans: list[tuple[str, float, float, str]] = []
    tapped: set[tuple[str, float, str]] = set()
    for thing in (*case.option["stops"], *rows):
        at: dict[tuple[str, str], list[float]] = defaultdict(list)
        shared = set(tapped) if thing["kind"] == "valve" else set()
        for tapping in thing["tappings"]:
            place = tapping["main_id"] or thing["main_id"], tapping["chainage_m"]
            tapped |= {(*place, tapping["role"])}
            if (*place, tapping["role"]) not in shared:
                at[place[0], tapping["role"] if thing["kind"] == "valve" else ""].append(place[1])
        spans += [(main, min(some), max(some), thing["id"]) for (main, _), some in at.items()]
    for i, (main, low, high, name) in enumerate(spans):
        for other_main, other_low, other_high, other in spans[:i]:
            if name.startswith("F") and name != other and main == other_main:
                case.require(
                    other_high < low or other_low > high, "fallback meets a stop", f"{name}, {other}"
                )


def check_moves(case: Case, customers: gpd.GeoDataFrame) -> None:
    """Check every hose that is moved: its new place, its length, and that its state holds, solved anew."""
    rows = customers[customers.option == case.rank]
    demand = dict(zip(rows.customer_id, rows.demand_m3h.fillna(0.0), strict=True))
    for k, row in enumerate(case.option["fallback"]):
        for j, move in enumerate(row["moves"]):
            name = f"fallback of {row['stop_id']} ({row['failure']}), {move['feed_id']} moved"
            _place(case, name, row, move)
            case.require(
                set(move["off_meanwhile"]) <= set(row["standby"]), "off meanwhile but not on standby", name
            )
            case.require(
                move["minutes"] == case.rules["bypass"]["minutes_move"],
                "minutes",
                f"{name}: {move['minutes']}",
            )
            if j == len(row["moves"]) - 1:
                _state(case, name, k, demand)


def _place(case: Case, name: str, row: Row, move: Row) -> None:
    """Check that the new tee is one of a new stop's, and that the hose is long enough and within reach."""
    to, rules = move["to"], case.rules["bypass"]
    tees = []
    for use in row["use"]:
        part = [p for p in case.method(use["method"])["assembly"] if p["role"] == "bypass"]
        if part and use["main_id"] == to["main_id"]:
            away, offset = abs(to["chainage_m"] - use["chainage_m"]), part[0]["offset_m"]
            low, high = sorted((use["chainage_m"], to["chainage_m"]))
            # The tee may lie on the next length, past a joint, where it does not fit on the stop's own.
            is_next = away > offset and any(low < node < high for node in case.raw.nodes_on(to["main_id"]))
            tees.append(abs(away - offset) <= CLOSE_M or is_next)
        elif part:
            tees.append(True)
    case.require(any(tees), "hose moved to no tee of a fallback", name)
    feed = next(f for f in case.option["bypasses"] if f["id"] == move["feed_id"])
    stays = [feed[end] for end in ("from", "to") if not _inside(case, row, (("end", feed["id"], end)))]
    case.require(len(stays) == 1, "hose moved whose ends are not one in and one out", name)
    for end in stays:
        straight = math.hypot(end["x"] - to["x"], end["y"] - to["y"]) / case.raw.scale
        long_enough = straight - CLOSE_M <= move["length_m"] <= rules["reach_m"] + CLOSE_M
        case.require(long_enough, "length of a moved hose", f"{name}: {move['length_m']} for {straight:.3f}")
    line = case.raw.lines[case.raw.row_of(to["main_id"])]
    spot = line.interpolate(to["chainage_m"] * case.raw.scale)
    off = spot.distance(shapely.Point(to["x"], to["y"]))
    case.require(off <= 0.02, "place of a moved hose", f"{name}: {off:.2f} m off its chainage")


def _inside(case: Case, row: Row, node: Key) -> bool:
    k = case.option["fallback"].index(row)
    return case.net.state(shut=[gap for *_, gap in case.fallback_stops(k)]).in_zone(node)


def _state(case: Case, name: str, k: int, demand: dict[str, float]) -> None:
    """Check the state after all moves of a fallback: no gas at the work, those brought back hold pressure."""
    row = case.option["fallback"][k]
    shut = [gap for *_, gap in case.fallback_stops(k)]
    feeds, valves = case.surviving(shut)
    moved = tuple(case.moved_link(k, j) for j in range(len(row["moves"])))
    state = case.net.state(shut, valves, (*feeds, *moved))
    case.require(not state.work_is_fed(), "gas reaches the work", name)
    ends = [end for key in moved for end in case.net.links[key]]
    case.require(not any(state.in_zone(end) for end in ends), "hose moved into the zone", name)
    back = {ident for move in row["moves"] for ident in move["off_meanwhile"]}
    case.require(bool(back), "hose moved for nobody", name)
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    gone = off | (set(row["standby"]) - back)
    fed, had = state.parts_fed(), case.before.parts_fed()
    by_node: dict[Key, float] = defaultdict(float)
    there: dict[str, list[Any]] = {}
    for ident, flow in demand.items():
        nodes = [n for n in case.raw.ends_of[ident] if case.before.part(n) in had and not state.in_zone(n)]
        if ident not in gone and nodes:
            there[ident] = nodes
            for node in nodes:
                if state.part(node) in fed:
                    by_node[node] += flow / len(nodes)
    try:
        solved = solve_state(case, state, shut, valves, (*feeds, *moved), by_node)
    except NotSolvedError as error:
        case.say("state without a solution", f"{name}: {error}")
        return
    need = case.rules["pressure"]["minimum_mbar"] - AGREE_MBAR
    low = [i for i in sorted(back & there.keys()) if not min(solved.at(n) for n in there[i]) >= need]
    case.require(not low, "moved hose does not hold", f"{name}: {low[:2]} of {len(back)}")
    case.require(back <= there.keys(), "customer brought back into the zone", f"{name}")

"""What every stop of a ring has to keep: its valve's records, its method, its room, its distance, its minutes."""

from __future__ import annotations

import math

from tests.support.outlets import outlet_mm
from tests.whole_emergency.answer_case import ROUNDED_M, AnswerCase, Row
from tests.whole_plan.walk import number, text

__all__ = ["check_stop", "clear_m", "dug_minutes", "refusals"]


def check_stop(case: AnswerCase, ring: Row, stop: Row, failed: set[str]) -> None:
    """Check one stop."""
    name = f"{ring['kind']}: {stop['valve_id'] or stop['main_id']} at {stop['chainage_m']:g}"
    spot = case.spot(stop["main_id"], stop["chainage_m"])
    least = case.rules["emergency"]["keep_away_m"] * case.raw.scale
    away = min(spot.distance(one) for one in case.hit_shapes)
    case.require(away >= least - ROUNDED_M, "within the keep-away distance", f"{name}: {away:.3f} m")
    off = math.dist((spot.x, spot.y), (stop["x"], stop["y"]))
    case.require(off <= 0.02, "coordinates", f"{name}: {off:.2f} m off")
    if stop["valve_id"]:
        record = case.raw.valves[stop["valve_id"]]
        good = text(record["state"]) == "open" and text(record.get("operable")) == "yes"
        case.require(good, "a valve not known to shut", name)
        case.require(stop["valve_id"] not in failed, "a valve that failed", name)
        row, at = case.raw.placed["valves"][stop["valve_id"]]
        there = case.raw.name[row][1] == stop["main_id"]
        there &= abs(at / case.raw.scale - stop["chainage_m"]) <= ROUNDED_M
        case.require(there, "place of a valve", name)
        minutes = case.rules["emergency"]["minutes_valve"]
    else:
        case.require(ring["kind"] != "valves", "a valve ring of other stops", name)
        method = next(m for m in case.rules["method"] if m["name"] == stop["method"])
        nodes = case.net.gaps[case.gap(stop)]
        refused = refusals(case, method, stop["main_id"], {case.before.part(node) for node in nodes})
        case.require(not refused, "method not for this main", f"{name}: {refused}")
        _room(case, stop, method, name)
        minutes = dug_minutes(case.rules, method, case.raw.mains[stop["main_id"]])
    case.require(math.isclose(stop["minutes"], minutes, abs_tol=0.051), "minutes by the rules", name)


def dug_minutes(rules: Row, method: Row, main: Row) -> float:
    """Return the minutes of a stop that is dug, the ground's with them [min]."""
    emergency = rules["emergency"]
    own = emergency["minutes_squeeze" if method["kind"] == "squeeze" else "minutes_bag"]
    return float(own + emergency["minutes_surface"][text(main.get("surface")) or "unknown"])


def refusals(case: AnswerCase, method: Row, main_id: str, parts: set[int]) -> list[str]:
    """Return why a method is not for a main: material, size, age, host, joints, outlets, fault pressure.

    `parts` are those of the network, with nothing shut, that the place lies in.
    """
    main, general = case.raw.mains[main_id], case.rules["method_general"]
    year, resin, refused = number(main.get("year")), text(main.get("resin")), []
    if main["material"] not in method["materials"]:
        refused.append(str(main["material"]))
    if not method["od_min_mm"] - 1e-6 <= main["od_mm"] <= method["od_max_mm"] + 1e-6:
        refused.append(f"{main['od_mm']:g} mm")
    if method["refuse_early_pe"]:
        if year is not None and year < general["early_pe_before_year"]:
            refused.append("early PE")
        if year is None and not resin and not general["squeeze_unknown_resin"]:
            refused.append("unknown resin")
    if method["refuse_inserted"] and text(main.get("host")) not in ("", "none"):
        refused.append("inserted")
    if text(main.get("joint")) in method["refuse_joints"]:
        refused.append("joint")
    for part in method["assembly"]:
        drilled = part["role"] != "barrier" or method["kind"] == "bag"
        if (
            part["role"] != "bypass"
            and drilled
            and not outlet_mm(part["role"], method["kind"], main["od_mm"])
        ):
            refused.append(f"no outlet for a {part['role']}")
    most = _fault_mbar(case, main_id, parts)
    if most is None:
        refused.append("fault pressure unknown")
    elif most > method["rating_mbar"] - method["rating_margin_mbar"] + 1e-6:
        refused.append(f"{most:g} mbar in a fault")
    return refused


def _fault_mbar(case: AnswerCase, main_id: str, parts: set[int]) -> float | None:
    """Return the greatest pressure in a fault on a main, before anything is shut [mbar]; None: unknown."""
    most, unknown = 0.0, False
    for ident, node in case.net.station_node.items():
        if case.before.part(node) in parts:
            record = case.raw.stations[ident]
            fault = number(record.get("max_outlet_mbar"))
            unknown |= fault is None
            most = max(most, fault or 0.0, float(record["outlet_mbar"]))
    if unknown:
        mop = number(case.raw.mains[main_id].get("mop_mbar"))
        return None if mop is None else max(most, mop)
    return most


def clear_m(rules: Row, method: Row, od_mm: float) -> float:
    """Return what a barrier keeps from fittings, tees and ends, as for anything drilled too [m]."""
    own = max(method["fitting_m"], method["fitting_od"] * od_mm / 1000.0)
    drilled = max(rules["clearance"]["fitting_m"], rules["clearance"]["fitting_od"] * od_mm / 1000.0)
    return float(max(own, drilled))


def _room(case: AnswerCase, stop: Row, method: Row, name: str) -> None:
    """Both barriers on one plain length, on the side away from the hit, clear of all and out of keep-outs."""
    main_id, at = stop["main_id"], stop["chainage_m"]
    od_mm = float(case.raw.mains[main_id]["od_mm"])
    clear = clear_m(case.rules, method, od_mm)
    offsets = [part["offset_m"] for part in method["assembly"] if part["role"] == "barrier"]
    span = max(offsets) - min(offsets)
    marks = [(place, clear) for place in case.raw.nodes_on(main_id)]
    same = max(clear, method["same_m"], method["same_od"] * od_mm / 1000.0)
    for place, kind in case.raw.fittings_on(main_id):
        is_mark = kind == "squeeze_mark" and method["kind"] == "squeeze"
        marks.append((place, same if is_mark else clear))
    ways = []
    for sign in (1.0, -1.0):
        low, high = sorted((at, at + sign * span))
        good = all(
            place <= low - need + ROUNDED_M or place >= high + need - ROUNDED_M for place, need in marks
        )
        line = case.spot(main_id, low), case.spot(main_id, high)
        good &= not any(area.buffer(-0.01).intersects(spot) for area in case.raw.keep_out for spot in line)
        least = case.rules["emergency"]["keep_away_m"] * case.raw.scale
        good &= all(spot.distance(one) >= least - ROUNDED_M for spot in line for one in case.hit_shapes)
        good &= low >= 0.0 and high <= case.raw.length_of(main_id)
        ways.append(good)
    case.require(any(ways), "no room for its barriers", f"{name}: {method['name']}")

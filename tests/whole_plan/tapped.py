"""What is tapped: fallbacks keep clear of it, dead ends have outlets that the steps use, no tee without a hose."""

from __future__ import annotations

import math

from tests.whole_plan.case import Case, Row

__all__ = ["check_tapped"]

CLOSE_M = 0.003
"""What places rounded to millimetres may differ by [m]."""
Place = tuple[str, float]


def check_tapped(case: Case) -> None:
    """Check fallback places, purge points of dead ends and bypass tees of one option."""
    for row in case.option["fallback"]:
        for use in row["use"]:
            if use["valve_id"] is None:
                _clear_of_tappings(case, row, use)
    _purge_points(case)
    for stop in case.option["stops"]:
        for tap in stop["tappings"]:
            if tap["role"] == "bypass":
                _is_used(case, stop, (tap["main_id"] or stop["main_id"], tap["chainage_m"]))


def _tapped(case: Case) -> list[Place]:
    """Return every place that the option taps or closes on mains, but for the insides of valves."""
    option = case.option
    found = [(s["main_id"], s["chainage_m"]) for s in option["stops"] if s["valve_id"] is None]
    found += [(t["main_id"] or s["main_id"], t["chainage_m"]) for s in option["stops"] for t in s["tappings"]]
    found += [(b[end]["main_id"], b[end]["chainage_m"]) for b in option["bypasses"] for end in ("from", "to")]
    return found


def _clear_of_tappings(case: Case, row: Row, use: Row) -> None:
    main, at = use["main_id"], float(use["chainage_m"])
    stop = next((one for one in case.option["stops"] if one["id"] == row["stop_id"]), None)
    case.require(stop is not None, "fallback of no stop", row["stop_id"])
    if stop is None:
        return
    rule = case.rules["clearance"]
    clear = max(rule["fitting_m"], rule["fitting_od"] * float(case.raw.mains[main]["od_mm"]) / 1000.0)
    parts = [part for part in case.method(use["method"])["assembly"] if part["role"] != "bypass"]
    marks = [place for name, place in _tapped(case) if name == main]
    outward = (math.copysign(1.0, at - stop["chainage_m"]),) if stop["main_id"] == main else (1.0, -1.0)
    nearest = max(
        min(
            (abs(at + sign * part["offset_m"] - mark) for part in parts for mark in marks),
            default=math.inf,
        )
        for sign in outward
    )
    what = f"{use['method']} for {row['stop_id']} on {main} at {at:g}: {nearest:.3f} m"
    case.require(nearest >= clear - CLOSE_M, "fallback on a tapping of the plan", what)


def _purge_points(case: Case) -> None:
    option = case.option
    for one in option["excavations"]:
        dug = [served["id"] for served in one["serves"] if served["what"] == "dead end"]
        case.require(not dug, "dead end dug without a purge point", f"{one['id']}: {dug}")
    vents = [
        (tap["main_id"] or stop["main_id"], tap["chainage_m"])
        for stop in option["stops"]
        for tap in stop["tappings"]
        if tap["role"] == "zone_vent"
    ]
    stages: dict[str, set[str]] = {}
    for step in option["steps"]:
        for ident in step["uses"]:
            stages.setdefault(ident, set()).add(step["stage"])
    for point in option["purge"]["points"]:
        # A vent of a part between two cuts is no way for a purge: it is opened once the zone is gas-free.
        wanted = {"gas-free" if point["role"] == "cut part" else "purge out", "tappings capped"}
        here = (point["main_id"], float(point["chainage_m"]))
        if not any(_same(here, vent) for vent in vents):
            wanted |= {"tappings drilled"}
            has_none = "list no outlet for this main" in point["note"]
            case.require(bool(point["outlet_mm"]) or has_none, "purge point without an outlet", point["id"])
        missing = wanted - stages.get(point["id"], set())
        case.require(not missing, "purge point missing in the steps", f"{point['id']}: {missing}")


def _is_used(case: Case, stop: Row, tee: Place) -> None:
    """Check that a bypass hangs on a tee, or that the hose of the purge in takes it."""
    hangs = any(
        _same(tee, (feed[end]["main_id"], feed[end]["chainage_m"]))
        for feed in case.option["bypasses"]
        if feed["kind"] == "bypass"
        for end in ("from", "to")
    )
    vents = [
        (tap["main_id"] or stop["main_id"], tap["chainage_m"])
        for tap in stop["tappings"]
        if tap["role"] == "zone_vent"
    ]
    purged = any(
        point["role"] == "feed" and "gauge" not in point["note"] and "inert" not in point["note"]
        for point in case.option["purge"]["points"]
        if any(_same(vent, (point["main_id"], point["chainage_m"])) for vent in vents)
    )
    case.require(hangs or purged, "bypass tee that nothing hangs on", f"{stop['id']} {tee}")


def _same(a: Place, b: Place) -> bool:
    return a[0] == b[0] and abs(a[1] - b[1]) <= CLOSE_M

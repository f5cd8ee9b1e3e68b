"""Where stops stand: the whole assembly on one piece, clear of joints, fittings and the work (section 5)."""

from __future__ import annotations

import bisect
import math
from typing import Any

import networkx as nx
import shapely

from tests.whole_plan.case import Case, Row
from tests.whole_plan.walk import number, text

__all__ = ["check_places"]

CLOSE_M = 0.002
"""What chainages rounded to millimetres may differ by [m]."""


def check_places(case: Case) -> None:
    """Check every stop, and that the places of fallback stops could hold their assembly."""
    graph = _distances(case)
    for stop in case.option["stops"]:
        _record(case, stop)
        _method(case, stop["id"], stop["method"], stop["main_id"], stop["valve_id"])
        if stop["valve_id"] is None:
            _assembly(case, stop)
        _clear_of_work(case, stop, graph)
    _between_stops(case)
    for row in case.option["prepared_fallbacks"]:
        _method(case, row["id"], row["method"], row["main_id"], row["valve_id"])
        if row["valve_id"] is None:
            _assembly(case, row)
            _clear_of_work(case, row, graph)
    for row in case.option["fallback"]:
        for use in row["use"]:
            name = f"fallback of {row['stop_id']} ({row['failure']})"
            _method(case, name, use["method"], use["main_id"], use["valve_id"])
            if use["valve_id"] is None:
                _fallback_place(case, name, use)


def _record(case: Case, stop: Row) -> None:
    """Surface, size, price and coordinates are those of the stop's own main."""
    main, name = case.raw.mains[stop["main_id"]], stop["id"]
    surface = text(main.get("surface")) or "unknown"
    case.require(
        stop["surface"] == surface, "surface of another main", f"{name}: {stop['surface']} for {surface}"
    )
    case.require(math.isclose(stop["od_mm"], main["od_mm"], abs_tol=0.1), "size of another main", name)
    rule = case.method(stop["method"])
    price = rule["price"] + rule["price_per_mm_od"] * main["od_mm"] + rule["price_surface"][surface]
    if rule["kind"] == "valve":
        pit = case.rules["excavation"]
        price += pit["price"] + pit["price_surface"][surface]
    case.require(
        math.isclose(stop["price"], price, abs_tol=0.011),
        "price of another main",
        f"{name}: {stop['price']} for {price}",
    )
    length = case.raw.length_of(stop["main_id"])
    places = [stop["chainage_m"]]
    places += [t["chainage_m"] for t in stop["tappings"] if t["main_id"] in ("", stop["main_id"])]
    case.require(
        min(places) >= -CLOSE_M and max(places) <= length + CLOSE_M,
        "chainage beyond the main",
        f"{name}: {min(places):g} to {max(places):g} on {stop['main_id']} of {length:.3f} m",
    )
    line = case.raw.lines[case.raw.row_of(stop["main_id"])]
    spot = line.interpolate(stop["chainage_m"] * case.raw.scale)
    off = spot.distance(shapely.Point(stop["x"], stop["y"]))
    case.require(off <= 0.02, "coordinates of a stop", f"{name}: {off:.2f} m off its chainage")


def _method(case: Case, name: str, method: str, main_id: str, valve_id: str | None) -> None:
    """Check what the method allows: material, size, age, host, joints; a valve's state and operability."""
    rule, main = case.method(method), case.raw.mains[main_id]
    if rule["kind"] == "valve":
        record = case.raw.valves[str(valve_id)]
        known = text(record["state"]) in ("open", "closed") and text(record.get("operable")) == "yes"
        case.require(known, "stop is a valve not known to work", f"{name}: {valve_id}")
        return
    general = case.rules["method_general"]
    year, resin = number(main.get("year")), text(main.get("resin"))
    refused = []
    if main["material"] not in rule["materials"]:
        refused.append(str(main["material"]))
    if not rule["od_min_mm"] - 1e-6 <= main["od_mm"] <= rule["od_max_mm"] + 1e-6:
        refused.append(f"{main['od_mm']:g} mm")
    if rule["refuse_early_pe"]:
        if year is not None and year < general["early_pe_before_year"]:
            refused.append(f"early PE of {year:g}")
        if year is None and not resin and not general["squeeze_unknown_resin"]:
            refused.append("unknown resin")
    if rule["refuse_inserted"] and text(main.get("host")) not in ("", "none"):
        refused.append("inserted")
    if text(main.get("joint")) in rule["refuse_joints"]:
        refused.append("joint")
    case.require(not refused, "method not for this main", f"{name}: {method} on {main_id}: {refused}")


def _piece(case: Case, main_id: str, at: float) -> tuple[float, float]:
    nodes = case.raw.nodes_on(main_id)
    k = min(max(bisect.bisect_right(nodes, at), 1), len(nodes) - 1)
    return nodes[k - 1], nodes[k]


def _clearances(case: Case, method: Row, od_m: float) -> tuple[float, float]:
    """Return the clearance of a tapping and that of a barrier to fittings and joints [m]."""
    rules = case.rules["clearance"]
    tapping = max(rules["fitting_m"], rules["fitting_od"] * od_m)
    return float(tapping), float(max(method["fitting_m"], method["fitting_od"] * od_m))


def _clear(method: Row, role: str, tapping_m: float, barrier_m: float) -> float:
    """Return what a part of a stop keeps from fittings and joints [m]; a squeeze's barriers are not drilled."""
    if role != "barrier":
        return tapping_m
    return max(tapping_m, barrier_m) if method["kind"] == "bag" else barrier_m


def _assembly(case: Case, stop: Row) -> None:
    """Every tapping on one piece with its clearances; only the bypass tee may lie in the next."""
    method = case.method(stop["method"])
    od_m = case.raw.mains[stop["main_id"]]["od_mm"] / 1000.0
    tapping_m, barrier_m = _clearances(case, method, od_m)
    sign = 1.0 if stop["work_side"] == "from" else -1.0
    planned = {(p["role"], round(stop["chainage_m"] + sign * p["offset_m"], 2)) for p in method["assembly"]}
    for tap in stop["tappings"]:
        own = tap["main_id"] in ("", stop["main_id"])
        if tap["role"] in ("bypass", "purge_in"):
            _one_place(case, stop, tap, tap["main_id"] or stop["main_id"], tapping_m)
            continue
        case.require(own, "tapping on another main", f"{stop['id']}: {tap['role']} on {tap['main_id']}")
        if not own:
            continue
        near = any(role == tap["role"] and abs(at - tap["chainage_m"]) <= 0.02 for role, at in planned)
        case.require(
            near, "assembly unlike the rules", f"{stop['id']}: {tap['role']} at {tap['chainage_m']:g}"
        )
        clear = _clear(method, tap["role"], tapping_m, barrier_m)
        low, high = _piece(case, stop["main_id"], stop["chainage_m"])
        inside = low - CLOSE_M <= tap["chainage_m"] <= high + CLOSE_M
        what = f"{stop['id']} ({stop['method']}): {tap['role']} at {tap['chainage_m']:g} on {stop['main_id']}"
        case.require(inside, "assembly straddles a joint", f"{what}, piece {low:.3f} to {high:.3f}")
        if inside:
            _one_place(case, stop, tap, stop["main_id"], clear)


def _one_place(case: Case, stop: Row, tap: Row, main_id: str, clear: float) -> None:
    at, method = tap["chainage_m"], case.method(stop["method"])
    what = f"{stop['id']} ({stop['method']}): {tap['role']} at {at:g} on {main_id}"
    joints = [n for n in case.raw.nodes_on(main_id) if abs(n - at) < clear - CLOSE_M]
    case.require(not joints, "too near a joint", f"{what}, joint at {joints[:1]}, clearance {clear:g}")
    od_m = case.raw.mains[main_id]["od_mm"] / 1000.0
    for place, kind in case.raw.fittings_on(main_id):
        need = clear
        if kind == "squeeze_mark" and method["kind"] == "squeeze" and tap["role"] == "barrier":
            need = max(clear, method["same_m"], method["same_od"] * od_m)
        case.require(
            abs(place - at) >= need - CLOSE_M,
            "too near a fitting",
            f"{what}, {kind} at {place:.3f}, {need:g}",
        )
    spot = case.raw.lines[case.raw.row_of(main_id)].interpolate(at * case.raw.scale)
    inside = any(area.buffer(-0.01).intersects(spot) for area in case.raw.keep_out)
    case.require(not inside, "stop in a keep-out", what)


def _distances(case: Case) -> nx.Graph[Any]:
    graph: nx.Graph[Any] = nx.Graph()
    for _, low, high, a, b in case.net.pieces:
        length = (high - low) / case.raw.scale
        known = graph.get_edge_data(a, b, {"weight": math.inf})["weight"]
        graph.add_edge(a, b, weight=min(length, known))
    for a, b in case.net.gaps.values():
        graph.add_edge(a, b, weight=0.0)
    return graph


def _clear_of_work(case: Case, stop: Row, graph: nx.Graph[Any]) -> None:
    """Every tapping at least the rules' distance from the end of the work section, along the mains."""
    need = case.rules["clearance"]["work_m"]
    reached = nx.multi_source_dijkstra_path_length(graph, set(case.net.work_nodes), cutoff=need + 1.0)
    for k, tap in enumerate(stop["tappings"]):
        apart = reached.get(("tap", stop["id"], k), math.inf)
        inside = any(
            main == (tap["main_id"] or stop["main_id"]) and low < tap["chainage_m"] < high
            for main, low, high in case.net.work
        )
        case.require(
            not inside and apart >= need - CLOSE_M,
            "too near the work",
            f"{stop['id']}: {tap['role']} {apart:.3f} m from the work, inside {inside}",
        )


def _between_stops(case: Case) -> None:
    """Check that squeezes keep their distance from each other, and assemblies do not overlap."""
    spans = []
    for stop in case.option["stops"]:
        own = [t for t in stop["tappings"] if t["main_id"] in ("", stop["main_id"]) and t["role"] != "bypass"]
        if own and stop["valve_id"] is None:
            at = [t["chainage_m"] for t in own]
            spans.append((stop["main_id"], min(at), max(at), stop))
    for i, (main, low, high, stop) in enumerate(spans):
        for other_main, other_low, other_high, other in spans[:i]:
            if main == other_main:
                case.require(
                    other_high < low or other_low > high, "assemblies overlap", f"{stop['id']}, {other['id']}"
                )


def _fallback_place(case: Case, name: str, use: Row) -> None:
    """Check that the assembly of a fallback stop fits its piece in one of the two directions."""
    method = case.method(use["method"])
    od_m = case.raw.mains[use["main_id"]]["od_mm"] / 1000.0
    tapping_m, barrier_m = _clearances(case, method, od_m)
    low, high = _piece(case, use["main_id"], use["chainage_m"])
    fits = []
    for sign in (1.0, -1.0):
        holds = True
        for part in method["assembly"]:
            if part["role"] != "bypass":
                clear = _clear(method, part["role"], tapping_m, barrier_m)
                at = use["chainage_m"] + sign * part["offset_m"]
                holds &= low + clear - CLOSE_M <= at <= high - clear + CLOSE_M
        fits.append(holds)
    case.require(
        any(fits),
        "fallback's assembly on a joint",
        f"{name}: {use['method']} on {use['main_id']} at {use['chainage_m']:g}, piece {low:.3f} to {high:.3f}",
    )

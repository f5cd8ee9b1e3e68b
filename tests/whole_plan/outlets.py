"""How wide things are tapped, and that what is used is tapped: by a table of outlets written down for the tests."""

from __future__ import annotations

import math
from typing import Any

import networkx as nx

from tests.support.outlets import named_mm, outlet_mm
from tests.whole_plan.case import Case, Row

__all__ = ["check_outlets"]

CLOSE_M = 0.003
"""What places rounded to millimetres may differ by [m]."""
Place = tuple[str, float]


def check_outlets(case: Case) -> None:
    """Check tappings, bypasses, purge points and what is tapped beside valves."""
    for stop in case.option["stops"]:
        for tap in stop["tappings"]:
            _tapping(case, stop, tap)
        if stop["valve_id"] is not None:
            _beside_valve(case, stop)
    for feed in case.option["bypasses"]:
        _bypass(case, feed)
    _fallbacks(case)
    _purge(case)


def _od_mm(case: Case, main_id: str) -> float:
    return float(case.raw.mains[main_id]["od_mm"])


def _own_main(stop: Row, tap: Row) -> str:
    return str(tap["main_id"] or stop["main_id"])


def _same(a: Place, b: Place) -> bool:
    return a[0] == b[0] and abs(a[1] - b[1]) <= CLOSE_M


def _tapping(case: Case, stop: Row, tap: Row) -> None:
    main = _own_main(stop, tap)
    size = outlet_mm(tap["role"], stop["kind"], _od_mm(case, main))
    what = f"{stop['id']} {tap['role']} of {tap['size_mm']:g} mm on {main} of {_od_mm(case, main):g} mm"
    case.require(tap["size_mm"] == size, "outlet unlike the table", f"{what}, table {size}")
    drilled = tap["role"] != "barrier" or stop["kind"] == "bag"
    case.require(bool(size) or not drilled, "no outlet fits", what)
    hoses = 0
    if tap["role"] == "bypass":
        here = (main, tap["chainage_m"])
        ends = [
            (feed["parallel"], feed[end])
            for feed in case.option["bypasses"]
            if feed["kind"] == "bypass"
            for end in ("from", "to")
        ]
        hoses = sum(n for n, end in ends if _same(here, (end["main_id"], end["chainage_m"])))
        _row_of_tees(case, stop, tap)
    case.require(tap["count"] == max(hoses, 1), "tees of a bypass", f"{what}: {tap['count']} for {hoses}")


def _row_of_tees(case: Case, stop: Row, tap: Row) -> None:
    """Check that every further tee is clear of nodes and fittings, on outward from the stop."""
    main, at = _own_main(stop, tap), float(tap["chainage_m"])
    rule = case.rules["clearance"]
    clear = max(rule["fitting_m"], rule["fitting_od"] * _od_mm(case, main) / 1000.0)
    marks = [*case.raw.nodes_on(main), *(place for place, _ in case.raw.fittings_on(main))]
    ways = [1.0, -1.0]
    if main == stop["main_id"]:
        ways = [math.copysign(1.0, at - stop["chainage_m"])]
    holds = [
        all(
            abs(mark - at - sign * k * clear) >= clear - CLOSE_M
            for k in range(tap["count"])
            for mark in marks
        )
        for sign in ways
    ]
    case.require(any(holds), "no room for a tee", f"{stop['id']}: {tap['count']} from {at:g} on {main}")


def _beside_valve(case: Case, stop: Row) -> None:
    """Check that a valve has a zone vent in the zone and a gauge on the live side, each clear and near."""
    name, gap = stop["id"], case.gap(stop)
    roles = sorted(tap["role"] for tap in stop["tappings"])
    drawn = [role for role in roles if role != "purge_in"]
    case.require(drawn == ["gauge", "zone_vent"], "tappings of a valve", f"{name}: {roles}")
    live = case.live_node(stop)
    zone = next(node for node in case.net.gaps[gap] if node != live)
    graph: nx.Graph[Any] = nx.Graph()
    for _, low, high, a, b in case.net.pieces:
        graph.add_edge(a, b, weight=(high - low) / case.raw.scale)
    for key, (a, b) in case.net.gaps.items():
        if isinstance(key, tuple) and key[0] == "use":  # a fallback is not set yet
            graph.add_edge(a, b, weight=0.0)
    rule = case.rules["clearance"]
    for k, tap in enumerate(stop["tappings"]):
        node, main = ("tap", name, k), _own_main(stop, tap)
        in_zone, wanted = case.stopped.in_zone(node), tap["role"] == "zone_vent"
        case.require(in_zone == wanted, "tapping on the wrong side", f"{name}: {tap['role']}")
        reached = nx.single_source_dijkstra_path_length(graph, zone if wanted else live, weight="weight")
        away = reached.get(node, math.inf)
        most = case.rules["valve"]["tapping_reach_m"]
        signed = -away if wanted else away
        what = f"{name}: {tap['role']} {away:.3f} m from {stop['valve_id']}, stated {tap['offset_m']:g}"
        # Gas for a purge is taken from an outlet a clearance beyond that of the gauge.
        near_enough = away <= most + CLOSE_M or tap["role"] == "purge_in"
        case.require(near_enough, "tapping far from its valve", what)
        case.require(abs(tap["offset_m"] - signed) <= 2 * CLOSE_M, "tapping's offset", what)
        clear = max(rule["fitting_m"], rule["fitting_od"] * _od_mm(case, main) / 1000.0)
        marks = [*case.raw.nodes_on(main), *(place for place, _ in case.raw.fittings_on(main))]
        near = [mark for mark in marks if abs(mark - tap["chainage_m"]) < clear - CLOSE_M]
        case.require(not near, "too near a joint", f"{what}: {near[:1]}")


def _bypass(case: Case, feed: Row) -> None:
    """Check that no hose is wider than the outlets at its two ends."""
    ends = [outlet_mm("bypass", "", _od_mm(case, feed[end]["main_id"])) for end in ("from", "to")]
    stated = [feed["outlet_from_mm"], feed["outlet_to_mm"]]
    what = f"{feed['id']} of {feed['bore_mm']:g} mm between outlets of {ends}"
    case.require(stated == ends, "outlet unlike the table", f"{what}, stated {stated}")
    case.require(named_mm(feed["bore_mm"]) <= min(ends), "bypass wider than its tee", what)
    case.require(feed["parallel"] <= feed["most_parallel"], "no room for a tee", what)


def _fallbacks(case: Case) -> None:
    """Check how wide prepared fallbacks are tapped, and that a hose moved to one fits its tees."""
    for row in case.option["prepared_fallbacks"]:
        for tap in row["tappings"]:
            main = _own_main(row, tap)
            size = outlet_mm(tap["role"], row["kind"], _od_mm(case, main))
            what = f"{row['id']} {tap['role']} of {tap['size_mm']:g} mm on {main}"
            case.require(tap["size_mm"] == size, "outlet unlike the table", f"{what}, table {size}")
    tees = {
        (_own_main(row, tap), float(tap["chainage_m"])): tap["count"]
        for row in case.option["prepared_fallbacks"]
        for tap in row["tappings"]
        if tap["role"] == "bypass"
    }
    for row in case.option["fallback"]:
        for move in row["moves"]:
            feed = next(f for f in case.option["bypasses"] if f["id"] == move["feed_id"])
            to = (move["to"]["main_id"], float(move["to"]["chainage_m"]))
            what = f"{feed['id']} of {feed['bore_mm']:g} mm moved to {to[0]}"
            widest = outlet_mm("bypass", "", _od_mm(case, to[0]))
            case.require(named_mm(feed["bore_mm"]) <= widest, "bypass wider than its tee", what)
            if any(use["prepared_id"] for use in row["use"]):
                room = max((n for place, n in tees.items() if _same(place, to)), default=0)
                case.require(feed["parallel"] <= room, "tees of a moved hose", f"{what}: {room}")


def _purge(case: Case) -> None:
    """Check that every purge point is a zone vent of a stop or an end away from stops; and its stack fits."""
    vents: list[tuple[Place, float]] = []
    places: list[Place] = []
    for stop in case.option["stops"]:
        places.append((stop["main_id"], stop["chainage_m"]))
        for tap in stop["tappings"]:
            place = (_own_main(stop, tap), float(tap["chainage_m"]))
            places.append(place)
            if tap["role"] == "zone_vent":
                vents.append((place, tap["size_mm"]))
    for point in case.option["purge"]["points"]:
        here = (point["main_id"], float(point["chainage_m"]))
        sizes = [size for place, size in vents if _same(place, here)]
        what = f"{point['id']} ({point['role']}) on {here[0]} at {here[1]:g}"
        # Nitrogen alone may go in at a dead end, where no stop has gas behind it.
        is_inert = case.option["purge"]["reached"] is False and point["least_m3h"] is None
        case.require(
            bool(sizes) or point["role"] != "feed" or is_inert, "gas let in through no tapping", what
        )
        if not sizes:
            case.require(
                not any(_same(place, here) for place in places), "purge point without a tapping", what
            )
            sizes = [outlet_mm("zone_vent", "", _od_mm(case, here[0]))]
        bore = point["stack_bore_mm"]
        if bore is not None and min(sizes) > 0:
            case.require(named_mm(bore) <= min(sizes), "stack wider than its outlet", f"{what}: {bore:g}")

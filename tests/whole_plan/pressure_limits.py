"""Fault pressure in every state, and which parts feeds may join (design, section 5, hard constraints)."""

from __future__ import annotations

import math

import shapely

from tests.whole_plan.case import Case, Row
from tests.whole_plan.walk import Key, State, number, text

__all__ = ["check_fault_pressures", "check_feeds"]

DIFFERENCE_MBAR = 5.0
"""How much set outlets that a feed joins may differ, where the rules do not say [mbar]."""
CLOSE_MBAR = 0.005
CLOSE_M = 0.002


class Faults:
    """The highest pressure in a station fault in every part of a state [mbar gauge]."""

    def __init__(self, case: Case, state: State) -> None:
        self.state = state
        self.known: dict[int, float] = {}
        self.missing: set[int] = set()
        for ident, node in case.net.station_node.items():
            part, record = state.part(node), case.raw.stations[ident]
            most = number(record.get("max_outlet_mbar"))
            if most is None:
                self.missing.add(part)
            high = max(most or 0.0, float(record["outlet_mbar"]))
            self.known[part] = max(self.known.get(part, 0.0), high)

    def at(self, node: Key, mop_mbar: float | None) -> float | None:
        """Return the fault pressure at a node of a main; its mop stands in for what is not recorded.

        0 where no station reaches; None where nothing is known.
        """
        part = self.state.part(node)
        if part in self.missing:
            return None if mop_mbar is None else max(self.known[part], mop_mbar)
        return self.known.get(part, 0.0)

    def known_at(self, node: Key) -> float:
        """Return what the records say a station can give at a node; 0 without a station."""
        return self.known.get(self.state.part(node), 0.0)


def check_fault_pressures(case: Case) -> None:
    """Ratings of stops, mop of mains and the meters' limit hold in a fault in every state of the work."""
    before = Faults(case, case.before)
    highest: dict[str, float] = {}
    for moment in case.moments:
        faults = Faults(case, moment.state)
        for name, method, gap in moment.stops:
            sides = [faults.at(node, _mop_at(case, gap)) for node in case.net.gaps[gap]]
            rule = case.method(method)
            limit = float(rule["rating_mbar"]) - float(rule["rating_margin_mbar"])
            what = f"{moment.name}: {name} ({method}, {limit:g} mbar)"
            case.require(None not in sides, "fault pressure unknown at a stop", what)
            most = max(side or 0.0 for side in sides)
            case.require(
                most <= limit + CLOSE_MBAR, "fault pressure above rating", f"{what} may see {most:g}"
            )
            if moment.fallback < 0:
                highest[name] = max(highest.get(name, 0.0), most)
        _raised(case, before, faults, moment.name)
    for stop in case.option["stops"]:
        stated, most = stop["fault_pressure_mbar"], highest[stop["id"]]
        case.require(
            most == 0.0 if stated is None else stated > 0.0 and stated >= most - CLOSE_MBAR,
            "stated fault pressure too low",
            f"{stop['id']} states {stated}, may see {most:g}",
        )


def _mop_at(case: Case, gap: Key) -> float | None:
    node = case.net.gaps[gap][0]
    row = next(row for row, marks in case.net.marks.items() if any(m[2] == node for m in marks))
    return number(case.raw.mains[case.raw.name[row][1]].get("mop_mbar"))


def _raised(case: Case, before: Faults, then: Faults, name: str) -> None:
    """Check mains and meters whose fault pressure the work raises."""
    above: dict[str, str] = {}
    for row, _, _, node, _ in case.net.pieces:
        layer, ident = case.raw.name[row]
        mop = number(case.raw.mains[ident].get("mop_mbar")) if layer == "mains" else None
        was, now = before.known_at(node), then.known_at(node)
        if mop is not None and was > 0 and now > max(was, mop) + CLOSE_MBAR:
            above[ident] = f"{ident} may see {now:g}, before {was:g}, mop {mop:g}"
    for words in sorted(above.values())[:1]:
        case.say("fault pressure above mop", f"{name}: {len(above)} mains, {words}")
    limit = case.rules["pressure"].get("fault_maximum_mbar")
    if limit is None:
        return
    high = []
    for ident, nodes in case.raw.ends_of.items():
        for node in nodes:
            was, now = before.known_at(node), then.known_at(node)
            if was > 0 and now > max(was, limit) + CLOSE_MBAR:
                high.append(f"{ident} may see {now:g}, before {was:g}")
    for words in sorted(high)[:1]:
        case.say("fault pressure above the meters' limit", f"{name}: {len(high)} inlets, {words}")


def check_feeds(case: Case) -> None:
    """Check that feeds join compatible parts of one system, within reach, round keep-out areas."""
    for feed in case.option["bypasses"]:
        ends: list[Key] = [("end", feed["id"], end) for end in ("from", "to")]
        _joined(case, feed["id"], ends, [feed[end]["main_id"] for end in ("from", "to")])
        _hose(case, feed)
    for opened in case.option["opened_valves"]:
        ident = opened["valve_id"]
        record = case.raw.valves[ident]
        good = text(record["state"]) == "closed" and text(record.get("operable")) == "yes"
        case.require(good, "opened valve not closed and operable", ident)
        main = case.raw.name[case.raw.placed["valves"][ident][0]][1]
        _joined(case, ident, list(case.net.gaps[("valve", ident)]), [main, main])


def _joined(case: Case, name: str, ends: list[Key], mains: list[str]) -> None:
    systems = {text(case.raw.mains[m].get("system")) or "LP" for m in mains}
    case.require(len(systems) == 1, "feed joins two systems", f"{name}: {sorted(systems)}")
    parts = {case.before.part(end) for end in ends}
    if len(parts) == 1:
        return
    stations = {s for end in ends for s in case.before.fed_by(end)}
    outlets = [float(case.raw.stations[s]["outlet_mbar"]) for s in stations]
    most = float(case.rules["pressure"].get("outlet_difference_mbar", DIFFERENCE_MBAR))
    apart = max(outlets) - min(outlets) if outlets else 0.0
    case.require(
        apart <= most + CLOSE_MBAR,
        "feed joins unequal areas",
        f"{name}: set outlets {min(outlets, default=0):g} and {max(outlets, default=0):g} mbar",
    )


def _hose(case: Case, feed: Row) -> None:
    rules, price = case.rules["bypass"], case.rules["price"]
    spots = []
    for end in ("from", "to"):
        place = feed[end]
        line = case.raw.lines[case.raw.row_of(place["main_id"])]
        spot = line.interpolate(place["chainage_m"] * case.raw.scale)
        off = spot.distance(shapely.Point(place["x"], place["y"]))
        case.require(
            off <= 0.02, "place of a feed's end", f"{feed['id']} {end}: {off:.2f} m off its chainage"
        )
        spots.append(spot)
        _end_clear(case, feed, end)
    straight = spots[0].distance(spots[1]) / case.raw.scale
    case.require(
        feed["length_m"] >= straight - CLOSE_M, "length of a feed", f"{feed['id']}: shorter than straight"
    )
    case.require(
        feed["length_m"] <= rules["reach_m"] + CLOSE_M,
        "feed beyond reach",
        f"{feed['id']}: {feed['length_m']:g} m",
    )
    _route(case, feed, spots)
    per_m = price["bypass_per_m" if feed["kind"] == "bypass" else "hose_per_m"]
    each = price["bypass"] + per_m * feed["length_m"] + price["ramp"] * feed["crossings"]
    cost = feed["parallel"] * round(100 * each) / 100 + feed["tees_price"]
    case.require(
        math.isclose(feed["price"], cost, abs_tol=0.02 * per_m * feed["parallel"]),
        "price of a feed",
        f"{feed['id']}: {feed['price']} for {cost}",
    )
    for end in ("from", "to"):
        case.require(
            not case.stopped.in_zone(("end", feed["id"], end)),
            "feed ends in the zone",
            f"{feed['id']} {end}",
        )
    case.require(
        bool(case.stopped.fed_by(("end", feed["id"], "from"))), "feed from a part without gas", feed["id"]
    )


def _route(case: Case, feed: Row, spots: list[shapely.Point]) -> None:
    """Check that a feed's route joins its tees, is as long as it says, and crosses nothing it may not."""
    way, ident = shapely.LineString(feed["route"]), feed["id"]
    ends = [shapely.Point(way.coords[0]), shapely.Point(way.coords[-1])]
    off = max(spot.distance(end) for spot, end in zip(spots, ends, strict=True))
    case.require(off <= 0.02, "route of a feed", f"{ident}: ends {off:.2f} m off its tees")
    length = case.rules["bypass"]["slack"] * way.length / case.raw.scale
    case.require(
        abs(length - feed["length_m"]) <= CLOSE_M + 0.001 * len(way.coords),
        "length of a feed",
        f"{ident}: {feed['length_m']:g} m, {length:g} m by its route",
    )
    # A house recorded over a tee is a bad record, and the plan has to say so.
    over = [
        house for house in case.raw.buildings if any(house.buffer(-0.02).contains(spot) for spot in spots)
    ]
    houses = [house for house in case.raw.buildings if not any(house is one for one in over)]
    for what, some in (
        ("keep-out", case.raw.keep_out),
        ("building", houses),
        ("water or rail", case.raw.no_crossing),
    ):
        # Coordinates of the route are rounded; a tee may stand at the wall itself.
        crossed = [one for one in some if way.intersects(one.buffer(-0.02) if one.area > 0 else one)]
        case.require(not crossed, f"feed crosses {what}", ident)
    case.require(
        bool(over) == ("inside a building" in feed["route_note"]), "house over a tee not told", ident
    )


def _end_clear(case: Case, feed: Row, end: str) -> None:
    """Check that a feed's tapping keeps clear of fittings, ends of mains and tees."""
    main_id, at = feed[end]["main_id"], float(feed[end]["chainage_m"])
    od_m = float(case.raw.mains[main_id]["od_mm"]) / 1000.0
    clear = max(case.rules["clearance"]["fitting_m"], case.rules["clearance"]["fitting_od"] * od_m)
    near = [node for node in case.raw.nodes_on(main_id) if abs(node - at) < clear - CLOSE_M]
    near += [place for place, _ in case.raw.fittings_on(main_id) if abs(place - at) < clear - CLOSE_M]
    case.require(
        not near, "feed's tapping on a joint", f"{feed['id']} {end}: {main_id} at {at:g}, {near[:1]}"
    )

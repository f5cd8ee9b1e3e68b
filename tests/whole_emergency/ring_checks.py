"""What every ring of an answer has to keep: parted, who loses gas, distances, what is shut first."""

from __future__ import annotations

import math
import re
from typing import Final

from tests.whole_emergency.answer_case import ROUNDED_M, AnswerCase, Row
from tests.whole_emergency.stop_checks import check_stop
from tests.whole_plan.walk import text

__all__ = ["check_answer"]

LINES: Final = {
    "station": re.compile(r"^(?:Station|Injection) (\S+) feeds the ring"),
    "sensing": re.compile(r"^Station (\S+) senses"),
    "second": re.compile(r"^Meter point (\S+) .*another service"),
    "closed": re.compile(r"^Valve ([^\s,]+)(?:, .*,)? bounds the ring and is recorded as closed"),
}


def check_answer(case: AnswerCase) -> None:
    """Check all rings of an answer, those for valves that fail too."""
    data, failed = case.data, set(case.data["failed_valves"])
    _hits(case)
    for ring in data["rings"]:
        check_ring(case, ring, failed)
    for one in data["next_rings"]:
        check_ring(case, one["ring"], failed | set(one["if_failed"]))
    least = [ring for ring in data["rings"] if ring["aim"] == "least minutes"]
    case.require(
        sorted(ring["kind"] for ring in least) == ["fastest", "valves"], "both rings", str(len(least))
    )
    for ring in least:
        ready = {
            tuple(one["if_failed"])
            for one in data["next_rings"]
            if one["ring"]["kind"] == ring["kind"] and len(one["if_failed"]) == 1
        }
        wanted = {(stop["valve_id"],) for stop in ring["stops"] if stop["valve_id"]}
        case.require(wanted <= ready, "a ring is ready for each valve", f"{ring['kind']}: {wanted - ready}")
    quickest = {ring["kind"]: ring for ring in least}
    if len(quickest) == 2 and case.data["rings"][0]["crews"] == 1:
        valves, fastest = quickest["valves"], quickest["fastest"]
        key = ("stations_to_shut", "minutes")
        one, other = (tuple(len(r[k]) if k == key[0] else r[k] for k in key) for r in (fastest, valves))
        case.require(one <= other, "the fastest ring is no slower", f"{one} and {other}")
    _people(case, least)
    _nearby(case)


def _hits(case: AnswerCase) -> None:
    """Check that every live main and service within the error is named."""
    if case.named or "--address" in case.data["asked"]:
        return
    reach = case.reach_m * case.raw.scale
    near = {
        name
        for name, line in zip(case.raw.name, case.raw.lines, strict=True)
        if line.distance(case.place) <= reach - 0.3
    }
    error = case.data["location_error_m"]
    mains = {ident for layer, ident in near if layer == "mains"}
    said = {hit["main_id"] for hit in case.data["hits"]}
    case.require(mains <= said, "mains within the error", f"{sorted(mains - said)} within {error:g} m")
    if case.reach_m <= error:
        services = {ident for layer, ident in near if layer == "services"}
        told = {one["service_id"] for one in case.data["services"]}
        case.require(services <= told, "services within the error", f"{sorted(services - told)}")


def check_ring(case: AnswerCase, ring: Row, failed: set[str]) -> None:
    """Check one ring, with some valves failed."""
    name = f"{ring['kind']} ({ring['aim']})"
    state, shut = case.state(ring), set(ring["stations_to_shut"])
    hit = {state.part(node) for node in case.hit_nodes}
    feeding = {ident for ident, node in case.sources().items() if state.part(node) in hit}
    case.require(feeding <= shut, "gas reaches the hit", f"{name}: from {sorted(feeding - shut)}")
    case.require(shut <= feeding, "a station is shut for nothing", f"{name}: {sorted(shut - feeding)}")
    off, said = case.people_off(ring), ring["customers_off"]
    case.require(len(set(said)) == len(said), "customer listed twice", name)
    case.require(
        off == set(said), "who loses gas", f"{name}: {sorted(off - set(said))}, not {sorted(set(said) - off)}"
    )
    meters = sum(case.meters_of(ident) for ident in off)
    case.require(ring["meters"] == meters, "meters", f"{name}: {ring['meters']} for {meters}")
    urgent = {ident for ident in off if case.is_priority(ident)}
    case.require(set(ring["priority"]) == urgent, "priority", f"{name}: {ring['priority']}")
    for stop in ring["stops"]:
        check_stop(case, ring, stop, failed)
    _schedule(case, ring, name)
    _first(case, ring, name, hit)


def _schedule(case: AnswerCase, ring: Row, name: str) -> None:
    """Check that every crew goes from stop to stop without a break; the ring is shut with the last of them."""
    stops = ring["stops"]
    case.require([s["n"] for s in stops] == [*range(1, len(stops) + 1)], "numbers", name)
    ends = [s["ends_min"] for s in stops]
    case.require(ends == sorted(ends), "order of shutting", f"{name}: {ends}")
    for crew in range(1, ring["crews"] + 1):
        own = [s for s in stops if s["crew"] == crew]
        at = 0.0
        for stop in own:
            good = math.isclose(stop["begins_min"], at, abs_tol=0.11)
            case.require(good, "schedule of a crew", f"{name}: crew {crew} at {stop['begins_min']}")
            at = stop["ends_min"]
            took = stop["ends_min"] - stop["begins_min"]
            case.require(
                math.isclose(took, stop["minutes"], abs_tol=0.11), "minutes of a stop", f"{name}: {took}"
            )
    case.require(all(1 <= s["crew"] <= ring["crews"] for s in stops), "crews", name)
    last = max((s["ends_min"] for s in stops), default=0.0)
    case.require(ring["minutes"] == last, "minutes of a ring", f"{name}: {ring['minutes']} for {last}")
    total = sum(s["minutes"] for s in stops)
    case.require(
        math.isclose(ring["minutes_sum"], total, abs_tol=0.06 * max(len(stops), 1)), "sum of minutes", name
    )
    proof = ring["proof"]
    case.require(proof["lower_bound_min"] <= ring["minutes"] + 1e-6, "bound above the minutes", name)
    gap = ring["minutes"] - proof["lower_bound_min"]
    case.require(math.isclose(proof["gap_min"], gap, abs_tol=0.11), "gap", f"{name}: {proof['gap_min']}")
    if ring["crews"] == 1 and ring["aim"] == "least minutes":
        case.require(proof["optimal"], "one crew: proven", name)


def _first(case: AnswerCase, ring: Row, name: str, hit: set[int]) -> None:
    """Check that what is to be done first names exactly the stations, sensing points, services and closed valves."""
    after, shut = case.state(ring), set(ring["stations_to_shut"])
    has = case.fed(after, shut)
    had = case.fed(case.before, set())
    wanted: dict[str, set[str]] = {"station": shut}
    wanted["sensing"] = {
        ident
        for ident, node in case.net.station_node.items()
        if ident in case.raw.sensing
        and ident not in shut
        and after.part(("sensing", ident)) != after.part(node)
    }
    wanted["second"] = {
        ident
        for ident in ring["customers_off"]
        if any(after.part(n) in hit and case.before.part(n) in had for n in case.raw.ends_of[ident])
        and any(after.part(n) in has for n in case.raw.ends_of[ident])
    }
    wanted["closed"] = {
        ident
        for ident, record in case.raw.valves.items()
        if text(record["state"]) == "closed"
        and ("valve", ident) in case.net.gaps
        and len({after.part(n) in hit for n in case.net.gaps[("valve", ident)]}) == 2
    }
    for what, pattern in LINES.items():
        told = {match[1] for line in ring["do_first"] if (match := pattern.match(line))}
        case.require(
            told == wanted[what],
            f"to do first: {what}",
            f"{name}: {sorted(told - wanted[what])} said, {sorted(wanted[what] - told)} missing",
        )


def _people(case: AnswerCase, least: list[Row]) -> None:
    """Check that everybody off in a ring of least minutes, and on a service that may be hit, is in the list."""
    listed = {one["id"]: one["off_by"] for one in case.data["customers"]}
    for ring in least:
        missing = [ident for ident in ring["customers_off"] if ring["kind"] not in listed.get(ident, {})]
        case.require(not missing, "customers", f"{ring['kind']}: {missing[:3]}")
    on_service = {ident for one in case.data["services"] for ident in one["customers"]}
    case.require(on_service <= set(listed), "customers on the service", f"{on_service - set(listed)}")
    extra = {i for i in listed if i not in on_service and not any(i in r["customers_off"] for r in least)}
    case.require(not extra, "customers", f"{sorted(extra)[:3]} lose no gas")


def _nearby(case: AnswerCase) -> None:
    """Check the addresses within the radius of what may be hit."""
    reach = case.data["nearby_m"] * case.raw.scale
    near, far = set(), set()
    for ident, record in case.raw.people.items():
        away = min(spot.distance(record["geometry"]) for spot in case.hit_spots)
        if away <= reach - 10 * ROUNDED_M:
            near.add(ident)
        elif away > reach + 10 * ROUNDED_M:
            far.add(ident)
    said = {one["customer_id"] for one in case.data["nearby"]}
    case.require(near <= said, "nearby", f"{sorted(near - said)[:3]} left out")
    case.require(not said & far, "nearby", f"{sorted(said & far)[:3]} are far")

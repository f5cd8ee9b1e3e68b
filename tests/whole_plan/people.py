"""Who loses gas: the lists of an option against a walk of the raw layers (design, sections 2 and 5)."""

from __future__ import annotations

from tests.whole_plan.case import Case
from tests.whole_plan.walk import State, text

__all__ = ["check_doubt", "check_fallbacks", "check_people", "check_second_services", "check_zone"]


def check_zone(case: Case) -> None:
    """No station, injection or sensing point in the zone; none parted from its station; no gas at the work.

    An injection feeds the work as a station does.
    """
    _isolated(case, case.stopped, "all stops in")
    _isolated(case, case.after, "all stops and feeds in")
    for k, row in enumerate(case.option["fallback"]):
        if row["use"]:
            _isolated(case, case.fallback_state(k), f"fallback of {row['stop_id']} ({row['failure']})")


def _isolated(case: Case, state: State, name: str) -> None:
    fed = _stations_in_zone(case, state)
    case.require(not fed, "gas reaches the work", f"{name}: station {fed}")
    injected = [s for s, node in case.net.injection_node.items() if state.in_zone(node)]
    case.require(not injected, "injection in the zone", f"{name}: {injected}")
    sensed = [s for s in case.raw.sensing if state.in_zone(("sensing", s))]
    case.require(not sensed, "sensing point in the zone", f"{name}: of station {sensed}")
    parted = [
        s
        for s in case.raw.sensing
        if s in case.net.station_node
        and case.before.part(("sensing", s)) == case.before.part(case.net.station_node[s])
        and state.part(("sensing", s)) != state.part(case.net.station_node[s])
    ]
    case.require(not parted, "sensing point parted from its station", f"{name}: station {parted}")


def _where(case: Case, state: State) -> dict[str, str]:
    """Return isolated, dark, half dark or fed for each customer that had gas, or may be in the zone.

    Half dark: another service of the premises still has gas.
    """
    fed, fed_before = state.parts_fed(), case.before.parts_fed()
    found = {}
    for ident, nodes in case.raw.ends_of.items():
        parts = [state.part(node) for node in nodes]
        lost = [case.before.part(n) in fed_before and p not in fed for n, p in zip(nodes, parts, strict=True)]
        if any(state.in_zone(node) for node in nodes):
            found[ident] = "isolated"
        elif any(lost):
            found[ident] = "half dark" if set(parts) & fed else "dark"
        elif set(parts) & fed:
            found[ident] = "fed"
    return found


def _dark_by_records(case: Case, state: State) -> dict[str, str]:
    """Return dark for each customer none of whose services has gas, valves recorded closed taken as closed."""
    fed = state.parts_fed()
    ends = case.raw.ends_of.items()
    return {ident: "dark" for ident, nodes in ends if not fed & {state.part(node) for node in nodes}}


def check_people(case: Case) -> None:
    """Each customer once, with the effect and cause that the walk gives; priority ones stay on."""
    listed = [c["id"] for c in case.option["customers"]]
    twice = sorted({c for c in listed if listed.count(c) > 1})
    case.require(not twice, "customer listed twice", f"{twice}")
    rows = {c["id"]: c for c in case.option["customers"]}
    plain, fed_again = _where(case, case.stopped), _where(case, case.after)
    for ident, where in plain.items():
        cause = rows[ident]["cause"] if ident in rows else "not listed"
        expected = {"isolated": "isolated", "dark": "stranded", "half dark": "stranded"}.get(where)
        if expected is not None:
            case.require(cause == expected, "customer's cause", f"{ident} is {where}, listed as {cause}")
        else:
            case.require(
                cause in ("not listed", "below minimum"), "customer's cause", f"{ident} is fed, {cause}"
            )
    for ident, row in rows.items():
        again = fed_again.get(ident, "no gas before")
        if row["effect"] == "kept":
            case.require(again in ("fed", "half dark"), "kept customer without gas", f"{ident} is {again}")
            names = {f["id"] for f in case.option["bypasses"]}
            names |= {v["valve_id"] for v in case.option["opened_valves"]}
            by = {part.strip() for part in (row["kept_by"] or "").replace(",", ";").split(";")}
            case.require(by <= names, "kept by an unknown feed", f"{ident}: {row['kept_by']}")
        elif row["effect"] == "off":
            _off(case, ident, again, row["cause"])
        else:
            case.say("customer's effect", f"{ident}: {row['effect']}")
        _record(case, ident, row)


def _off(case: Case, ident: str, again: str, cause: str) -> None:
    dark = again in ("isolated", "dark", "half dark", "no gas before") or cause == "below minimum"
    case.require(dark, "customer off who has gas", f"{ident} is {again}")
    if text(case.raw.people[ident].get("priority")):
        case.require(ident in case.own_supply, "priority customer off", f"{ident} without own supply")


def _record(case: Case, ident: str, row: dict[str, object]) -> None:
    record = case.raw.people[ident]
    same = (
        row["address"] == text(record["address"]),
        row["priority"] == text(record.get("priority")),
        row["category"] == text(record.get("category")),
        row["meters"] == int(record.get("meters", 1)),
    )
    case.require(all(same), "customer's record", f"{ident}: address, priority, category or meters differ")


def check_fallbacks(case: Case) -> None:
    """Whoever loses gas with a fallback used, and is not off already, stands by; nobody twice."""
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    for k, row in enumerate(case.option["fallback"]):
        name = f"fallback of {row['stop_id']} ({row['failure']})"
        twice = sorted({c for c in row["standby"] if row["standby"].count(c) > 1})
        case.require(not twice, "standby listed twice", f"{name}: {twice}")
        case.require(not off & set(row["standby"]), "standby is off already", f"{name}")
        if row["minutes"] is None:
            continue
        state = case.fallback_state(k)
        if not row["use"] and state.work_is_fed():
            case.say("fallback does not isolate", f"{name}: no stop to use, and a station feeds the work")
            continue
        had_gas = case.before.parts_fed()
        # A part that is given up joins the zone and ends where valves recorded closed part it from others.
        where_now = _where(case, state) if row["use"] else _dark_by_records(case, state)
        lost = {
            c
            for c, where in where_now.items()
            if where in ("isolated", "dark")
            and any(case.before.part(node) in had_gas for node in case.raw.ends_of[c])
        } - off
        missed = sorted(lost - set(row["standby"]))
        named = [c for c in missed if text(case.raw.people[c].get("priority"))]
        case.require(
            not missed, "standby misses customers", f"{name}: {len(missed)} of {len(lost)}, priority {named}"
        )


def check_doubt(case: Case) -> None:
    """Whoever would lose gas were a valve of unknown state closed is in doubt (design, section 4: in_doubt).

    Not those who would then have no gas today either: they have it, so the valve is open for them.
    """
    named = {row["id"] for row in case.option.get("in_doubt", ())}
    named |= {c["id"] for c in case.option["customers"]}
    for ident, record in case.raw.valves.items():
        if text(record["state"]) != "unknown" or ident not in case.raw.placed["valves"]:
            continue
        shut = [("valve", ident), *(gap for *_, gap in case.stops)]
        today = case.net.state([("valve", ident)]).parts_fed(), case.net.state([("valve", ident)])
        then = case.net.state(shut, case.opened, case.feeds)
        missed = []
        for customer, nodes in case.raw.ends_of.items():
            fed_today = any(today[1].part(node) in today[0] for node in nodes)
            fed_then = any(then.part(node) in then.parts_fed() for node in nodes)
            if fed_today and not fed_then and customer not in named:
                missed.append(customer)
        case.require(not missed, "in doubt misses customers", f"valve {ident} closed: {sorted(missed)[:3]}")


def check_second_services(case: Case) -> None:
    """Check that a premises with one service in the zone and another outside is named to be severed."""
    said = " ".join(case.option["warnings"]) + " ".join(step["does"] for step in case.option["steps"])
    said += " ".join(ident for step in case.option["steps"] for ident in step["uses"])
    for ident, nodes in case.raw.ends_of.items():
        inside = {case.stopped.in_zone(node) for node in nodes}
        case.require(len(inside) == 1 or ident in said, "second service not severed", ident)


def _stations_in_zone(case: Case, state: State) -> list[str]:
    return [s for s, node in case.net.station_node.items() if state.in_zone(node)]

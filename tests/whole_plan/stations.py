"""Work beside stations, and gas back in below its least flow: barriers, cover, lists and warnings.

Who is shut in comes from a walk of the raw layers; barriers from the records and the rules; the least flow from
bores and a formula. Nothing of the program is used.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import networkx as nx
from pypdf import PdfReader

from tests.whole_plan.case import Case, Key, Row
from tests.whole_plan.flow import bore_mm
from tests.whole_plan.walk import text

__all__ = ["check_cover", "check_purge", "check_stations"]

NOTHING_BETWEEN = "no fallback: nothing lies between this valve and the station"
ONE_MM = 1e-3
SHORT_M3H = 0.01
"""Flows nearer than this are not told apart [m³/h]."""


def shut_in(case: Case) -> dict[str, Key]:
    """Return the stations whose part serves nobody who stays on, with their node, all stops and feeds in."""
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    state = case.after
    served = {state.part(node) for c, nodes in case.raw.ends_of.items() if c not in off for node in nodes}
    return {s: node for s, node in case.net.station_node.items() if state.part(node) not in served}


def _inlet_counts(case: Case, ident: str) -> bool:
    """Return whether the records, or else the rules, let a station's inlet count as a barrier."""
    record = case.raw.stations[ident]
    name, vent = text(record.get("inlet_valve")), text(record.get("vent_between")) or "unknown"
    valve = case.raw.valves.get(name)
    if name and (
        valve is None
        or text(valve["operable"]) != "yes"
        or text(valve["state"]) == "unknown"
        or text(valve.get("system")) in ("", text(record.get("system")) or "LP")
    ):
        return False
    if vent == "no":
        return False
    return bool(name and vent == "yes") or bool(case.rules["station"]["inlet_shut_counts"])


def check_stations(case: Case) -> None:
    """Check barriers beside stations, their warning, and that none that is shut in is said to carry."""
    shut, state, option = shut_in(case), case.after, case.option
    injected = {state.part(node) for node in case.net.injection_node.values()}
    for stop in option["stops"]:
        part = state.part(case.live_node(stop))
        behind = sorted(s for s, node in shut.items() if state.part(node) == part)
        stated = sorted(one["station_id"] for one in stop["shuts_in"])
        case.require(stated == behind, "stations behind a stop", f"{stop['id']}: {stated} for {behind}")
        counts = bool(behind) and part not in injected and all(_inlet_counts(case, s) for s in behind)
        own = int(case.method(stop["method"])["barriers"])
        barriers = 2 if counts and stop["kind"] == "valve" else own
        case.require(stop["barriers"] == barriers, "barriers", f"{stop['id']}: {stop['barriers']}")
        _warned(case, stop, behind)
        _in_steps(case, stop, is_inlet=counts and stop["kind"] == "valve")
    lost = {row["id"] for row in option["losses"] if row["what"] == "station"}
    case.require(not lost & shut.keys(), "loss of a station that is shut in", f"{sorted(lost & shut.keys())}")
    (check,) = [step for step in option["steps"] if step["stage"] == "stations checked"]
    carry = set(re.findall(r"[\w-]+", check["does"].partition(" that carr")[0]))
    case.require(not carry & shut.keys(), "shut in and said to carry", f"{sorted(carry & shut.keys())}")


def _warned(case: Case, stop: Row, behind: list[str]) -> None:
    lines = [line for line in case.option["warnings"] if line.startswith(f"{stop['id']}: ")]
    said = [line for line in lines if " barrier" in line and "between the work and station" in line]
    case.require(len(said) == bool(behind), "warning beside a station", f"{stop['id']}: {lines}")
    for ident in behind if said else ():
        record = case.raw.stations[ident]
        wanted = f"station {ident} (outlet {float(record['outlet_mbar']):g} mbar"
        case.require(wanted in said[0], "warning beside a station", f"{stop['id']}: {said[0]}")
    none = [row for row in case.option["fallback"] if row["stop_id"] == stop["id"] and row["minutes"] is None]
    for row in none if behind else ():
        case.require(row["note"].startswith(NOTHING_BETWEEN), "no fallback beside a station", row["note"])
        case.require(NOTHING_BETWEEN in said[0], "no fallback beside a station", f"{stop['id']}: not warned")


def _in_steps(case: Case, stop: Row, *, is_inlet: bool) -> None:
    at: dict[str, int] = {}
    for step in case.option["steps"]:
        if stop["id"] in step["uses"]:
            at.setdefault(step["stage"], step["n"])
    names = ["station inlet shut", "stop in", "let-by tested", "space between vented"]
    names += ["station inlet opened", "equalise", "stop out"]
    double = stop["barriers"] == 2
    wanted = [
        name for name in names if is_inlet or ("station" not in name and ("space" not in name or double))
    ]
    # A station that gas is not taken from comes back last of all, with nothing to equalise.
    if is_inlet and "station inlet opened" not in at:
        wanted = [name for name in wanted if name not in ("station inlet opened", "equalise")]
    order = sorted((name for name in names if name in at), key=lambda name: at[name])
    case.require(order == wanted, "order of steps at a stop", f"{stop['id']}: {order}")
    if is_inlet:
        _vented_space(case, stop, at)


def _vented_space(case: Case, stop: Row, at: dict[str, int]) -> None:
    """Check that nothing is read in a space that is vented, and that gas is back in it before any is drawn."""
    places = {tap["role"]: (tap["main_id"] or stop["main_id"], tap["chainage_m"]) for tap in stop["tappings"]}
    read = [g["id"] for g in case.option["gauges"] if (g["main_id"], g["chainage_m"]) == places["gauge"]]
    case.require(not read, "gauge in a vented space", f"{stop['id']}: {read}")
    drawn = [
        point["id"]
        for point in case.option["purge"]["points"]
        if point["role"] == "feed" and (point["main_id"], point["chainage_m"]) == places["zone_vent"]
    ]
    first = min((step["n"] for step in case.option["steps"] if step["stage"] == "purge in"), default=0)
    opened = at.get("station inlet opened", 0)
    case.require(not drawn or opened < first, "purge from a vented space", f"{stop['id']}: {drawn}")


def check_cover(case: Case, folder: Path) -> None:
    """Check the barriers and the first warnings on the cover of the work pack."""
    cover = " ".join(PdfReader(folder / "work_pack.pdf").pages[0].extract_text().split())
    for number, words in ((1, "1 only at "), (2, "2 at ")):
        ids = [stop["id"] for stop in case.option["stops"] if stop["barriers"] == number]
        if ids:
            wanted = f"{words}{', '.join(ids)}"
            case.require(wanted in cover, "work_pack.pdf: barriers", f"not on the cover: {wanted}")
    for line in case.option["warnings"]:
        if "between the work and station" in line or line.startswith("gas back in"):
            start = " ".join(line.split())[:60]
            case.require(start in cover, "work_pack.pdf: first warnings", f"not on the cover: {line}")


def check_purge(case: Case) -> None:
    """Check the least flow, and that nitrogen is asked for exactly where less than it can be had."""
    purge = case.option["purge"]
    vents = [point for point in purge["points"] if point["role"] == "vent"]
    needed = [point["least_m3h"] for point in vents if point["least_m3h"] is not None]
    least = [_least_m3h(bore) for bore in _zone_bores_mm(case)]
    blind = any("have no stop with gas behind it" in note for note in purge["notes"])
    if needed and len(case.option["zones"]) == 1 and not blind:
        # A loop that fills from both sides asks for twice the flow of its own bore, wide or narrow.
        widest = max(least)
        ways = [widest, *(2.0 * one for one in least if 2.0 * one > widest)]
        fits = any(math.isclose(max(needed), way, rel_tol=3e-3) for way in ways)
        case.require(fits, "least flow of the purge", f"{max(needed)} for {widest:.2f}")
    for point in vents:
        some = point["least_m3h"]
        fits = some is None or any(
            math.isclose(some, times * one, rel_tol=3e-3) for times in (1.0, 2.0) for one in least
        )
        case.require(fits, "least flow of a purge point", f"{point['id']}: {some}")
    short = [p["id"] for p in vents if p["least_m3h"] and p["flow_in_m3h"] < p["least_m3h"] - SHORT_M3H]
    lines = [line for line in case.option["warnings"] if line.startswith("gas back in stays below")]
    case.require(len(lines) == bool(short), "warning of a slow purge in", f"{short}: {lines}")
    case.require(
        all(f" to {ident}" in lines[0] for ident in short) if lines else True, "slow purge in", f"{lines}"
    )
    told = any(line.startswith("gas back in: a part of the zone") for line in case.option["warnings"])
    case.require(told == (blind and not short), "warning of a part without gas", f"{blind}: {told}")
    nitrogen = [step for step in case.option["steps"] if step["stage"] == "nitrogen in"]
    # A part that no stop has gas behind is filled with nitrogen too, and stays so.
    stays = [step for step in nitrogen if step["does"].startswith("No stop of this part has gas behind it")]
    # One outlet at a time: nitrogen goes to each that the gas behind it will be led to.
    filled = [point["id"] for point in vents if point["slug_m3"] is not None]
    led = sorted(step["purge"]["outlet"] for step in nitrogen if step["purge"] and step not in stays)
    case.require(led == sorted(filled), "nitrogen first", f"{filled}: {led}")
    case.require(blind or not stays, "nitrogen in a part with gas", f"{len(stays)} steps")
    slugs = [point["slug_m3"] for point in vents if point["slug_m3"] is not None]
    case.require(bool(slugs) == bool(short), "nitrogen first", f"{short}: {slugs}")
    if slugs and len(slugs) == len(vents):
        volume = _mains_volume_m3(case)
        case.require(sum(slugs) <= 2.5 * volume * 1.001 + 0.002, "nitrogen", f"{sum(slugs)} for {volume}")
        if nx.is_forest(_zone_graph(case)):
            close = math.isclose(sum(slugs), 2.5 * volume, rel_tol=0.01, abs_tol=0.01)
            case.require(close, "nitrogen", f"{sum(slugs)} m³ for {volume} m³ of mains")


def _zone_mains(case: Case) -> list[Row]:
    return [pipe for zone in case.option["zones"] for pipe in zone["pipes"] if pipe["layer"] == "mains"]


def _zone_bores_mm(case: Case) -> list[float]:
    return sorted({bore_mm(case.raw.mains[pipe["pipe_id"]]) for pipe in _zone_mains(case)})


def _mains_volume_m3(case: Case) -> float:
    return math.fsum(
        (pipe["to_m"] - pipe["from_m"])
        * math.pi
        / 4.0
        * (bore_mm(case.raw.mains[pipe["pipe_id"]]) * ONE_MM) ** 2
        for pipe in _zone_mains(case)
    )


def _zone_graph(case: Case) -> nx.Graph[Any]:
    """Return the pieces of mains in the zone as a graph; two pieces side by side make it no forest."""
    graph: nx.MultiGraph[Any] = nx.MultiGraph()
    mains = len(case.raw.mains)
    for row, _, _, a, b in case.net.pieces:
        if row < mains and (case.stopped.in_zone(a) and case.stopped.in_zone(b)):
            graph.add_edge(a, b)
    return graph


def _least_m3h(bore: float) -> float:
    """Return the least flow in a bore [mm] at 15 °C, 101.325 kPa, gas and ground as planned [m³/h]."""
    wide = bore * ONE_MM
    speed = max(0.6, 0.5 * math.sqrt(9.80665 * wide))
    return speed * math.pi / 4.0 * wide**2 * 3600.0 * 288.15 / 283.15

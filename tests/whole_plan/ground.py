"""Excavations of a plan: everything tapped is in exactly one, none too near another, paid once, equal in every file."""

from __future__ import annotations

import itertools
import json
import math
import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely
from pypdf import PdfReader

from tests.whole_plan.case import Case, Row
from tests.whole_plan.walk import text

__all__ = ["check_excavations", "check_holes_on_paper"]

CLOSE_M = 0.01
"""What coordinates and chainages rounded to millimetres may be off [m]."""


def check_excavations(case: Case, rows: gpd.GeoDataFrame, page: str) -> None:
    """Check the excavations of one option against its things, the rules, plan.gpkg, the map and the steps."""
    option = case.option
    outlines = {one["id"]: shapely.Polygon(one["outline"]) for one in option["excavations"]}
    names = [f"H{k}" for k in range(1, len(outlines) + 1)]
    case.require(list(outlines) == names, "excavation ids", f"{list(outlines)}")
    for what, place, holes in _things(case):
        near = {name for name, outline in outlines.items() if outline.distance(place) <= CLOSE_M}
        case.require(len(near) == 1, "in exactly one excavation", f"{what} in {sorted(near)}")
        case.require(near <= holes, "in another excavation than said", f"{what}: {near} for {holes}")
    least = case.rules["excavation"]["merge_m"] * case.raw.scale
    for one, two in itertools.combinations(outlines, 2):
        apart = outlines[one].distance(outlines[two])
        case.require(
            apart >= least - CLOSE_M and apart > 0, "excavations too near", f"{one}, {two}: {apart:.2f} m"
        )
    _prices(case)
    _sizes(case)
    _in_files(case, rows, page)


def _things(case: Case) -> list[tuple[str, Any, set[str]]]:
    """Return what lies in the ground: its name, its place, and the excavations that say they serve it."""
    option, serving = case.option, _serving(case.option)
    found: list[tuple[str, Any, set[str]]] = []
    tees = {(end["main_id"], end["chainage_m"]) for b in option["bypasses"] for end in (b["from"], b["to"])}
    for stop in option["stops"]:
        name, own = f"stop {stop['id']}", {stop["hole_id"]}
        case.require(serving.get(name) == own, "hole of a stop", f"{name}: {serving.get(name)} for {own}")
        found.append((name, _point(case, stop["main_id"], stop["chainage_m"]), own))
        for tap in stop["tappings"]:
            main = tap["main_id"] or stop["main_id"]
            is_tee = tap["role"] == "bypass" and (main, tap["chainage_m"]) in tees
            holes = {one["id"] for one in option["excavations"]} if is_tee else own
            found.append((f"{name} {tap['role']}", _point(case, main, tap["chainage_m"]), holes))
    found += _fallbacks(case, serving)
    for bypass in option["bypasses"]:
        for end in (bypass["from"], bypass["to"]):
            what = f"{bypass['kind']} {bypass['id']}"
            found.append((what, _point(case, end["main_id"], end["chainage_m"]), serving.get(what, set())))
    for point in option["purge"]["points"]:
        what = f"purge point {point['id']}"
        found.append((what, _point(case, point["main_id"], point["chainage_m"]), serving.get(what, set())))
    for gauge in option["gauges"]:
        what = f"gauge {gauge['id']}"
        if gauge["customer"]:
            gone = {c["id"] for c in option["customers"] if c["effect"] == "off"}
            kept = gauge["customer"] in case.raw.people and gauge["customer"] not in gone
            case.require(kept, "gauge at a meter", f"{what}: {gauge['customer']}")
            case.require(what not in serving, "hole for a gauge at a meter", what)
        else:
            place = _point(case, gauge["main_id"], gauge["chainage_m"])
            found.append((what, place, serving.get(what, set())))
    for item in case.plan["work"]:
        what = f"work {item['main_id']}"
        for at in (item["from_m"], (item["from_m"] + item["to_m"]) / 2, item["to_m"]):
            found.append((what, _point(case, item["main_id"], at), serving.get(what, set())))
    return found


def _fallbacks(case: Case, serving: dict[str, set[str]]) -> list[tuple[str, Any, set[str]]]:
    """Return prepared fallbacks with their tappings, and the tees of hoses that are moved to them."""
    found: list[tuple[str, Any, set[str]]] = []
    rows = case.option["prepared_fallbacks"]
    for one in rows:
        name, own = f"fallback {one['id']}", {one["hole_id"]}
        case.require(serving.get(name) == own, "hole of a fallback", f"{name}: {serving.get(name)} for {own}")
        found.append((name, _point(case, one["main_id"], one["chainage_m"]), own))
        for tap in one["tappings"]:
            main = tap["main_id"] or one["main_id"]
            found.append((f"{name} {tap['role']}", _point(case, main, tap["chainage_m"]), own))
    for row in case.option["fallback"]:
        ready = {use["prepared_id"] for use in row["use"]} - {""}
        holes = {one["hole_id"] for one in rows if one["id"] in ready}
        for move in row["moves"] if ready else ():
            to = move["to"]
            found.append((f"{move['feed_id']} moved", _point(case, to["main_id"], to["chainage_m"]), holes))
    return found


def _serving(option: Row) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for one in option["excavations"]:
        for served in one["serves"]:
            found.setdefault(f"{served['what']} {served['id']}", set()).add(one["id"])
    return found


def _point(case: Case, main: str, chainage_m: float) -> Any:
    return case.raw.lines[case.raw.row_of(main)].interpolate(chainage_m * case.raw.scale)


def _prices(case: Case) -> None:
    """Check every price against the rules, and that they add up to the part of the burden."""
    rule, option = case.rules["excavation"], case.option
    for one in option["excavations"]:
        total = 0.0
        for price in one["prices"]:
            amount = rule["price"] + rule["price_surface"][price["surface"]]
            amount += rule["price_per_m"] * price["beyond_m"]
            total += amount
            near = math.isclose(price["price"], amount, abs_tol=0.011)
            case.require(near, "price of an excavation", f"{one['id']}: {price}")
        case.require(
            math.isclose(one["price"], total, abs_tol=0.011 * max(len(one["prices"]), 1)), "sum", one["id"]
        )
        paid = bool(one["prices"]) or bool(one["included_in"])
        dead_end = {"purge point", "dead end"} & {served["what"] for served in one["serves"]}
        case.require(paid, "excavation that nobody pays for", f"{one['id']}: {dead_end or one['serves']}")
    for feed in option["bypasses"]:
        _tees(case, feed)
    stated, total = option["burden_parts"]["excavations"], sum(one["price"] for one in option["excavations"])
    case.require(math.isclose(total, stated, abs_tol=0.011), "burden of excavations", f"{total} for {stated}")


def _tees(case: Case, feed: Row) -> None:
    """Check what a feed pays for its tees: one pit, or two, by the surfaces of their mains, or none."""
    rule = case.rules["excavation"]
    ends = [case.raw.mains[feed[end]["main_id"]] for end in ("from", "to")]
    pits = [rule["price"] + rule["price_surface"][text(main.get("surface")) or "unknown"] for main in ends]
    paid = (0.0, *pits, sum(pits))
    case.require(
        any(math.isclose(feed["tees_price"], one, abs_tol=0.011) for one in paid), "tees", feed["id"]
    )


def _sizes(case: Case) -> None:
    """Check depth against cover and rule, shoring against depth, and surfaces against the records."""
    rule = case.rules["excavation"]
    for one in case.option["excavations"]:
        main = case.raw.mains[one["main_id"]]
        surface = text(main.get("surface")) or "unknown"
        case.require(surface in one["surface"], "surface of an excavation", f"{one['id']}: {one['surface']}")
        deep = one["depth_m"] >= rule["shoring_depth_m"] - 0.005
        case.require(
            one["shoring"] == deep or abs(one["depth_m"] - rule["shoring_depth_m"]) < 0.006,
            "shoring",
            f"{one['id']}: {one['depth_m']}",
        )
        case.require(len(one["traffic"]) >= 1 and bool(one["locate_first"]), "site lines", one["id"])


def _in_files(case: Case, rows: gpd.GeoDataFrame, page: str) -> None:
    option = case.option
    ids = [one["id"] for one in option["excavations"]]
    own = rows[rows.option == case.rank]
    case.require(list(own.excavation_id) == ids, "plan.gpkg: excavations", f"{len(own)} for {len(ids)}")
    data = re.search(r'id="page-data">(.*?)</script>', page, re.DOTALL)
    if data is not None:
        there = next(o for o in json.loads(data.group(1))["options"] if o["rank"] == case.rank)
        facts = dict(there["facts"])
        case.require(f"({len(ids)} holes)" in facts["stops"], "map.html: holes", facts["stops"])
        case.require(len(there["excavations"]) == len(ids), "map.html: excavations", str(len(ids)))
    for stage in ("records proved", "reinstate"):
        used = {ident for step in option["steps"] if step["stage"] == stage for ident in step["uses"]}
        case.require(set(ids) <= used, f"steps: {stage}", f"{sorted(set(ids) - used)}")


def check_holes_on_paper(case: Case, folder: Path) -> None:
    """Check the count of holes on the cover of the work pack and its table of excavations."""
    pages = (page.extract_text() for page in PdfReader(folder / "work_pack.pdf").pages)
    count = re.search(r"holes (\d+)", next(pages))
    said = -1 if count is None else int(count.group(1))
    holes = len(case.option["excavations"])
    case.require(said == holes, "work_pack.pdf: holes", f"{said} for {holes}")
    table = next((page for page in pages if "Before any of them" in page), "")
    missing = [one["id"] for one in case.option["excavations"] if f"{one['id']} " not in table]
    case.require(not missing or holes > 12, "work_pack.pdf: excavations", f"{missing}")

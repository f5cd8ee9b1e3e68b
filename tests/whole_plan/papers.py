"""The same lists and counts in every file of a plan folder."""

from __future__ import annotations

import csv
import json
import math
import re
from collections import defaultdict
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pyogrio
from pypdf import PdfReader

from tests.whole_plan.case import Case, Row

__all__ = ["check_files", "check_map", "check_notices", "check_pdf", "layer_of"]

CLOSE_M = 0.002


def layer_of(folder: Path, name: str) -> gpd.GeoDataFrame:
    """Return a layer of plan.gpkg."""
    return pyogrio.read_dataframe(folder / "plan.gpkg", layer=name)


def standby_of(option: Row) -> set[str]:
    """Return who stands by for any fallback."""
    return {c for row in option["fallback"] for c in row["standby"]}


def lists_of(option: Row) -> dict[str, set[str]]:
    """Return off, kept and standby by plan.json; one who is listed with an effect is not listed as standby."""
    lists = {e: {c["id"] for c in option["customers"] if c["effect"] == e} for e in ("off", "kept")}
    return lists | {"standby": standby_of(option) - lists["off"] - lists["kept"]}


def check_files(case: Case, layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Check plan.gpkg against plan.json, one option."""
    option, rank = case.option, case.rank
    rows = {name: frame[frame.option == rank] for name, frame in layers.items()}
    people = rows["customers"]
    affected = people[people.effect.notna()]
    theirs = {
        (r.customer_id, r.effect, r.cause, r.kept_by or None, r.address, int(r.meters))
        for r in affected.itertuples()
    }
    ours = {
        (c["id"], c["effect"], c["cause"], c["kept_by"] or None, c["address"], c["meters"])
        for c in option["customers"]
    }
    differ = {row[0] for row in theirs ^ ours}
    case.require(not differ, "plan.gpkg: customers", f"{len(differ)} differ, {sorted(differ)[:2]}")
    standing = set(people[people.standby.astype(bool)].customer_id)
    case.require(
        standing == standby_of(option),
        "plan.gpkg: standby",
        f"{len(standing)} for {len(standby_of(option))}",
    )
    stops = {(r.stop_id, r.method, r.main_id, round(r.chainage_m, 2)) for r in rows["stops"].itertuples()}
    said = {(s["id"], s["method"], s["main_id"], round(s["chainage_m"], 2)) for s in option["stops"]}
    case.require(stops == said, "plan.gpkg: stops", f"{sorted(stops ^ said)[:2]}")
    hoses = {(r.bypass_id, r.kind, r.bore_mm, int(r.parallel)) for r in rows["bypasses"].itertuples()}
    said_hoses = {(b["id"], b["kind"], b["bore_mm"], b["parallel"]) for b in option["bypasses"]}
    case.require(hoses == said_hoses, "plan.gpkg: bypasses", f"{sorted(hoses ^ said_hoses)[:2]}")
    holes = len(rows["tappings"])
    said_holes = sum(len(s["tappings"]) for s in (*option["stops"], *option["prepared_fallbacks"]))
    case.require(holes == said_holes, "plan.gpkg: tappings", f"{holes} for {said_holes}")
    _doubt(case, layers)
    _steps(case)
    _money(case)
    _zone_lengths(case)


def _doubt(case: Case, layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Check the list of those in doubt: nobody who is off; whoever is kept may lose the feed."""
    rows = case.option.get("in_doubt", ())
    ids = [row["id"] for row in rows]
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    case.require(not off & set(ids), "in doubt and off", f"{sorted(off & set(ids))[:2]}")
    pairs = {(row["id"], row["layer"], row["record_id"]) for row in rows}
    case.require(len(pairs) == len(rows), "in doubt: twice for one record", f"{len(rows)} rows")
    if "in_doubt" in layers:
        frame = layers["in_doubt"]
        theirs = set(frame[frame.option == case.rank]["id"])
        case.require(theirs == set(ids), "plan.gpkg: in doubt", f"{len(theirs)} for {len(set(ids))}")


def _steps(case: Case) -> None:
    """Check that the steps use every stop, feed and gauge of the option."""
    option = case.option
    wanted = {
        thing["id"]
        for name in ("stops", "bypasses", "gauges", "prepared_fallbacks")
        for thing in option[name]
    }
    wanted |= {valve["valve_id"] for valve in option["opened_valves"]}
    used = {ident for step in option["steps"] for ident in step["uses"]}
    case.require(wanted <= used, "steps leave things out", f"{sorted(wanted - used)[:3]}")


def _money(case: Case) -> None:
    """Check that the parts of the burden add up, and that stops and feeds cost what their rows say."""
    option, parts = case.option, case.option["burden_parts"]
    total = sum(parts.values())
    case.require(math.isclose(total, option["burden"], abs_tol=0.011), "burden", f"{total}")
    stops = sum(s["price"] for s in option["stops"])
    case.require(
        math.isclose(stops, parts["stops"], abs_tol=0.011), "burden of stops", f"{stops} for {parts}"
    )
    feeds = sum(f["price"] for f in (*option["bypasses"], *option["opened_valves"]))
    case.require(
        math.isclose(feeds, parts["feeds"], abs_tol=0.011), "burden of feeds", f"{feeds} for {parts}"
    )


def _zone_lengths(case: Case) -> None:
    """Check that the zones' pipes are those the walk cuts off, by length of each pipe."""
    theirs: dict[tuple[str, str], float] = defaultdict(float)
    for zone in case.option["zones"]:
        for part in zone["pipes"]:
            theirs[(part["layer"], part["pipe_id"])] += part["to_m"] - part["from_m"]
    ours: dict[tuple[str, str], float] = defaultdict(float)
    for row, low, high, node, _ in case.net.pieces:
        if case.stopped.in_zone(node):
            ours[case.raw.name[row]] += (high - low) / case.raw.scale
    apart = [key for key in ours.keys() | theirs.keys() if abs(ours[key] - theirs[key]) > 0.02]
    what = [(key[1], round(theirs[key], 2), round(ours[key], 2)) for key in sorted(apart)[:2]]
    case.require(not apart, "pipes of the zone", f"{len(apart)} differ (pipe, stated, walked): {what}")


def _by_effect(rows: list[tuple[str, str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for effect, ident in rows:
        found.setdefault(effect, []).append(ident)
    return found


def check_notices(case: Case, folder: Path) -> None:
    """Check notices.csv and notices.xlsx against plan.json; the case is the option they are made for."""
    lists = lists_of(case.option)
    with (folder / "notices.csv").open(encoding="utf-8-sig", newline="") as file:
        in_csv = _by_effect([(r["effect"], r["customer_id"]) for r in csv.DictReader(file)])
    book = openpyxl.load_workbook(folder / "notices.xlsx")
    meters = {ident: int(r.get("meters", 1)) for ident, r in case.raw.people.items()}
    totals = {str(r[0]): r for r in book["Totals"].iter_rows(values_only=True) if r[0]}
    for effect, expected in lists.items():
        _equal(case, f"notices.csv: {effect}", in_csv.get(effect, []), expected)
        if effect == "standby":
            # Its sheet holds those kept on by a feed as well, who stand by like the others.
            expected = standby_of(case.option)
        sheet = book[effect.capitalize()]
        head = [str(cell.value) for cell in sheet[1]]
        column = head.index("Meter point")
        there = [str(row[column]) for row in sheet.iter_rows(min_row=2, values_only=True) if row[column]]
        _equal(case, f"notices.xlsx: {effect}", there, expected)
        _totals(case, effect, totals, sum(meters[c] for c in expected))
    doubt = {row["id"] for row in case.option.get("in_doubt", ())}
    sheets = [name for name in book.sheetnames if "doubt" in name.lower()]
    if doubt:
        case.require(bool(sheets), "notices.xlsx: in doubt", f"no sheet for {len(doubt)} customers")
    for name in sheets:
        cells = {str(cell) for row in book[name].iter_rows(values_only=True) for cell in row}
        case.require(doubt <= cells, "notices.xlsx: in doubt", f"{sorted(doubt - cells)[:2]} missing")


def _totals(case: Case, effect: str, totals: dict[str, Any], meters: int) -> None:
    by_plan = totals.get(effect.capitalize(), [None] * 6)[5]
    case.require(by_plan == meters, f"notices.xlsx: meters {effect}", f"{by_plan} for {meters}")


def _equal(case: Case, rule: str, there: list[str], expected: set[str]) -> None:
    case.require(len(there) == len(set(there)), rule, "somebody twice")
    differ = sorted(set(there) ^ expected)
    case.require(not differ, rule, f"{len(there)} for {len(expected)}, {differ[:2]}")


def check_map(case: Case, page: str) -> None:
    """Check the data of map.html against plan.json, one option."""
    found = re.search(r'id="page-data">(.*?)</script>', page, re.DOTALL)
    if found is None:
        case.say("map.html", "no data")
        return
    option = next(o for o in json.loads(found.group(1))["options"] if o["rank"] == case.rank)
    rows = [(c["effect"], dict(c["rows"])["meter point"]) for c in option["customers"]]
    there = _by_effect(rows)
    for effect, expected in lists_of(case.option).items():
        _equal(case, f"map.html: {effect}", there.get(effect, []), expected)
    facts = dict(option["facts"])
    for name, effect in (("meters off", "off"), ("meters kept by feeds", "kept")):
        meters = sum(c["meters"] for c in case.option["customers"] if c["effect"] == effect)
        case.require(facts[name] == str(meters), f"map.html: {name}", f"{facts[name]} for {meters}")
    for name, things in (("stops", case.option["stops"]), ("bypasses", case.option["bypasses"])):
        case.require(len(option[name]) == len(things), f"map.html: {name}", f"{len(option[name])}")
    marks = sum(len(row["use"]) + len(row["shut"]) + len(row["moves"]) for row in case.option["fallback"])
    case.require(
        len(option["fallback"]) == marks, "map.html: fallback", f"{len(option['fallback'])} for {marks}"
    )
    standing = facts["customers on standby"]
    case.require(
        standing == str(len(standby_of(case.option))), "map.html: standby", f"{standing} by the facts"
    )


def check_pdf(case: Case, folder: Path) -> None:
    """Check counts on the cover of the work pack, and names on tally sheet, letters and call sheet."""
    cover = PdfReader(folder / "work_pack.pdf").pages[0].extract_text()
    lists = lists_of(case.option)
    rows = case.option["customers"]
    for effect in ("off", "kept"):
        own = [c for c in rows if c["effect"] == effect]
        points = f"{len(own)} meter point{'s' * (len(own) != 1)}"
        words = f"meters {effect} {sum(c['meters'] for c in own)} at {points}"
        case.require(words in cover, f"work_pack.pdf: {effect}", f"not on the cover: {words}")
        named = f"priority {effect} {sum(bool(c['priority']) for c in own)}"
        case.require(named in cover, f"work_pack.pdf: priority {effect}", f"not on the cover: {named}")
    standing = re.search(r"standby (\d+)", cover)
    count = -1 if standing is None else int(standing.group(1))
    case.require(
        count == len(standby_of(case.option)),
        "work_pack.pdf: standby",
        f"{count} for {len(standby_of(case.option))}",
    )
    stops = re.search(r"stops (\d+):", cover)
    case.require(
        stops is not None and int(stops.group(1)) == len(case.option["stops"]), "work_pack.pdf: stops", ""
    )
    tally = "\n".join(page.extract_text() for page in PdfReader(folder / "tally_sheet.pdf").pages)
    there = list(re.findall(r"\bC\d{3}[ab]\b", tally))
    _equal(case, "tally_sheet.pdf: off", there, lists["off"])
    letters = PdfReader(folder / "letters.pdf").pages
    addresses = {(c["address"], c["effect"]) for c in rows}
    addresses |= {(case.raw.people[c]["address"], "standby") for c in lists["standby"]}
    if addresses:
        case.require(len(letters) == len(addresses), "letters.pdf", f"{len(letters)} for {len(addresses)}")
    call = "\n".join(p.extract_text() for p in PdfReader(folder / "call_sheet_restricted.pdf").pages)
    for effect, some in lists.items():
        for ident in sorted(some):
            record = case.raw.people[ident]
            if isinstance(record.get("priority"), str) and record["priority"]:
                on_it = str(record["address"]) in call
                case.require(on_it, f"call sheet: {effect}", f"{ident} is not on it")

"""All checks of one plan folder against the raw layers it was made from; nothing of the program is used."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import pyogrio

from tests.whole_plan.case import Case, Deviation
from tests.whole_plan.ground import check_excavations, check_holes_on_paper
from tests.whole_plan.order_of_work import check_order
from tests.whole_plan.outlets import check_outlets
from tests.whole_plan.papers import check_files, check_map, check_notices, check_pdf, layer_of
from tests.whole_plan.people import (
    check_doubt,
    check_fallbacks,
    check_people,
    check_second_services,
    check_zone,
)
from tests.whole_plan.places import check_places
from tests.whole_plan.prepared import check_moves, check_prepared
from tests.whole_plan.pressure_limits import check_fault_pressures, check_feeds
from tests.whole_plan.pressures import check_pressures
from tests.whole_plan.stations import check_cover, check_purge, check_stations
from tests.whole_plan.tapped import check_tapped
from tests.whole_plan.walk import Raw

__all__ = ["Checked", "check_folder", "read_raw"]


@dataclass
class Checked:
    """What deviates in a plan folder, and what the plan holds, to count what was covered."""

    found: list[Deviation] = field(default_factory=list)
    holds: Counter[str] = field(default_factory=Counter)


def read_raw(path: Path) -> Raw:
    """Read raw layers from a GeoPackage."""
    names = [str(row[0]) for row in pyogrio.list_layers(path)]
    layers: dict[str, gpd.GeoDataFrame] = {name: pyogrio.read_dataframe(path, layer=name) for name in names}
    return Raw(layers)


def check_folder(raw: Raw, folder: Path, own_supply: tuple[str, ...] = (), *, feeds: bool = True) -> Checked:
    """Check every option of a plan folder, and every file."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    names = {str(row[0]) for row in pyogrio.list_layers(folder / "plan.gpkg")}
    wanted = {"customers", "stops", "tappings", "bypasses", "excavations", "in_doubt"} & names
    layers = {name: layer_of(folder, name) for name in sorted(wanted)}
    page = (folder / "map.html").read_text(encoding="utf-8")
    checked = Checked()
    burdens = [option["burden"] for option in plan["options"]]
    if burdens != sorted(burdens):
        checked.found.append(Deviation("options not in order of burden", 0, str(burdens)))
    for option in plan["options"]:
        case = Case(raw, plan, option, own_supply)
        if not feeds:
            laid = [*option["bypasses"], *option["opened_valves"]]
            case.require(not laid, "feed though none is allowed", f"{len(laid)}")
        check_zone(case)
        check_people(case)
        check_fallbacks(case)
        check_doubt(case)
        check_second_services(case)
        check_fault_pressures(case)
        check_feeds(case)
        check_places(case)
        check_outlets(case)
        check_tapped(case)
        check_pressures(case, layers["customers"])
        check_prepared(case)
        check_moves(case, layers["customers"])
        check_stations(case)
        check_purge(case)
        check_order(case)
        check_files(case, layers)
        check_map(case, page)
        check_excavations(case, layers["excavations"], page)
        if case.rank == 1:
            check_notices(case, folder)
            if (folder / "work_pack.pdf").exists():
                check_pdf(case, folder)
                check_cover(case, folder)
                check_holes_on_paper(case, folder)
                checked.holds["papers"] += 1
        checked.found += case.found
        _count(case, checked.holds)
    return checked


def _count(case: Case, holds: Counter[str]) -> None:
    option = case.option
    causes = Counter(c["cause"] for c in option["customers"])
    marks = {
        "option": True,
        "bypass": any(b["kind"] == "bypass" for b in option["bypasses"]),
        "hose": any(b["kind"] == "hose" for b in option["bypasses"]),
        "opened valve": bool(option["opened_valves"]),
        "fed by hose, bypass or valve": bool(option["bypasses"] or option["opened_valves"]),
        "fallback with standby": any(row["standby"] for row in option["fallback"]),
        "prepared fallback": bool(option["prepared_fallbacks"]),
        "moved hose": any(row["moves"] for row in option["fallback"]),
        "excavation for several things": any(len(e["included_in"]) > 1 for e in option["excavations"]),
        "dead end paid": any(p["what"] == "dead end" for e in option["excavations"] for p in e["prices"]),
        "two zones": len(option["zones"]) > 1,
        "valve as a stop": any(s["kind"] == "valve" for s in option["stops"]),
        "squeeze as a stop": any(s["kind"] == "squeeze" for s in option["stops"]),
        "bag as a stop": any(s["kind"] == "bag" for s in option["stops"]),
        "customer isolated": causes["isolated"] > 0,
        "customer stranded": causes["stranded"] > 0,
        "customer below minimum": causes["below minimum"] > 0,
        "weak before": bool(option["pressures"]["weak_before"]),
        "in doubt": bool(option.get("in_doubt")),
        "station shut in": any(s["shuts_in"] for s in option["stops"]),
        "inlet of a station as a barrier": any(
            one["inlet_counts"] for s in option["stops"] for one in s["shuts_in"]
        ),
        "nitrogen first": any(p["slug_m3"] is not None for p in option["purge"]["points"]),
        "two services": any(len(case.raw.ends_of[c["id"]]) > 1 for c in option["customers"]),
    }
    holds.update(name for name, there in marks.items() if there)

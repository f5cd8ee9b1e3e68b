"""An American data owner: a file geodatabase in US survey feet, inches, psig, inches of water, therms, retired mains."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from tests.first_hour.export import Answers, Export, Meant, Planted
from tests.first_hour.hostile import in_parts, moved, planted_everywhere, said, with_faults
from tests.first_hour.town import Frames, true_town

__all__ = ["american"]

_STREETS: Final = (
    "Example Rd",
    "Example Bar Ln",
    "Sample St",
    "Sample Ave",
    "Made-Up St",
    "Made-Up Ct",
    "Invented Way",
    "Invented Pl",
)
_MBAR_PER_PSI: Final = 68.94757293168361
_MBAR_PER_INH2O: Final = 2.490889
_KWH_PER_THERM: Final = 29.307107
_CFH_PER_M3H: Final = 35.31466672148859
_MM_PER_IN: Final = 25.4

_STATUS: Final = {
    "live": ("Active", "ACTIVE", "active ", None, "In Service"),
    "abandoned": ("RETIRED",),
    "proposed": ("Design",),
}
_SYSTEM: Final = {"LP": ("11 in WC", "11 IN WC"), "MP": ("15 PSIG",)}
_SURFACE: Final = {
    "footway": ("Sidewalk", "SIDEWALK"),
    "carriageway": ("Street", "Asphalt"),
    "verge": ("Grass",),
}
_MATERIAL: Final = {"PE100": ("HDPE 4710", "PE4710"), "PE80": ("MDPE", "PE2708"), "cast_iron": ("CI",)}
_JOINT: Final = {"fusion": ("Butt Fusion", "BUTT FUSION"), "socket": ("Bell & Spigot",)}
_CATEGORY: Final = {
    "household": ("RES", "Residential", "res"),
    "business": ("COM", "SM COM"),
    "public": ("GOVT",),
    "industry": ("IND",),
}
_PRIORITY: Final = {
    None: ("N", "NO", None),
    "care_home": ("Nursing Home",),
    "medical": ("Home Oxygen",),
    "school": ("SCHOOL",),
    "hospital": ("Hospital",),
}
_STATE: Final = {"open": ("Open", "OPEN", "N.O."), "closed": ("Closed", "CLOSED"), "unknown": (None,)}
_YES: Final = {"yes": ("Y", "Yes"), "no": ("N",), "unknown": ("UNK",)}
_KIND: Final = {
    "tee": ("TEE",),
    "coupler": ("Coupling",),
    "cap": ("End Cap", "END CAP"),
    "elbow": ("ELL 90",),
    "squeeze_mark": ("Squeeze Mark",),
}


def american(seed: int, folder: Path) -> Export:
    """Write the export of a seed."""
    rng = np.random.default_rng([35, seed])
    true = true_town(seed, _STREETS).layers()
    layers, wrong = with_faults(true)
    layers = moved(layers, "EPSG:3435", (300_000.0, 560_000.0))
    ids = _ids(layers)
    tables = {
        "DIST_PIPE": _mains(layers, ids, rng),
        "SERVICE_PIPE": _services(layers, ids, rng),
        "METER_POINT": _people(layers, ids, rng),
    }
    tables |= _points(layers, ids, rng) | _of_others(layers)
    place = folder / "county.gdb"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, frame in tables.items():
            frame.to_file(place, layer=name, driver="OpenFileGDB", engine="pyogrio", promote_to_multi=True)
    return Export(place, _truth(), _planted(wrong, ids), _answers(ids), ids, true)


def _ids(layers: Frames) -> dict[str, dict[str, str]]:
    forms = {
        "mains": "{:06}",
        "services": "{}",
        "customers": "00{:05}",
        "valves": "LV{:02}",
        "regulators": "RS{}",
    }
    forms["fittings"] = "FT{}"
    return {
        layer: {str(name): form.format(k * 3 + 101) for k, name in enumerate(layers[layer]["id"])}
        for layer, form in forms.items()
    }


def _mains(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Any:
    mains = in_parts(layers["mains"], (4,), two=(1,))
    dates = [f"{rng.integers(1, 13):02}/{rng.integers(1, 29):02}/{year:.0f}" for year in mains["year"]]
    dates[4], dates[2], dates[7] = "01/01/1900", "9999", f"{mains['year'].iloc[7]:.0f}"
    return mains[["geometry"]].assign(
        PIPE_NO=[ids["mains"][ident] for ident in mains["id"]],
        MATERIAL=said(mains["material"], _MATERIAL, rng),
        OD=(mains["od_mm"] / _MM_PER_IN).round(3),
        WALL_IN=(mains["wall_mm"] / _MM_PER_IN).round(4),
        OPER_PRESS=said(mains["system"], _SYSTEM, rng),
        MAOP=[15.0 if system == "MP" else 1.0 for system in mains["system"]],
        SERVICE_STATE=said(mains["status"], _STATUS, rng),
        INSTALL_DATE=dates,
        STREET_NAME=mains["street"],
        COVER_TYPE=said(mains["surface"], _SURFACE, rng),
        JOINT_TYPE=said(mains["joint"], _JOINT, rng),
        WORK_ORDER=[f"WO{k}" for k in rng.permutation(len(mains)) + 5000],
        EDITOR="gis",
    )


def _services(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Any:
    services = in_parts(layers["services"], (2, 8))
    return services[["geometry"]].assign(
        SVC_NO=[int(ids["services"][ident]) for ident in services["id"]],
        MATERIAL=said(services["material"], _MATERIAL, rng),
        OD=(services["od_mm"] / _MM_PER_IN).round(3),
        WALL_IN=(services["wall_mm"] / _MM_PER_IN).round(4),
        OPER_PRESS=said(services["system"], _SYSTEM, rng),
        SERVICE_STATE=said(services["status"], _STATUS, rng),
        EFV=said(services["excess_flow_valve"], {"yes": ("Y", "y", "N/A")}, rng),
        EDITOR="gis",
    )


def _people(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Any:
    people = layers["customers"]
    table = people[["geometry"]].assign(
        ACCT=[ids["customers"][ident] for ident in people["id"]],
        SERVICE_ADDRESS=people["address"],
        ST_NAME=people["street"],
        HOUSE_NO=people["number"],
        ZIP="00000",
        RATE_CLASS=said(people["category"], _CATEGORY, rng),
        CRITICAL=said(people["priority"], _PRIORITY, rng),
        CRITICAL_NOTE=people["priority_note"],
        METER_QTY=people["meters"].astype(int),
        ANNUAL_USE=(people["annual_kwh"] / _KWH_PER_THERM).round(1),
        SVC_NO=[f"{ids['services'][ident]};" for ident in people["service_id"]],
        READ_ROUTE=rng.integers(1, 9, len(people)),
    )
    lost = table.iloc[[0]].assign(ACCT="0099999", SERVICE_ADDRESS="unknown", SVC_NO=None, geometry=[None])
    return gpd.GeoDataFrame(pd.concat([table, lost], ignore_index=True), crs=people.crs)


def _points(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    stations, valves, fittings = layers["regulators"], layers["valves"], layers["fittings"]
    table = stations[["geometry"]].assign(
        STATION_NO=[ids["regulators"][ident] for ident in stations["id"]],
        OUTLET_PRESS=(stations["outlet_mbar"] / _MBAR_PER_INH2O).round(3),
        RELIEF_SET=(stations["max_outlet_mbar"] / _MBAR_PER_INH2O).round(3),
        CAPACITY_CFH=(stations["capacity_m3h"] * _CFH_PER_M3H).round(0),
        OPER_PRESS=said(stations["system"], _SYSTEM, rng),
        SERVICE_STATE=said(stations["status"], _STATUS, rng),
    )
    old = table.iloc[[0]].assign(STATION_NO="RS900").drop(columns="SERVICE_STATE")
    old = old.set_geometry(
        gpd.GeoSeries(
            [layers["mains"].set_index("id").geometry["M08"].centroid], index=old.index, crs=old.crs
        )
    )
    return {
        "REG_STATION": table,
        "REG_STATION_OLD": old,
        "CONTROL_LINE": layers["sensing_points"][["geometry"]].assign(
            STATION_NO=[ids["regulators"][ident] for ident in layers["sensing_points"]["station_id"]]
        ),
        "LINE_VALVE": valves[["geometry"]].assign(
            VALVE_NO=[ids["valves"][ident] for ident in valves["id"]],
            POSITION=said(valves["state"], _STATE, rng),
            OPERABLE=said(valves["operable"], _YES, rng),
            OPER_PRESS=said(valves["system"], _SYSTEM, rng),
        ),
        "LINE_FITTING": fittings[["geometry"]].assign(
            FITTING_NO=[ids["fittings"][ident] for ident in fittings["id"]],
            FITTING_TYPE=said(fittings["kind"], _KIND, rng),
            OPER_PRESS=said(fittings["system"], _SYSTEM, rng),
        ),
        "NO_DIG_AREA": layers["keep_out"].rename(columns={"reason": "REASON"}),
        "STREET_CENTERLINE": layers["streets"].rename(columns={"name": "FULL_NAME"}),
        "BUILDING": layers["buildings"].rename(columns={"name": "BLDG_NAME"}),
    }


def _of_others(layers: Frames) -> Frames:
    other, taps = layers["mains"].iloc[:3], layers["valves"].iloc[:2]
    beside = other[["geometry"]].set_geometry(other.geometry.translate(3, 3))
    hydrants = taps[["geometry"]].set_geometry(taps.geometry.translate(0.5, 0.5))
    return {
        "WATER_MAIN": beside.assign(PIPE_NO=["W1", "W2", "W3"], MATERIAL="PVC", OD=[6.9, 6.9, 9.05]),
        "TELECOM_DUCT": beside.assign(DUCT_NO=["T1", "T2", "T3"]),
        "HYDRANT": hydrants.assign(HYD_NO=["H1", "H2"]),
    }


_WORDS: Final = {
    "status": {"active": "live", "in service": "live", "retired": "abandoned", "design": "proposed"},
    "system": {"11 in wc": "LP", "15 psig": "15 psi"},
    "surface": {
        "sidewalk": "footway",
        "street": "carriageway",
        "asphalt": "carriageway",
        "grass": "verge",
    },
    "material": {
        "hdpe 4710": "PE100",
        "pe4710": "PE100",
        "mdpe": "PE80",
        "pe2708": "PE80",
        "ci": "cast_iron",
    },
    "joint": {"butt fusion": "fusion", "bell & spigot": "socket"},
    "category": {
        "res": "household",
        "residential": "household",
        "com": "business",
        "sm com": "business",
        "govt": "public",
        "ind": "industry",
    },
    "priority": {
        "n": "",
        "no": "",
        "nursing home": "care_home",
        "home oxygen": "medical",
        "school": "school",
        "hospital": "hospital",
    },
    "state": {"open": "open", "n.o.": "open", "closed": "closed"},
    "operable": {"y": "yes", "yes": "yes", "n": "no", "unk": "unknown"},
    "excess_flow_valve": {"y": "yes", "n/a": "unknown"},
    "kind": {
        "tee": "tee",
        "coupling": "coupler",
        "end cap": "cap",
        "ell 90": "elbow",
        "squeeze mark": "squeeze_mark",
    },
    "year": {"01/01/1900": "", "9999": ""},
}


def _truth() -> dict[str, tuple[Meant, ...]]:
    line = {"material": "MATERIAL", "od_mm": "OD", "wall_mm": "WALL_IN"}
    line |= {"status": "SERVICE_STATE", "system": "OPER_PRESS"}
    more = {"id": "PIPE_NO", "mop_mbar": "MAOP", "year": "INSTALL_DATE", "street": "STREET_NAME"}
    more |= {"surface": "COVER_TYPE", "joint": "JOINT_TYPE"}
    inches = {"od_mm": "in", "wall_mm": "in"}
    person: dict[str, str | tuple[str, ...]] = {
        "id": "ACCT",
        "address": "SERVICE_ADDRESS",
        "street": "ST_NAME",
        "number": "HOUSE_NO",
        "postcode": "ZIP",
        "category": "RATE_CLASS",
        "priority": "CRITICAL",
        "priority_note": "CRITICAL_NOTE",
        "meters": "METER_QTY",
        "annual_kwh": "ANNUAL_USE",
        "service_id": "SVC_NO",
    }
    station = {"id": "STATION_NO", "outlet_mbar": "OUTLET_PRESS", "max_outlet_mbar": "RELIEF_SET"}
    station |= {"capacity_m3h": "CAPACITY_CFH", "status": "SERVICE_STATE", "system": "OPER_PRESS"}
    valve = {"id": "VALVE_NO", "state": "POSITION", "operable": "OPERABLE", "system": "OPER_PRESS"}
    water = {"outlet_mbar": "inH2O", "max_outlet_mbar": "inH2O", "capacity_m3h": "ft3/h"}
    return {
        "DIST_PIPE": (Meant("mains", line | more, _WORDS, inches | {"mop_mbar": "psig"}),),
        "SERVICE_PIPE": (
            Meant("services", {"id": "SVC_NO", "excess_flow_valve": "EFV"} | line, _WORDS, inches),
        ),
        "METER_POINT": (Meant("customers", person, _WORDS, {"annual_kwh": "therms per year"}),),
        "REG_STATION": (Meant("regulators", station, _WORDS, water),),
        "CONTROL_LINE": (Meant("sensing_points", {"station_id": "STATION_NO"}),),
        "LINE_VALVE": (Meant("valves", valve, _WORDS),),
        "LINE_FITTING": (
            Meant("fittings", {"id": "FITTING_NO", "kind": "FITTING_TYPE", "system": "OPER_PRESS"}, _WORDS),
        ),
        "NO_DIG_AREA": (Meant("keep_out", {"reason": "REASON"}),),
        "STREET_CENTERLINE": (Meant("streets", {"name": "FULL_NAME"}),),
        "BUILDING": (Meant("buildings", {"name": "BLDG_NAME"}),),
    }


def _planted(wrong: dict[str, str], ids: dict[str, dict[str, str]]) -> tuple[Planted, ...]:
    return (
        *planted_everywhere(wrong, ids),
        Planted("a station of old", "draft", ("REG_STATION_OLD", "?")),
        Planted("ducts of others", "layer-not-read", ("TELECOM_DUCT", "HYDRANT")),
        Planted("water mains", "column-not-read", ("WATER_MAIN", "OD", "PIPE_NO")),
        Planted("a customer without place", "no-place", ("0099999",)),
        Planted("the same", "customer-on-no-pipe", ("0099999",)),
        Planted("diameters without unit", "draft", ('from = "OD"', 'unit = "?"')),
        Planted("therms without unit", "draft", ("ANNUAL_USE", 'unit = "?"')),
        Planted("pressures without unit", "draft", ("OUTLET_PRESS", 'unit = "?"')),
        Planted("the same", "draft", ("MAOP", 'unit = "?"')),
        Planted("years that are none", "draft", ('"9999" = "?"',)),
        Planted("the same", "draft", ('"01/01/1900" = "?"',)),
        Planted("dates for years", "date-for-year", ("mains",)),
        Planted("a kind of customer never seen", "draft", ('"SM COM" = "?"',)),
        Planted("a priority never seen", "draft", ('"Home Oxygen" = "?"',)),
        Planted("a priority that is none", "draft", ('"NO" = ""',)),
        Planted("no status", "taken-by-default", ("mains", "status", "SERVICE_STATE")),
        Planted("a valve without state", "missing-state", (ids["valves"]["V3"],)),
        Planted("columns of their own", "column-not-read", ("EDITOR", "WORK_ORDER")),
    )


def _answers(ids: dict[str, dict[str, str]]) -> Answers:
    return Answers(
        words=_WORDS,
        units={
            **{(layer, "od_mm"): 'unit = "in"' for layer in ("mains", "services")},
            ("mains", "mop_mbar"): 'unit = "psig"',
            ("customers", "annual_kwh"): 'unit = "therms per year"',
            ("regulators", "outlet_mbar"): 'unit = "inH2O"',
            ("regulators", "max_outlet_mbar"): 'unit = "inH2O"',
        },
        out=("REG_STATION_OLD",),
    )

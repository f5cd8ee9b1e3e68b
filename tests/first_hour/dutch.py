"""A Dutch data owner: one GeoPackage in RD, a table of lines for each of two districts, sizes and pressures as text."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from tests.first_hour.export import Answers, Export, Meant, Planted
from tests.first_hour.hostile import in_parts, moved, planted_everywhere, said, with_faults
from tests.first_hour.town import Frames, true_town

__all__ = ["dutch"]

_STREETS: Final = (
    "Voorbeeldweg-Oost",
    "Voorbeeldweg-West",
    "Voorbeelddijkje",
    "Verzonnen Akker",
    "Verzonnen Pomp",
    "Verzonnen Tuin",
    "Het Voorbeeldhek",
    "Voorbeeldkuil",
)
_KWH_PER_M3: Final = 9.77
_STATUS: Final = {
    "live": ("in bedrijf", "In bedrijf", "IN BEDRIJF", None, "in bedrijf "),
    "abandoned": ("buiten bedrijf",),
    "proposed": ("ontwerp",),
}
_SYSTEM: Final = {"LP": ("30 mbar(g)", "30 mbar", "30mbar(g)", None), "MP": ("1 bar",)}
_SURFACE: Final = {
    "footway": ("trottoir", "Trottoir"),
    "carriageway": ("rijbaan", "RIJBAAN"),
    "verge": ("berm", "groenstrook"),
}
_MATERIAL: Final = {
    "PE100": ("PE 100", "PE100"),
    "PE80": ("PE 80", "PE80"),
    "cast_iron": ("grijs gietijzer",),
}
_JOINT: Final = {"fusion": ("gelast", "Gelast"), "socket": ("mof",)}
_CATEGORY: Final = {
    "household": ("particulier", "Particulier", "PARTICULIER"),
    "business": ("zakelijk",),
    "public": ("overheid",),
    "industry": ("industrie",),
}
_PRIORITY: Final = {
    None: (None, "nee", "NEE", "geen"),
    "care_home": ("verpleeghuis",),
    "medical": ("thuisbeademing",),
    "school": ("school",),
    "hospital": ("ziekenhuis",),
}
_STATE: Final = {"open": ("open", "Open"), "closed": ("gesloten", "Gesloten "), "unknown": (None,)}
_YES: Final = {"yes": ("ja", "Ja"), "no": ("nee",), "unknown": ("onbekend",)}
_KIND: Final = {
    "tee": ("T-stuk",),
    "coupler": ("lasmof",),
    "cap": ("eindkap", "Eindkap"),
    "elbow": ("bocht 90",),
    "squeeze_mark": ("afknijpplaats",),
}


def dutch(seed: int, folder: Path) -> Export:
    """Write the export of a seed."""
    rng = np.random.default_rng([31, seed])
    true = true_town(seed, _STREETS).layers()
    layers, wrong = with_faults(true)
    layers = moved(layers, "EPSG:28992", (155_000.0, 463_000.0))
    ids = _ids(layers)
    tables = _lines(layers, ids, rng) | _people(layers, ids, rng) | _points(layers, ids, rng)
    tables |= _of_others(tables, layers)
    place = folder / "gasnet.gpkg"
    for name, frame in tables.items():
        frame.to_file(place, layer=name, driver="GPKG", engine="pyogrio")
    return Export(place, _truth(tables), _planted(wrong, ids), _answers(ids), ids, true)


def _ids(layers: Frames) -> dict[str, dict[str, str]]:
    """Return the ids of the export by layer and id of the town."""
    forms = {
        "mains": "HL-{:05}",
        "services": "AL-{:05}",
        "customers": "8710000000{:08}",
        "valves": "AFS{:03}",
    }
    forms |= {"regulators": "DS {:02}", "fittings": "HS-{:04}"}
    return {
        layer: {str(name): form.format(k * 7 + 3) for k, name in enumerate(layers[layer]["id"])}
        for layer, form in forms.items()
    }


def _table_of_lines(frame: Any, kind: list[str], names: dict[str, str], rng: np.random.Generator) -> Any:
    sizes = [
        "DN 100" if row.material == "cast_iron" else f"PE {row.od_mm:g} SDR {row.sdr:g}"
        for row in frame.itertuples()
    ]
    streets = frame["street"] if "street" in frame else [None] * len(frame)
    surface = said(frame["surface"], _SURFACE, rng) if "surface" in frame else [None] * len(frame)
    years = frame["year"] if "year" in frame else [np.nan] * len(frame)
    dates = [None if year != year else f"{rng.integers(1, 29):02}-03-{year:.0f}" for year in years]
    joint = said(frame["joint"], _JOINT, rng) if "joint" in frame else [None] * len(frame)
    return frame[["geometry"]].assign(
        LEIDINGNR=[names[ident] for ident in frame["id"]],
        SOORT=kind,
        DIAMETER=sizes,
        MATERIAAL=said(frame["material"], _MATERIAL, rng),
        NETDRUK=said(frame["system"], _SYSTEM, rng),
        STATUS=said(frame["status"], _STATUS, rng),
        AANLEGDATUM=dates,
        STRAAT=streets,
        LIGGING=surface,
        VERBINDING=joint,
        BEHEERDER="regio oost",
        GIS_ID=rng.permutation(len(frame)) + 70_000,
    )


def _lines(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    """Return the lines of both districts: the main on their border stands in both."""
    mains = in_parts(layers["mains"], (3, 7), two=(1,))
    kind = ["Hoofdleiding MD" if system == "MP" else "Hoofdleiding LD" for system in mains["system"]]
    kind[1], kind[4], kind[8] = "Hoofdleiding", "HOOFDLEIDING LD", ""
    services = layers["services"]
    short = ["Aansluitleiding"] * len(services)
    short[5], short[6] = "aansluitleiding", "AANSLUITLEIDING"
    table = gpd.GeoDataFrame(
        pd.concat(
            [
                _table_of_lines(mains, kind, ids["mains"], rng),
                _table_of_lines(services, short, ids["services"], rng),
            ],
            ignore_index=True,
        ),
        crs=mains.crs,
    )
    dates = table["AANLEGDATUM"].tolist()
    dates[0], dates[5] = "01-01-1900", "9999"
    table["AANLEGDATUM"] = dates
    casing = table.iloc[[2]].assign(
        LEIDINGNR="MB-00001", SOORT="Mantelbuis", DIAMETER="200", MATERIAAL="staal"
    )
    north = table.geometry.centroid.y > 463_060.5
    border = table["LEIDINGNR"] == ids["mains"]["M10"]
    return {
        "leidingen_noord": table[north | border],
        "leidingen_zuid": gpd.GeoDataFrame(pd.concat([table[~north | border], casing]), crs=mains.crs),
    }


def _people(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    people = layers["customers"]
    return {
        "aansluitpunten": people[["geometry"]].assign(
            AANSLUITNR=[ids["customers"][ident] for ident in people["id"]],
            STRAAT=[
                street.upper() if k == len(people) - 1 else street
                for k, street in enumerate(people["street"])
            ],
            HUISNR=people["number"],
            POSTCODE="9999 ZZ",
            PLAATS="Nergenshuizen",
            KLANTSOORT=said(people["category"], _CATEGORY, rng),
            PRIORITEIT=said(people["priority"], _PRIORITY, rng),
            OPMERKING=people["priority_note"],
            AANTAL_METERS=people["meters"].astype(int),
            JAARVERBRUIK_M3=(people["annual_kwh"] / _KWH_PER_M3).round(1),
            AANSLUITLEIDING=[f"{ids['services'][ident]};" for ident in people["service_id"]],
            INGEVOERD_DOOR="mw. J.",
        )
    }


def _points(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    stations, valves, fittings = layers["regulators"], layers["valves"], layers["fittings"]
    taps = layers["sensing_points"]
    table = valves[["geometry"]].assign(
        AFSLUITERNR=[ids["valves"][ident] for ident in valves["id"]],
        STAND=said(valves["state"], _STATE, rng),
        BEDIENBAAR=said(valves["operable"], _YES, rng),
        NETDRUK=said(valves["system"], {"LP": ("30 mbar(g)", "30 mbar", "30mbar(g)")}, rng),
    )
    lost = table.iloc[[0]].assign(AFSLUITERNR="AFS900", geometry=[None])
    return {
        "districtstations": stations[["geometry"]].assign(
            STATIONSNR=[ids["regulators"][ident] for ident in stations["id"]],
            UITLAATDRUK=[f"{value:g} mbar" for value in stations["outlet_mbar"]],
            VEILIGHEIDSDRUK=[f"{value:g} mbar" for value in stations["max_outlet_mbar"]],
            CAPACITEIT=stations["capacity_m3h"],
            NETDRUK=said(stations["system"], _SYSTEM, rng),
            STATUS=said(stations["status"], _STATUS, rng),
        ),
        "impulspunten": taps[["geometry"]].assign(
            STATIONSNR=[ids["regulators"][ident] for ident in taps["station_id"]]
        ),
        "afsluiters": gpd.GeoDataFrame(pd.concat([table.iloc[:5], lost]), crs=valves.crs),
        "afsluiters_2": table.iloc[5:],
        "hulpstukken": fittings[["geometry"]].assign(
            NUMMER=[ids["fittings"][ident] for ident in fittings["id"]],
            SOORT=said(fittings["kind"], _KIND, rng),
            NETDRUK=said(fittings["system"], _SYSTEM, rng),
        ),
        "verbodsgebieden": layers["keep_out"].rename(columns={"reason": "REDEN"}),
    }


def _of_others(tables: Frames, layers: Frames) -> Frames:
    """Return layers of others, and a copy of old times that somebody left in the file."""
    old = tables["leidingen_noord"].iloc[:4]
    other = layers["mains"].iloc[:3]
    beside = other[["geometry"]].set_geometry(other.geometry.translate(1.2, 1.2))
    return {
        "leidingen_noord_oud": old,
        "waterleidingen": beside.assign(LEIDINGNR=["W1", "W2", "W3"], DIAMETER=110, MATERIAAL="PVC"),
        "mantelbuizen_telecom": beside.assign(NUMMER=["T1", "T2", "T3"]),
        "wegen": layers["streets"].rename(columns={"name": "NAAM"}),
        "panden": layers["buildings"].rename(columns={"name": "NAAM"}),
    }


_WORDS: Final = {
    "status": {"in bedrijf": "live", "buiten bedrijf": "abandoned", "ontwerp": "proposed"},
    "system": {"30 mbar(g)": "LP", "30 mbar": "LP", "30mbar(g)": "LP", "1 bar": "1 bar"},
    "surface": {
        "trottoir": "footway",
        "rijbaan": "carriageway",
        "berm": "verge",
        "groenstrook": "verge",
    },
    "material": {"pe 100": "PE100", "pe100": "PE100", "pe 80": "PE80", "pe80": "PE80"}
    | {"grijs gietijzer": "cast_iron", "staal": "steel"},
    "joint": {"gelast": "fusion", "mof": "socket"},
    "category": {
        "particulier": "household",
        "zakelijk": "business",
        "overheid": "public",
        "industrie": "industry",
    },
    "priority": {
        "nee": "",
        "geen": "",
        "verpleeghuis": "care_home",
        "thuisbeademing": "medical",
        "school": "school",
        "ziekenhuis": "hospital",
    },
    "state": {"open": "open", "gesloten": "closed"},
    "operable": {"ja": "yes", "nee": "no", "onbekend": "unknown"},
    "kind": {
        "t-stuk": "tee",
        "lasmof": "coupler",
        "eindkap": "cap",
        "bocht 90": "elbow",
        "afknijpplaats": "squeeze_mark",
    },
    "year": {"01-01-1900": "", "9999": ""},
}


def _truth(tables: Frames) -> dict[str, tuple[Meant, ...]]:
    line = {"id": "LEIDINGNR", "size": "DIAMETER", "material": "MATERIAAL", "system": "NETDRUK"}
    line |= {"status": "STATUS"}
    more = {"year": "AANLEGDATUM", "street": "STRAAT", "surface": "LIGGING", "joint": "VERBINDING"}
    mains = ("Hoofdleiding", "Hoofdleiding LD", "HOOFDLEIDING LD", "Hoofdleiding MD", "")
    services = ("Aansluitleiding", "aansluitleiding", "AANSLUITLEIDING")

    def lines(name: str) -> tuple[Meant, ...]:
        held = set(tables[name]["SOORT"])
        return (
            Meant("mains", line | more, _WORDS, part="SOORT", is_=tuple(w for w in mains if w in held)),
            Meant("services", line, _WORDS, part="SOORT", is_=tuple(w for w in services if w in held)),
        )

    valve = {"id": "AFSLUITERNR", "state": "STAND", "operable": "BEDIENBAAR", "system": "NETDRUK"}
    valves = (Meant("valves", valve, _WORDS),)
    station = {"id": "STATIONSNR", "outlet_mbar": "UITLAATDRUK", "max_outlet_mbar": "VEILIGHEIDSDRUK"}
    station |= {"capacity_m3h": "CAPACITEIT", "system": "NETDRUK", "status": "STATUS"}
    person: dict[str, str | tuple[str, ...]] = {
        "id": "AANSLUITNR",
        "address": ("STRAAT", "HUISNR"),
        "street": "STRAAT",
        "number": "HUISNR",
        "postcode": "POSTCODE",
        "town": "PLAATS",
        "category": "KLANTSOORT",
        "priority": "PRIORITEIT",
        "priority_note": "OPMERKING",
        "meters": "AANTAL_METERS",
        "annual_kwh": "JAARVERBRUIK_M3",
        "service_id": "AANSLUITLEIDING",
    }
    fitting = {"id": "NUMMER", "kind": "SOORT", "system": "NETDRUK"}
    return {
        "leidingen_noord": lines("leidingen_noord"),
        "leidingen_zuid": lines("leidingen_zuid"),
        "aansluitpunten": (Meant("customers", person, _WORDS, {"annual_kwh": "m3"}),),
        "districtstations": (Meant("regulators", station, _WORDS),),
        "impulspunten": (Meant("sensing_points", {"station_id": "STATIONSNR"}),),
        "afsluiters": valves,
        "afsluiters_2": valves,
        "hulpstukken": (Meant("fittings", fitting, _WORDS),),
        "verbodsgebieden": (Meant("keep_out", {"reason": "REDEN"}),),
        "wegen": (Meant("streets", {"name": "NAAM"}),),
        "panden": (Meant("buildings", {"name": "NAAM"}),),
    }


def _planted(wrong: dict[str, str], ids: dict[str, dict[str, str]]) -> tuple[Planted, ...]:
    return (
        *planted_everywhere(wrong, ids),
        Planted(
            "a main in both districts", "clashing-id", (ids["mains"]["M10"], "leidingen_noord"), mended=True
        ),
        Planted("an old copy of a layer", "draft", ("leidingen_noord_oud", "?")),
        Planted("water mains", "draft", ("waterleidingen", "?")),
        Planted("ducts of others", "layer-not-read", ("mantelbuizen_telecom",)),
        Planted("a word never seen among the lines", "draft", ("Mantelbuis",)),
        Planted("the same", "rows-not-taken", ("Mantelbuis", "1 of ")),
        Planted("a code for an unknown year", "draft", ('"9999" = "?"',)),
        Planted("a date for an unknown year", "draft", ('"01-01-1900" = "?"',)),
        Planted("dates for years", "date-for-year", ("mains",)),
        Planted("use in m3", "draft", ("JAARVERBRUIK_M3", 'unit = "?"')),
        Planted("a capacity without unit", "draft", ("CAPACITEIT", 'unit = "?"')),
        Planted("a priority that is unknown", "draft", ('"thuisbeademing" = "?"',)),
        Planted("a priority that is none", "draft", ('"NEE" = ""',)),
        Planted("no status", "taken-by-default", ("mains", "status", "STATUS")),
        Planted("no pressure", "taken-by-default", ("services", "system", "NETDRUK")),
        Planted("a valve without place", "no-place", ("AFS900",)),
        Planted("a valve without state", "missing-state", (ids["valves"]["V3"],)),
        Planted("columns of their own", "column-not-read", ("BEHEERDER", "GIS_ID")),
    )


def _answers(ids: dict[str, dict[str, str]]) -> Answers:
    kinds = dict.fromkeys(("Hoofdleiding LD", "HOOFDLEIDING LD", "Hoofdleiding MD", ""), "mains")
    return Answers(
        words=_WORDS | {"where": {**kinds, "Mantelbuis": ""}},
        units={
            ("customers", "annual_kwh"): f'unit = "m3", kwh_per_m3 = {_KWH_PER_M3}',
            ("regulators", "capacity_m3h"): 'unit = "m3/h"',
        },
        out=("leidingen_noord_oud", "waterleidingen"),
        left_out={"leidingen_zuid": ("LEIDINGNR", ids["mains"]["M10"])},
    )

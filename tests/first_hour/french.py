"""A French data owner: Shapefiles in Latin-1, names cut at ten letters, decimal commas, ids from 1 in each district."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from tests.first_hour.export import Answers, Export, Meant, Planted
from tests.first_hour.hostile import in_parts, moved, planted_everywhere, said, with_faults
from tests.first_hour.town import Frames, true_town

__all__ = ["french"]

_STREETS: Final = (
    "rue de l'Exemple Étang",
    "allée de l'Exemple Châtain",
    "chemin de l'Exemple",
    "rue Inventée des Façades",
    "rue Inventée Première",
    "passage Exemple-Noël",
    "impasse de l'Exemple Écluse",
    "impasse Inventée Où",
)
_STATUS: Final = {
    "live": ("En service", "EN SERVICE", "en service", None),
    "abandoned": ("Abandonné",),
    "proposed": ("Projeté",),
}
_SYSTEM: Final = {"LP": ("BP", "bp"), "MP": ("MPB",)}
_SURFACE: Final = {
    "footway": ("Trottoir", "TROTTOIR"),
    "carriageway": ("Chaussée",),
    "verge": ("Accotement", "Espace vert"),
}
_MATERIAL: Final = {
    "PE100": ("PE100", "PE 100"),
    "PE80": ("PE80", "PE 80"),
    "cast_iron": ("Fonte grise",),
}
_JOINT: Final = {"fusion": ("Soudé", "soudé"), "socket": ("Emboîtement",)}
_CATEGORY: Final = {
    "household": ("Logement", "LOGEMENT", "logement "),
    "business": ("Tertiaire",),
    "public": ("Bâtiment public",),
    "industry": ("Industrie",),
}
_PRIORITY: Final = {
    None: (None, "non", "NON"),
    "care_home": ("Maison de retraite",),
    "medical": ("Oxygène à domicile",),
    "school": ("École",),
    "hospital": ("Hôpital",),
}
_STATE: Final = {"open": ("ouverte", "Ouverte"), "closed": ("fermée", "FERMÉE"), "unknown": ("?",)}
_YES: Final = {"yes": ("oui", "Oui"), "no": ("non",), "unknown": ("inconnu",)}
_KIND: Final = {
    "tee": ("Té",),
    "coupler": ("Manchon",),
    "cap": ("Bouchon", "bouchon"),
    "elbow": ("Coude 90°",),
    "squeeze_mark": ("Pincement",),
}


def french(seed: int, folder: Path) -> Export:
    """Write the export of a seed."""
    rng = np.random.default_rng([33, seed])
    true = true_town(seed, _STREETS).layers()
    layers, wrong = with_faults(true)
    layers = moved(layers, "EPSG:2154", (652_000.0, 6_650_000.0))
    north = layers["services"].geometry.centroid.y > 6_650_060.0
    ids = _ids(layers, north)
    tables = _mains(layers, ids, rng) | _services(layers, north, rng) | _people(layers, ids, north, rng)
    tables |= _points(layers, ids, rng) | _of_others(layers)
    place = folder / "reseau_gaz"
    place.mkdir()
    for name, frame in tables.items():
        frame.to_file(place / f"{name}.shp", engine="pyogrio", encoding="ISO-8859-1")
    return Export(place, _truth(), _planted(wrong, ids), _answers(ids), ids, true)


def _ids(layers: Frames, north: Any) -> dict[str, dict[str, str]]:
    """Return the ids of the export as the mapping makes them; those of services begin at 1 in each district."""
    forms = {
        "mains": "C{:04}",
        "customers": "GI{:06}",
        "valves": "V-{:03}",
        "regulators": "P{}",
        "fittings": "{}",
    }
    ids = {
        layer: {str(name): form.format(k + 1) for k, name in enumerate(layers[layer]["id"])}
        for layer, form in forms.items()
    }
    names, counts = {}, {"N": 0, "S": 0}
    for name, is_north in zip(layers["services"]["id"], north, strict=True):
        district = "N" if is_north else "S"
        counts[district] += 1
        names[str(name)] = f"{district}-{counts[district]}"
    return ids | {"services": names}


def _comma(numbers: Any, form: str = "{:.1f}") -> list[str | None]:
    return [None if number != number else form.format(number).replace(".", ",") for number in numbers]


def _mains(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    mains = in_parts(layers["mains"], (2, 6), two=(0,))
    years = [f"{year:.0f}" for year in mains["year"]]
    years[3], years[9] = "1900", "9999"
    table = mains[["geometry"]].assign(
        NUMERO=[ids["mains"][ident] for ident in mains["id"]],
        MATERIAU=said(mains["material"], _MATERIAL, rng),
        DIAM_EXT=_comma(mains["od_mm"]),
        EPAISSEUR=_comma(mains["wall_mm"]),
        PRESSION=said(mains["system"], _SYSTEM, rng),
        ETAT=said(mains["status"], _STATUS, rng, rare=("En travaux",)),
        ANNEE_POSE=years,
        RUE=mains["street"],
        REVETEMENT=said(mains["surface"], _SURFACE, rng),
        ASSEMBLAGE=said(mains["joint"], _JOINT, rng),
        LONGUEUR=_comma(mains.geometry.length),
        DATE_MAJ="2024-06-01",
        COMMUNE="Nulle-Part-lès-Prés",
    )
    empty = table.iloc[[0]].assign(NUMERO="C9999", geometry=[None])
    return {"Canalisations": gpd.GeoDataFrame(pd.concat([table, empty]), crs=mains.crs)}


def _services(layers: Frames, north: Any, rng: np.random.Generator) -> Frames:
    services = in_parts(layers["services"], (1, 9, 30))
    tables = {}
    for name, rows in (("Nord", north), ("Sud", ~north)):
        part = services[rows]
        tables[f"Branchements_{name}"] = part[["geometry"]].assign(
            NUM_BRCHT=range(1, len(part) + 1),
            MATERIAU=said(part["material"], _MATERIAL, rng),
            DIAM_EXT=_comma(part["od_mm"], "{:.0f}"),
            EPAISSEUR=_comma(part["wall_mm"]),
            PRESSION=said(part["system"], _SYSTEM, rng),
            ETAT=said(part["status"], _STATUS, rng),
            LONGUEUR=_comma(part.geometry.length),
        )
    return tables


def _people(layers: Frames, ids: dict[str, dict[str, str]], north: Any, rng: np.random.Generator) -> Frames:
    people, names = layers["customers"], ids["services"]
    of = [names[ident] for ident in people["service_id"]]
    table = people[["geometry"]].assign(
        NUM_CPTEUR=[ids["customers"][ident] for ident in people["id"]],
        ADRESSE=people["address"],
        RUE=people["street"],
        NUMERO=people["number"],
        CODE_POST="99999",
        NATURE=said(people["category"], _CATEGORY, rng),
        PRIORITE=said(people["priority"], _PRIORITY, rng),
        REMARQUE=people["priority_note"],
        NB_CPT=people["meters"].astype(int),
        CONSO_KWH=[f"{value:,.1f}".replace(",", "").replace(".", ",") for value in people["annual_kwh"]],
        BRANCHEMT=[int(name.partition("-")[2]) for name in of],
        RELEVEUR="M. X",
    )
    is_north = np.array([name.startswith("N") for name in of])
    return {"Compteurs_Nord": table[is_north], "Compteurs_Sud": table[~is_north]}


def _points(layers: Frames, ids: dict[str, dict[str, str]], rng: np.random.Generator) -> Frames:
    stations, valves, fittings = layers["regulators"], layers["valves"], layers["fittings"]
    return {
        "Postes_detente": stations[["geometry"]].assign(
            NUM_POSTE=[ids["regulators"][ident] for ident in stations["id"]],
            P_AVAL=_comma(stations["outlet_mbar"]),
            P_SECURITE=_comma(stations["max_outlet_mbar"]),
            DEBIT_M3H=stations["capacity_m3h"],
            PRESSION=said(stations["system"], _SYSTEM, rng),
            ETAT=said(stations["status"], _STATUS, rng),
        ),
        "Prises_impulsion": layers["sensing_points"][["geometry"]].assign(
            NUM_POSTE=[ids["regulators"][ident] for ident in layers["sensing_points"]["station_id"]]
        ),
        "Vannes": valves[["geometry"]].assign(
            NUM_VANNE=[ids["valves"][ident] for ident in valves["id"]],
            POSITION=said(valves["state"], _STATE, rng),
            MANOEUVRAB=said(valves["operable"], _YES, rng),
            PRESSION=said(valves["system"], _SYSTEM, rng),
        ),
        "Raccords": fittings[["geometry"]].assign(
            NUM_RACC=[int(ids["fittings"][ident]) for ident in fittings["id"]],
            TYPE=said(fittings["kind"], _KIND, rng),
            PRESSION=said(fittings["system"], _SYSTEM, rng),
        ),
        "Zones_interdites": layers["keep_out"].rename(columns={"reason": "MOTIF"}),
        "Voirie": layers["streets"].rename(columns={"name": "NOM"}),
        "Batiments": layers["buildings"].rename(columns={"name": "NOM"}),
    }


def _of_others(layers: Frames) -> Frames:
    other, taps = layers["mains"].iloc[:3], layers["valves"].iloc[:2]
    beside = other[["geometry"]].set_geometry(other.geometry.translate(1.2, 1.2))
    hydrants = taps[["geometry"]].set_geometry(taps.geometry.translate(0.2, 0.2))
    return {
        "Conduites_eau_potable": beside.assign(NUMERO=["E1", "E2", "E3"], MATERIAU="PVC", DIAM_EXT="110,0"),
        "Canalisation_telecom": beside.assign(NUMERO=["T1", "T2", "T3"]),
        "Vannes_eau": hydrants.assign(NUM_VANNE=["VE1", "VE2"], POSITION="fermée"),
        "Regards_assainissement": hydrants.assign(NUM=["A1", "A2"]),
    }


_WORDS: Final = {
    "status": {"en service": "live", "abandonné": "abandoned", "projeté": "proposed", "en travaux": "live"},
    "system": {"bp": "LP", "mpb": "MPB"},
    "surface": {
        "trottoir": "footway",
        "chaussée": "carriageway",
        "accotement": "verge",
        "espace vert": "verge",
    },
    "material": {"pe100": "PE100", "pe 100": "PE100", "pe80": "PE80", "pe 80": "PE80"}
    | {"fonte grise": "cast_iron"},
    "joint": {"soudé": "fusion", "emboîtement": "socket"},
    "category": {
        "logement": "household",
        "tertiaire": "business",
        "bâtiment public": "public",
        "industrie": "industry",
    },
    "priority": {
        "non": "",
        "maison de retraite": "care_home",
        "oxygène à domicile": "medical",
        "école": "school",
        "hôpital": "hospital",
    },
    "state": {"ouverte": "open", "fermée": "closed", "?": "unknown"},
    "operable": {"oui": "yes", "non": "no", "inconnu": "unknown"},
    "kind": {
        "té": "tee",
        "manchon": "coupler",
        "bouchon": "cap",
        "coude 90°": "elbow",
        "pincement": "squeeze_mark",
    },
    "year": {"1900": "", "9999": ""},
}


def _truth() -> dict[str, tuple[Meant, ...]]:
    line = {"material": "MATERIAU", "od_mm": "DIAM_EXT", "wall_mm": "EPAISSEUR"}
    line |= {"status": "ETAT", "system": "PRESSION"}
    more = {
        "id": "NUMERO",
        "year": "ANNEE_POSE",
        "street": "RUE",
        "surface": "REVETEMENT",
        "joint": "ASSEMBLAGE",
    }
    more["record_date"] = "DATE_MAJ"
    person: dict[str, str | tuple[str, ...]] = {
        "id": "NUM_CPTEUR",
        "address": "ADRESSE",
        "street": "RUE",
        "number": "NUMERO",
        "postcode": "CODE_POST",
        "category": "NATURE",
        "priority": "PRIORITE",
        "priority_note": "REMARQUE",
        "meters": "NB_CPT",
        "annual_kwh": "CONSO_KWH",
        "service_id": "BRANCHEMT",
    }
    station = {"id": "NUM_POSTE", "outlet_mbar": "P_AVAL", "max_outlet_mbar": "P_SECURITE"}
    station |= {"capacity_m3h": "DEBIT_M3H", "status": "ETAT", "system": "PRESSION"}
    valve = {"id": "NUM_VANNE", "state": "POSITION", "operable": "MANOEUVRAB", "system": "PRESSION"}
    services = (Meant("services", {"id": "NUM_BRCHT"} | line, _WORDS),)
    people = (Meant("customers", person, _WORDS),)
    return {
        "Canalisations": (Meant("mains", line | more, _WORDS),),
        "Branchements_Nord": services,
        "Branchements_Sud": services,
        "Compteurs_Nord": people,
        "Compteurs_Sud": people,
        "Postes_detente": (Meant("regulators", station, _WORDS),),
        "Prises_impulsion": (Meant("sensing_points", {"station_id": "NUM_POSTE"}),),
        "Vannes": (Meant("valves", valve, _WORDS),),
        "Raccords": (Meant("fittings", {"id": "NUM_RACC", "kind": "TYPE", "system": "PRESSION"}, _WORDS),),
        "Zones_interdites": (Meant("keep_out", {"reason": "MOTIF"}),),
        "Voirie": (Meant("streets", {"name": "NOM"}),),
        "Batiments": (Meant("buildings", {"name": "NOM"}),),
    }


def _planted(wrong: dict[str, str], ids: dict[str, dict[str, str]]) -> tuple[Planted, ...]:
    return (
        *planted_everywhere(wrong, ids),
        Planted(
            "ids from 1 in both districts", "clashing-id", ("services", "Branchements_Nord"), mended=True
        ),
        Planted("a main without geometry", "no-geometry", ("mains", "C9999"), mended=True),
        Planted("water mains", "draft", ("Conduites_eau_potable", "?")),
        Planted("ducts of others", "draft", ("Canalisation_telecom", "?")),
        Planted("valves on water mains", "draft", ("Vannes_eau", "?")),
        Planted("manholes", "layer-not-read", ("Regards_assainissement",)),
        Planted("a status never seen", "draft", ('"En travaux" = "?"',)),
        Planted("years that are none", "draft", ('"9999" = "?"',)),
        Planted("the same", "draft", ('"1900" = "?"',)),
        Planted("diameters without unit", "draft", ("DIAM_EXT", 'unit = "?"')),
        Planted("pressures without unit", "draft", ("P_AVAL", 'unit = "?"')),
        Planted("a kind of customer never seen", "draft", ('"Bâtiment public" = "?"',)),
        Planted("a priority never seen", "draft", ('"Oxygène à domicile" = "?"',)),
        Planted("a priority that is none", "draft", ('"NON" = ""',)),
        Planted("a state that is a question mark", "draft", ('"?" = "?"',)),
        Planted("the same", "valve-state-unknown", (ids["valves"]["V3"],)),
        Planted("no status", "taken-by-default", ("mains", "status", "ETAT")),
        Planted("columns of their own", "column-not-read", ("LONGUEUR", "COMMUNE")),
    )


def _answers(ids: dict[str, dict[str, str]]) -> Answers:
    millimetres = 'unit = "mm"'
    return Answers(
        words=_WORDS,
        units={
            **{
                (layer, name): millimetres for layer in ("mains", "services") for name in ("od_mm", "wall_mm")
            },
            ("regulators", "outlet_mbar"): 'unit = "mbar"',
            ("regulators", "max_outlet_mbar"): 'unit = "mbar"',
        },
        out=("Canalisation_telecom", "Conduites_eau_potable", "Vannes_eau"),
        prefixes={
            (f"{layer}_{name}", column): f"{name[0]}-"
            for name in ("Nord", "Sud")
            for layer, column in (("Branchements", "id"), ("Compteurs", "service_id"))
        },
        left_out={"Canalisations": ("NUMERO", "C9999")},
    )

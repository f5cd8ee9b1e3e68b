"""First drafts of mappings: what is guessed, what is left open, and that wrong guesses are not made."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point

from netplan.core.findings import Severity
from netplan.readers import open_source, read_layers, read_network
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.draft_evidence import pressure_tier
from netplan.readers.mapping.draft_mapping import MappingDraft, draft_mapping
from tests.own.test_readers_formats import town

FRENCH: dict[str, Any] = {
    "mains": ("Conduites", {"id": "numero", "material": "materiau", "od_mm": "diametre_exterieur_mm"}),
    "services": ("Branchements", {"id": "numero", "material": "materiau", "od_mm": "diametre_exterieur_mm"}),
    "customers": ("Compteurs", {"id": "numero", "address": "adresse", "service_id": "branchement"}),
    "regulators": ("Postes_de_detente", {"id": "numero", "outlet_mbar": "pression_de_sortie_mbar"}),
    "sensing_points": ("Prise_impulsion", {"station_id": "poste"}),
    "valves": ("Vannes", {"id": "numero", "state": "position"}),
    "fittings": ("Raccords", {"id": "numero", "kind": "type"}),
    "injections": ("Injecteurs_biomethane", {"id": "numero"}),
    "keep_out": ("Zone_interdite", {"reason": "motif"}),
}
DUTCH: dict[str, Any] = {
    "mains": ("Hoofdleidingen", {"id": "nummer", "material": "materiaal", "od_mm": "buitendiameter_mm"}),
    "services": (
        "Aansluitleidingen",
        {"id": "nummer", "material": "materiaal", "od_mm": "buitendiameter_mm"},
    ),
    "customers": ("Aansluitpunten", {"id": "nummer", "address": "adres", "service_id": "aansluiting"}),
    "regulators": ("Districtstations", {"id": "nummer", "outlet_mbar": "uitlaatdruk_mbar"}),
    "sensing_points": ("Impulsleiding", {"station_id": "station"}),
    "valves": ("Afsluiters", {"id": "nummer", "state": "stand"}),
    "fittings": ("Hulpstukken", {"id": "nummer", "kind": "soort"}),
    "injections": ("Invoedpunten", {"id": "nummer"}),
    "keep_out": ("Verbodsgebied", {"reason": "reden"}),
}


@pytest.mark.parametrize("names", [FRENCH, DUTCH])
def test_drafts_in_other_languages_read_the_same_network(tmp_path: Path, names: dict[str, Any]) -> None:
    place = tmp_path / "own.gpkg"
    for layer, frame in town().items():
        name, columns = names[layer]
        frame.rename(columns=columns).to_file(place, layer=name)
    draft = draft_mapping(open_source(place))
    assert draft.gaps == ()
    network = read_network(place, mapping=parse_mapping(draft.text))
    assert network.content_sha256 == read_network(_native(tmp_path)).content_sha256


def _native(path: Path) -> Path:
    for layer, frame in town().items():
        frame.to_file(path / "native.gpkg", layer=layer)
    return path / "native.gpkg"


def _draft(path: Path, layer: str, columns: dict[str, Any], shapes: Any, crs: Any = 25832) -> MappingDraft:
    frame = geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs)
    path.mkdir()
    frame.to_parquet(path / f"{layer}.parquet", index=False)
    draft = draft_mapping(open_source(path))
    parse_mapping(draft.text)
    return draft


def _lines(n: int, z: float | None = None) -> list[LineString]:
    up = () if z is None else (z,)
    return [LineString([(600000 + 9 * i, 5800000, *up), (600000 + 9 * i, 5800040, *up)]) for i in range(n)]


@pytest.mark.parametrize(
    ("name", "values", "expected"),
    [
        (
            "outer diameter",
            [110.0, 63.0],
            'unit = "?" } # no unit is named; the median is 86.5: probable would be mm',
        ),
        ("outer diameter", [4.5, 8.625], "probable would be in, or cm"),
        ("od_in", [4.5, 8.625], 'unit = "in" } # by the name'),
        ("OuterDiameterIn", [4.5, 8.625], 'unit = "in" } # by the name'),
        ("outer diameter in cm", [11.0, 6.3], 'unit = "cm" } # by the name'),
        ("outer diameter in mm", [110.0, 63.0], 'od_mm = "outer diameter in mm"'),
        ("outer diameter mm or inch", [110.0, 63.0], 'unit = "?" } # the name says'),
        ("mop_bar", [0.1, 0.1], 'unit = "bar" } # by the name'),
        ("mop_kPa", [10.0, 10.0], 'unit = "kPa" } # by the name'),
        ("mop_in_wc", [14.0, 14.0], 'unit = "inH2O" } # by the name'),
        ("mop", [100.0, 100.0], 'unit = "?" } # no unit is named; the median is 100: probable would be mbar'),
        ("mop", [4.0, 0.1], 'unit = "?"'),
        ("mop", ["4 bar", "0,1 bar"], 'mop_mbar = { from = "mop", decimal = "," }'),
        ("mop", ["4 bar", "60 psi"], 'mop_mbar = "mop"'),
        ("mop", ["4 bar", "60"], 'unit = "?"'),
        ("depth", [0.9, 1.1], "probable would be m"),
        ("depth", [90.0, 110.0], "probable would be cm"),
        ("depth_cm", [90.0, 110.0], 'unit = "cm" } # by the name'),
        ("depth", ["0.9 m", "110 cm"], 'depth_m = "depth"'),
    ],
)
def test_a_unit_comes_from_the_name_or_the_values_or_is_asked_for(
    tmp_path: Path, name: str, values: list[Any], expected: str
) -> None:
    draft = _draft(tmp_path / "d", "mains", {"nr": ["a", "b"], name: values}, _lines(2))
    assert expected in draft.text, draft.text
    assert any(gap.startswith("mains: unit of") for gap in draft.gaps) == ('unit = "?"' in draft.text)


@pytest.mark.parametrize(
    ("name", "numbers", "expected"),
    [
        ("annual usage", [500.0, 620.0], "probable would be therms, or"),
        ("annual usage", [15.0, 18.0], "probable would be MWh"),
        ("annual usage therms", [500.0, 620.0], 'unit = "therms per year" } # by the name'),
        ("annual usage kWh", [15000.0, 18000.0], 'annual_kwh = "annual usage kWh"'),
        ("annual usage m3", [1500.0, 1800.0], "write unit = m3 and kwh_per_m3"),
    ],
)
def test_energy_of_an_unknown_unit_is_asked_for(
    tmp_path: Path, name: str, numbers: list[float], expected: str
) -> None:
    points = [Point(600000, 5800000), Point(600009, 5800000)]
    draft = _draft(tmp_path / "d", "customers", {"nr": ["a", "b"], name: numbers}, points)
    assert expected in draft.text, draft.text
    asked = "probable" in expected or "write" in expected
    assert ("customers: unit of annual_kwh" in draft.gaps) == asked


def test_a_unit_that_could_kill_is_never_guessed(tmp_path: Path) -> None:
    # 7 is inches of water or psi: a factor of 28 in pressure.
    points = [Point(600000, 5800000), Point(600009, 5800000)]
    draft = _draft(tmp_path / "d", "governor", {"nr": ["a", "b"], "outlet": [7.0, 7.0]}, points)
    assert "regulators: unit of outlet_mbar" in draft.gaps
    raw = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))
    told = [finding for finding in raw.findings if "columns.outlet_mbar.unit" in finding.what]
    assert [(finding.layer, finding.severity) for finding in told] == [("regulators", Severity.ERROR)]
    assert np.isnan(raw["regulators"].columns["outlet_mbar"].to_numpy()).all()


def test_a_word_that_nobody_knows_is_a_gap_with_its_count(tmp_path: Path) -> None:
    material = ["MDPE", "mdpe", "Stoff 7", "Stoff 7", "Stoff 7"]
    draft = _draft(tmp_path / "d", "mains", {"nr": list("abcde"), "material": material}, _lines(5))
    assert '"MDPE" = "PE80" # 2' in draft.text or '"mdpe" = "PE80" # 2' in draft.text
    assert '"Stoff 7" = "?" # 3' in draft.text
    assert "mains: material 'Stoff 7'" in draft.gaps


def test_plain_polyethylene_is_never_taken_for_a_grade(tmp_path: Path) -> None:
    draft = _draft(tmp_path / "d", "mains", {"nr": list("ab"), "material": ["HDPE", "PE-HD"]}, _lines(2))
    assert '"HDPE" = "PE" # 1' in draft.text
    assert '"PE-HD" = "PE" # 1' in draft.text


def test_what_must_be_there_and_is_not_is_a_gap(tmp_path: Path) -> None:
    draft = _draft(tmp_path / "d", "mains", {"nr": list("ab")}, _lines(2))
    assert set(draft.gaps) >= {"customers: source", "regulators: source", "mains: od_mm", "mains: material"}
    raw = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))
    assert sum(finding.code == "mapping-gap" for finding in raw.findings) == len(draft.gaps)


def test_layers_that_look_like_nothing_are_named(tmp_path: Path) -> None:
    draft = _draft(tmp_path / "d", "lamps", {"nr": list("ab")}, [Point(0, 0), Point(1, 1)])
    assert draft.notes == ("lamps (point, 2 features) is left out",)


def test_a_file_that_cannot_be_read_is_named_and_the_rest_is_drafted(tmp_path: Path) -> None:
    _draft(tmp_path / "d", "mains", {"nr": list("ab")}, _lines(2))
    (tmp_path / "d" / "valves.parquet").write_bytes(b"PAR1 broken")
    draft = draft_mapping(open_source(tmp_path / "d"))
    assert "[[mains]]" in draft.text
    assert any("valves.parquet" in note for note in draft.notes)
    parse_mapping(draft.text)


def test_heights_of_zero_are_none_and_those_of_feet_are_feet(tmp_path: Path) -> None:
    assert 'height = "none"' in _draft(tmp_path / "a", "mains", {"nr": ["a"]}, _lines(1, 0.0)).text
    assert "height =" not in _draft(tmp_path / "b", "mains", {"nr": ["a"]}, _lines(1, 50.0)).text
    assert 'height = "ft"' in _draft(tmp_path / "c", "mains", {"nr": ["a"]}, _lines(1, 50.0), 2263).text


def test_hostile_names_and_words_make_a_draft_that_is_still_a_mapping(tmp_path: Path) -> None:
    rows = {
        'nr"]\n[x': ["a", "b"],
        "material": ['"\n[[mains]]', "\x7f\x01 = 1"],
        "größe": ["d 90 SDR 11", "d 63 SDR 11"],
    }
    draft = _draft(tmp_path / "d", 'mains" #', rows, _lines(2))
    mapping = parse_mapping(draft.text)
    assert [feed.source for feed in mapping.feeds["mains"]] == ['mains" #']
    assert 'size = "größe"' in draft.text


def test_a_large_list_of_different_words_is_not_listed(tmp_path: Path) -> None:
    words = [f"type {i}" for i in range(200)]
    draft = _draft(tmp_path / "d", "mains", {"nr": words, "material": words}, _lines(200))
    assert "type 7" not in draft.text


def test_customers_find_their_services_by_the_ids_whatever_the_column_is_called(tmp_path: Path) -> None:
    folder = tmp_path / "d"
    folder.mkdir()
    services = geopandas.GeoDataFrame({"key": ["S1", "S2"]}, geometry=_lines(2), crs=25832)
    customers = geopandas.GeoDataFrame(
        {"meter": ["M1", "M2"], "zzz": ["S2|S1", "S1"], "number": [1, 2]},
        geometry=[Point(600000, 5800000), Point(600009, 5800000)],
        crs=25832,
    )
    services.to_parquet(folder / "services.parquet")
    customers.to_parquet(folder / "meters.parquet")
    draft = draft_mapping(open_source(folder))
    assert 'service_id = { from = "zzz", split = "|" }' in draft.text
    assert np.array_equal(
        read_layers(folder, mapping=parse_mapping(draft.text))["customers"].columns["service_id"].to_pylist(),
        ["S2;S1", "S1"],
    )


def test_ratios_years_and_materials_are_found_in_texts(tmp_path: Path) -> None:
    rows = {
        "nr": ["a", "b"],
        "Dimension": ["PE100 d125", "Stahl DN 150"],
        "SDR": ["SDR 17", "SDR17,6"],
        "Baujahr": pd.to_datetime(["1998-05-01", "2004-12-31"]),
    }
    draft = _draft(tmp_path / "d", "Leitungen", rows, _lines(2))
    assert not [gap for gap in draft.gaps if gap.startswith("mains")]
    mains = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))["mains"].columns
    assert mains["material"].to_pylist() == ["PE100", "steel"]
    assert mains["sdr"].to_pylist() == [17.0, 17.6]
    assert mains["year"].to_pylist() == [1998.0, 2004.0]


def test_a_table_of_pipes_is_parted_where_words_say_services_alone(tmp_path: Path) -> None:
    kinds = ["Hoofdleiding LD", "Hoofdleiding LD", "Aansluitleiding", "Aansluitleiding"]
    states = ["in bedrijf", "in reparatie", "in bedrijf", "in bedrijf"]
    rows = {"leidingnr": list("abcd"), "soort": kinds, "status": states}
    draft = _draft(tmp_path / "d", "leidingen", rows, _lines(4))
    assert 'is = ["?"]' in draft.text
    assert 'is = ["Aansluitleiding"]' in draft.text
    assert "mains: where soort is 'Hoofdleiding LD'" in draft.gaps
    # Words of those that are asked for are listed already: they would be missing else, and count as live.
    assert '"in reparatie" = "?" # 1' in draft.text
    services = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))["services"].columns
    assert services["id"].to_pylist() == ["c", "d"]


@pytest.mark.parametrize("column", ["tapped_from", "soort"])
def test_services_that_name_a_main_are_not_taken_for_mains(tmp_path: Path, column: str) -> None:
    rows = {"nr": list("ab"), column: ["Main", "Main"]}
    draft = _draft(tmp_path / "d", "services", rows, _lines(2))
    assert f"its name says services, and {column} says mains of 2 of 2 features" in draft.text
    assert 'source = "?"' in draft.text
    raw = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))
    assert "mains" not in raw.layers


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("waterleidingen", "another utility: water"),
        ("Canalisation_telecom", "another utility: telecom"),
        ("Kabelschutzrohr", "another utility: kabel"),
        ("mains_old", "an old copy: old"),
        ("leidingen_oud", "an old copy: oud"),
        ("Abandoned_Mains", "pipes without gas, and no column says so: abandoned"),
        ("mains_planned", "pipes without gas, and no column says so: planned"),
    ],
)
def test_lines_of_others_and_of_old_are_asked_for(tmp_path: Path, name: str, why: str) -> None:
    draft = _draft(tmp_path / "d", name, {"nr": list("ab"), "material": ["PE", "Eternit"]}, _lines(2))
    assert f'source = "?" # "{name}"? its name says {why}' in draft.text
    asked = [gap for gap in draft.gaps if gap.startswith("mains")]
    assert asked == [f"mains: is it layer {name} (line, 2 features)? its name says {why}"]
    assert "mains" not in read_layers(tmp_path / "d", mapping=parse_mapping(draft.text)).layers


@pytest.mark.parametrize("name", ["Reseau", "mains", "leidingen_noord", "Stroemungsrohr"])
def test_other_names_are_not_asked_for(tmp_path: Path, name: str) -> None:
    draft = _draft(tmp_path / "d", name, {"nr": list("ab")}, _lines(2))
    assert f'source = "{name}"' in draft.text


def test_abandoned_mains_with_a_status_are_read_by_it(tmp_path: Path) -> None:
    rows = {"nr": list("ab"), "status": ["retired", "active"]}
    assert 'source = "abandoned_mains"' in _draft(tmp_path / "d", "abandoned_mains", rows, _lines(2)).text


def test_a_column_that_no_name_says_is_known_by_its_values(tmp_path: Path) -> None:
    rows = {"nr": list("abc"), "NP": ["30 mbar(g)", "4 bar", "30 mbar(g)"], "zz": ["berm", "rijbaan", "x"]}
    draft = _draft(tmp_path / "d", "mains", rows, _lines(3))
    assert 'from = "NP" # by its values, not by its name' in draft.text
    assert '"30 mbar(g)" = "LP" # 2' in draft.text
    assert '"4 bar" = "4 bar" # 1' in draft.text
    assert 'from = "zz" # by its values, not by its name' in draft.text


def test_between_two_columns_of_such_values_a_person_decides(tmp_path: Path) -> None:
    rows = {"nr": list("abc"), "NP": ["30 mbar", "4 bar", "30 mbar"], "DP": ["4 bar", "4 bar", "4 bar"]}
    draft = _draft(tmp_path / "d", "mains", rows, _lines(3))
    assert 'system = "?" # NP or DP, by their values' in draft.text
    assert "mains: system" in draft.gaps


@pytest.mark.parametrize(
    ("word", "tier"),
    [
        ("30 mbar(g)", "LP"),
        ("30mbar(g)", "LP"),
        ("11 in WC", "LP"),
        ('11" WC', "LP"),
        ("60 PSIG", "60 psi"),
        ("60 psi", "60 psi"),
        ("4000 mbar", "4 bar"),
        ("100 mbar", None),
        ("30 or 100 mbar", None),
        ("30-100 mbar", None),
        ("4 bar/8 bar", None),
        ("MPB", "MPB"),
    ],
)
def test_pressures_as_text_are_tiers(word: str, tier: str | None) -> None:
    assert pressure_tier(word) == tier


def _town_of_numbers(path: Path, fed_by: list[str], key: str = "ref") -> MappingDraft:
    """Draft services with numbers for ids, and customers with house numbers."""
    path.mkdir()
    n = 6
    services = geopandas.GeoDataFrame(
        {"gis_id": range(70, 70 + n), key: range(1, n + 1)}, geometry=_lines(n), crs=25832
    )
    customers = geopandas.GeoDataFrame(
        {
            "nr": list("abcdef"),
            "zz": fed_by,
            "house_no": ["1", "2", "1", "2", "1", "2"],
            "street": "Elm Bow",
        },
        geometry=[Point(600000 + 9 * i, 5800000) for i in range(n)],
        crs=25832,
    )
    services.to_parquet(path / "services.parquet")
    customers.to_parquet(path / "meters.parquet")
    return draft_mapping(open_source(path))


def test_an_id_is_the_column_that_customers_refer_to(tmp_path: Path) -> None:
    draft = _town_of_numbers(tmp_path / "d", ["1;", "2;", "3;", "4;", "6;", "5;"])
    assert 'id = "ref"' in draft.text
    assert 'service_id = "zz"' in draft.text
    raw = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))["customers"].columns
    assert [text.rstrip(";") for text in raw["service_id"].to_pylist()] == ["1", "2", "3", "4", "6", "5"]


def test_many_customers_on_few_services_refer_to_them_all_the_same(tmp_path: Path) -> None:
    place = tmp_path / "d"
    place.mkdir()
    geopandas.GeoDataFrame({"nr": ["S1", "S2"]}, geometry=_lines(2), crs=25832).to_parquet(
        place / "services.parquet"
    )
    flats = {"nr": [f"C{k}" for k in range(20)], "zz": ["S1", "S2"] * 10}
    points = [Point(600000, 5800000)] * 20
    geopandas.GeoDataFrame(flats, geometry=points, crs=25832).to_parquet(place / "meters.parquet")
    assert 'service_id = "zz"' in draft_mapping(open_source(place)).text


def test_house_numbers_are_not_taken_for_numbers_of_services(tmp_path: Path) -> None:
    draft = _town_of_numbers(tmp_path / "d", [""] * 6, "service_no")
    assert 'id = "service_no"' in draft.text
    assert "service_id" not in draft.text
    assert 'number = "house_no"' in draft.text


def test_street_and_number_make_an_address(tmp_path: Path) -> None:
    draft = _town_of_numbers(tmp_path / "d", [""] * 6)
    assert 'address = { from = ["street", "house_no"] } # street and number, joined' in draft.text
    raw = read_layers(tmp_path / "d", mapping=parse_mapping(draft.text))["customers"].columns
    assert raw["address"].to_pylist()[:2] == ["Elm Bow 1", "Elm Bow 2"]


def test_words_for_no_priority_are_known(tmp_path: Path) -> None:
    points = [Point(600000 + 9 * i, 5800000) for i in range(4)]
    rows = {"nr": list("abcd"), "priority": ["NEE", "n/a", "ziekenhuis", "ja"]}
    draft = _draft(tmp_path / "d", "meters", rows, points)
    assert '"NEE" = "" # 1' in draft.text
    assert '"n/a" = "" # 1' in draft.text
    assert '"ziekenhuis" = "hospital" # 1' in draft.text
    assert '"ja" = "?" # 1' in draft.text


def test_ids_of_the_other_part_of_a_table_are_not_shared(tmp_path: Path) -> None:
    place = tmp_path / "d"
    place.mkdir()
    for name, ids in (("leidingen_a", ["M1", "S1"]), ("leidingen_b", ["M1", "S2"])):
        rows = {"leidingnr": ids, "soort": ["Hoofdleiding", "Aansluitleiding"]}
        frame = geopandas.GeoDataFrame(rows, geometry=_lines(2), crs=25832)
        frame.to_parquet(place / f"{name}.parquet")
    gaps = [gap for gap in draft_mapping(open_source(place)).gaps if "stand in both" in gap]
    assert gaps == ["mains: 1 ids stand in both leidingen_a and leidingen_b"]


def test_a_repeated_id_that_customers_refer_to_stays_the_id(tmp_path: Path) -> None:
    place = tmp_path / "d"
    place.mkdir()
    refs = [f"AL-{k:03}" for k in range(20)]
    pipes = {"leidingnr": [*refs[:-1], refs[0]], "gis_id": range(20)}
    geopandas.GeoDataFrame(pipes, geometry=_lines(20), crs=25832).to_parquet(place / "services.parquet")
    people = {"nr": [f"C{k}" for k in range(20)], "aansluiting": refs}
    points = [Point(600000, 5800000)] * 20
    geopandas.GeoDataFrame(people, geometry=points, crs=25832).to_parquet(place / "meters.parquet")
    draft = draft_mapping(open_source(place)).text
    assert 'id = "leidingnr"' in draft
    assert 'service_id = "aansluiting"' in draft


def test_a_reference_by_name_whose_values_are_other_ids_is_asked_for(tmp_path: Path) -> None:
    place = tmp_path / "d"
    place.mkdir()
    pipes = geopandas.GeoDataFrame({"nr": ["S:1", "S:2"]}, geometry=_lines(2), crs=25832)
    pipes.to_parquet(place / "services.parquet")
    people = {"zaehler": ["a", "b"], "anschluss": ["A1", "A2"], "service_type": ["x", "x"]}
    points = [Point(600000, 5800000)] * 2
    geopandas.GeoDataFrame(people, geometry=points, crs=25832).to_parquet(place / "meters.parquet")
    draft = draft_mapping(open_source(place))
    asked = 'service_id = "?" # anschluss by the name, but few of its values are ids of services'
    assert asked in draft.text
    assert 'id = "?" # a value of its own for each feature: zaehler, anschluss' in draft.text
    assert {"customers: service_id", "customers: id"} <= set(draft.gaps)

"""What a mapping leaves out: features, layers, words; and ids that stand in two source layers."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas
import pandas as pd
import pytest
from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.core.errors import BadNetworkError
from netplan.core.findings import Finding, Severity
from netplan.network.build import build_network
from netplan.readers import open_source, read_layers, read_network
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.draft_mapping import draft_mapping
from tests.support.small_town import small_town

Layers = dict[str, geopandas.GeoDataFrame]

REST = """
[[mains]]
source = "mains"
columns = { id = "id", material = "material", od_mm = "od_mm", sdr = "sdr" }
[[services]]
source = "services"
columns = { id = "id", material = "material", od_mm = "od_mm", sdr = "sdr", excess_flow_valve = "excess_flow_valve" }
[[regulators]]
source = "regulators"
columns = { id = "id", outlet_mbar = "outlet_mbar", max_outlet_mbar = "max_outlet_mbar", capacity_m3h = "capacity_m3h" }
"""
CUSTOMERS = (
    'columns = { id = "id", address = "address", service_id = "service_id", annual_kwh = "annual_kwh" }\n'
)


def written(frames: Layers, place: Path) -> Path:
    place.mkdir(exist_ok=True)
    for name, frame in frames.items():
        frame.to_parquet(place / f"{name}.parquet", index=False)
    return place


def findings(frames: Layers, place: Path, mapping: str) -> tuple[Finding, ...]:
    return read_layers(written(frames, place), mapping=parse_mapping(mapping)).findings


def only(found: tuple[Finding, ...], code: str, layer: str = "customers") -> Finding:
    [finding] = [f for f in found if (f.code, f.layer) == (code, layer) and not f.feature_id]
    return finding


def with_states() -> tuple[Layers, int]:
    """Return a town whose customers are Active but for one ACTIVE, one without a word and two that are closed."""
    frames = small_town()
    n = len(frames["customers"])
    words = ["ACTIVE", None, "Closed", "Closed", *["Active"] * (n - 4)]
    frames["customers"] = frames["customers"].assign(condition=words)
    return frames, n


def test_features_that_no_feed_takes_are_counted_with_their_values(tmp_path: Path) -> None:
    frames, n = with_states()
    mapping = (
        REST + '[[customers]]\nsource = "customers"\nwhere = [{ column = "condition", is = ["ACTIVE"] }]\n'
    )
    found = findings(frames, tmp_path / "d", mapping + CUSTOMERS)
    left = only(found, "rows-not-taken")
    assert left.severity is Severity.WARNING
    assert left.what == (
        f"{n - 1} of {n} features of customers are taken by no table of the mapping: "
        f"condition 'Active' ({n - 4}), 'Closed' (2), empty (1)"
    )
    case = only(found, "word-in-other-case")
    assert f"'ACTIVE' does not match 'Active' on {n - 4} features of customers" in case.what


def test_features_that_the_mapping_leaves_out_by_name_are_a_note(tmp_path: Path) -> None:
    frames, n = with_states()
    mapping = (
        REST + '[[customers]]\nsource = "customers"\nwhere = [{ column = "condition", is_not = "Closed" }]\n'
    )
    left = only(findings(frames, tmp_path / "d", mapping + CUSTOMERS), "rows-not-taken")
    assert left.severity is Severity.NOTE
    assert f"2 of {n} features of customers" in left.what
    assert "as the mapping says: condition 'Closed' (2)" in left.what


def test_a_feature_is_left_out_by_name_only_where_every_feed_says_so(tmp_path: Path) -> None:
    frames = small_town()
    pipes = pd.concat([frames.pop("mains"), frames.pop("services")])
    kinds = ["main" if name.startswith("M") else "service" for name in pipes["id"]]
    kinds[0], kinds[1] = "main LD", "transmission"
    frames["pipes"] = pipes.assign(kind=kinds)
    columns = 'columns = { id = "id", material = "material", od_mm = "od_mm", sdr = "sdr" }\n'
    mapping = (
        '[[mains]]\nsource = "pipes"\nwhere = [{ column = "kind", is = ["main"] }]\n'
        + columns
        + '[[services]]\nsource = "pipes"\n'
        + 'where = [{ column = "kind", is = ["service"] }, { column = "kind", is_not = "transmission" }]\n'
        + columns
    )
    found = findings(frames, tmp_path / "d", mapping)
    rows = [f for f in found if f.code == "rows-not-taken"]
    assert [(f.severity, f.what.partition(": ")[2]) for f in rows] == [
        (Severity.WARNING, "kind 'main LD' (1)"),
        (Severity.NOTE, "kind 'transmission' (1)"),
    ]


def test_a_feed_without_features_is_told(tmp_path: Path) -> None:
    frames, n = with_states()
    mapping = (
        REST + '[[customers]]\nsource = "customers"\nwhere = [{ column = "condition", is = "in use" }]\n'
    )
    told = only(findings(frames, tmp_path / "d", mapping + CUSTOMERS), "feed-takes-nothing")
    assert f"none of the {n} features of customers" in told.what
    assert told.severity is Severity.WARNING


def test_layers_and_columns_that_a_mapping_leaves_out_are_told(tmp_path: Path) -> None:
    frames = small_town()
    frames["customers_2"] = frames["customers"].iloc[:3]
    frames["customers"] = frames["customers"].rename(columns={"priority": "care"}).assign(colour="x")
    mapping = REST + '[[customers]]\nsource = "customers"\n' + CUSTOMERS
    found = findings(frames, tmp_path / "d", mapping)
    what = [f.what for f in found if f.code == "layer-not-read" and f.severity is Severity.WARNING]
    assert "layer customers_2 (3 features) was not read; it looks like customers" in what
    assert f"layer valves ({len(frames['valves'])} features) was not read; it looks like valves" in what
    columns = [f.what for f in found if f.code == "column-not-read" and f.layer == "customers"]
    n = len(frames["customers"])
    assert f"column care of customers was not read ({n} features); it looks like priority" in columns
    assert any(f"columns of customers not read ({n} features): " in w and "colour" in w for w in columns)


def test_a_layer_near_one_of_the_mapping_is_told(tmp_path: Path) -> None:
    frames = small_town()
    frames["ZP_NORD"] = frames.pop("customers")
    frames["ZP_NORD_2"] = frames["ZP_NORD"].iloc[:2]
    mapping = REST + '[[customers]]\nsource = "ZP_NORD"\n' + CUSTOMERS
    what = [f.what for f in findings(frames, tmp_path / "d", mapping) if f.code == "layer-not-read"]
    assert "layer ZP_NORD_2 (2 features) was not read; it looks like ZP_NORD" in what


def test_words_that_are_emptied_are_counted(tmp_path: Path) -> None:
    frames = small_town()
    words = ["dialysis", "dialysis", "ventilator", *[None] * (len(frames["customers"]) - 3)]
    frames["customers"] = frames["customers"].assign(care=words)
    mapping = REST + (
        '[[customers]]\nsource = "customers"\n[customers.columns]\nid = "id"\naddress = "address"\n'
        'priority = { from = "care", values = { ventilator = "medical" }, unlisted = "empty" }\n'
    )
    told = only(findings(frames, tmp_path / "d", mapping), "unlisted-word")
    assert told.severity is Severity.WARNING
    assert (
        told.what
        == "the mapping does not list these words of priority, and leaves them empty: 'dialysis' (2)"
    )


def districts() -> Layers:
    frames = small_town()
    customers = frames.pop("customers")
    return {**frames, "north": customers.iloc[:9], "south": customers.iloc[9:]}


def test_districts_become_one_layer_by_a_mapping_that_names_them(tmp_path: Path) -> None:
    feeds = "".join(f'[[customers]]\nsource = "{name}"\n{CUSTOMERS}' for name in ("north", "south"))
    network = read_network(written(districts(), tmp_path / "d"), mapping=parse_mapping(REST + feeds))
    assert list(network.customers.id) == list(build_network(small_town()).customers.id)


def test_ids_in_two_source_layers_are_an_error_that_names_both(tmp_path: Path) -> None:
    frames = districts()
    frames["south"] = frames["south"].assign(id=[f"C{k:02}" for k in range(8, 8 + len(frames["south"]))])
    feeds = "".join(f'[[customers]]\nsource = "{name}"\n{CUSTOMERS}' for name in ("north", "south"))
    found = findings(frames, tmp_path / "d", REST + feeds)
    [error] = [f for f in found if f.severity is Severity.ERROR]
    assert (error.code, error.layer, error.feature_id) == ("clashing-id", "customers", "C08")
    assert error.what == "the id is in north and in south"
    with pytest.raises(BadNetworkError, match="in north and in south"):
        read_network(tmp_path / "d", mapping=parse_mapping(REST + feeds))


def one_table_of_pipes() -> tuple[Layers, int]:
    """Return a town whose pipes stand in one table, mains of one size under a word of their own."""
    frames = small_town()
    pipes = pd.concat([frames.pop("mains"), frames.pop("services")])
    kinds = ["Hoofdleiding" if name.startswith("M") else "Aansluitleiding" for name in pipes["id"]]
    kinds = [
        "Hoofdleiding LD" if name in ("M1", "M9") else kind
        for name, kind in zip(pipes["id"], kinds, strict=True)
    ]
    frames["Leidingen"] = pipes.assign(soort=kinds)
    return frames, 2


def test_a_draft_asks_for_words_that_no_feed_takes(tmp_path: Path) -> None:
    frames, dropped = one_table_of_pipes()
    place = written(frames, tmp_path / "d")
    draft = draft_mapping(open_source(place))
    assert "mains: where soort is 'Hoofdleiding LD'" in draft.gaps
    assert 'is = ["Hoofdleiding", "?"]' in draft.text
    assert f'"Hoofdleiding LD" ({dropped})' in draft.text
    found = read_layers(place, mapping=parse_mapping(draft.text)).findings
    gap = [f.what for f in found if f.code == "mapping-gap"]
    assert "the mapping still has a question mark at mains 1: where soort" in gap
    assert f"{dropped} of " in only(found, "rows-not-taken", "mains").what
    filled = draft.text.replace('"Hoofdleiding", "?"', '"Hoofdleiding", "Hoofdleiding LD"')
    network = read_network(place, mapping=parse_mapping(filled))
    assert network.pipes.n_mains == build_network(small_town()).pipes.n_mains
    assert not {"mapping-gap", "rows-not-taken"} & {f.code for f in network.findings}


def test_map_columns_prints_the_question(tmp_path: Path) -> None:
    frames, _ = one_table_of_pipes()
    place = written(frames, tmp_path / "d")
    result = CliRunner().invoke(app, ["map-columns", str(place), "--out", str(tmp_path / "m.toml")])
    assert result.exit_code == 0
    assert "gap: mains: where soort is 'Hoofdleiding LD'" in result.output


def test_a_draft_never_takes_the_key_of_a_database_because_an_id_is_repeated(tmp_path: Path) -> None:
    frames = small_town()
    customers = frames["customers"]
    names = customers["id"].tolist()
    names[3] = names[2]
    frames["customers"] = customers.assign(id=names, fid=range(len(names))).rename(columns={"id": "meter_no"})
    place = written(frames, tmp_path / "d")
    draft = draft_mapping(open_source(place))
    assert 'id = "meter_no"' in draft.text
    assert 'id = "fid"' not in draft.text
    with pytest.raises(BadNetworkError, match="used more than once"):
        read_network(place, mapping=parse_mapping(draft.text))


def test_a_draft_of_districts_names_them_and_the_ids_they_share(tmp_path: Path) -> None:
    frames = small_town()
    customers, services = frames["customers"], frames["services"]
    frames["customers"], frames["customers_2"] = customers.iloc[:9], customers.iloc[8:]
    frames["services"], frames["services_2"] = services.iloc[:6], services.iloc[6:]
    place = written(frames, tmp_path / "d")
    draft = draft_mapping(open_source(place))
    assert draft.text.count("[[customers]]") == 2
    assert draft.text.count('service_id = "service_id"') == 2
    assert "customers: 1 ids stand in both customers and customers_2" in draft.gaps
    assert not any(gap.startswith("services") for gap in draft.gaps)
    with pytest.raises(BadNetworkError, match="in customers and in customers_2"):
        read_network(place, mapping=parse_mapping(draft.text))


def test_a_draft_asks_for_a_layer_that_it_leaves_out_for_its_geometry(tmp_path: Path) -> None:
    frames = small_town()
    frames["valves"] = frames["valves"].assign(geometry=frames["valves"].buffer(1.0))
    draft = draft_mapping(open_source(written(frames, tmp_path / "d")))
    n = len(frames["valves"])
    assert f"valves: is it layer valves (polygon, {n} features), which is left out?" in draft.gaps
    assert f"# Left out: valves (polygon, {n} features)" in draft.text


NOTE = "dialysis at home, third floor"


def test_no_finding_holds_a_restricted_note(tmp_path: Path) -> None:
    frames = small_town()
    n = len(frames["customers"])
    frames["customers"] = frames["customers"].assign(remark=[NOTE, *[None] * (n - 1)])
    for unlisted in ("report", "empty"):
        mapping = REST + (
            '[[customers]]\nsource = "customers"\nwhere = [{ column = "remark", is = ["none"] }]\n'
            + CUSTOMERS
            + '[[customers]]\nsource = "customers"\nwhere = [{ column = "remark", is_not = ["none", ""] }]\n'
            '[customers.columns]\nid = "id"\naddress = "address"\n'
            f'priority_note = {{ from = "remark", values = {{ none = "" }}, unlisted = "{unlisted}" }}\n'
        )
        found = findings(frames, tmp_path / unlisted, mapping)
        assert {"rows-not-taken", "unlisted-word"} <= {f.code for f in found}
        assert not [f for f in found if "dialysis" in f.line()]
    left = only(found, "rows-not-taken")
    assert f"{n - 1} of {n} features" in left.what


def test_a_row_that_is_left_out_does_not_tell_its_note(tmp_path: Path) -> None:
    frames = small_town()
    n = len(frames["customers"])
    frames["customers"] = frames["customers"].assign(remark=[NOTE, *[None] * (n - 1)])
    mapping = REST + (
        '[[customers]]\nsource = "customers"\nwhere = [{ column = "remark", missing = true }]\n'
        '[customers.columns]\nid = "id"\naddress = "address"\npriority_note = "remark"\n'
    )
    left = only(findings(frames, tmp_path / "d", mapping), "rows-not-taken")
    assert left.what == (
        f"1 of {n} features of customers are taken by no table of the mapping, as the mapping says: remark is restricted"
    )


def test_a_feature_that_two_feeds_take_is_an_error(tmp_path: Path) -> None:
    frames, _ = with_states()
    feeds = "".join(
        f'[[customers]]\nsource = "customers"\nwhere = [{{ column = "condition", is = {words} }}]\n{CUSTOMERS}'
        for words in ('["Active", "ACTIVE", ""]', '["ACTIVE", "Closed"]')
    )
    found = findings(frames, tmp_path / "d", REST + feeds)
    [error] = [f for f in found if f.severity is Severity.ERROR]
    assert (error.code, error.feature_id) == ("clashing-id", "C00")
    assert error.what == "two tables of the mapping take it from customers"
    assert not [f for f in found if f.code == "rows-not-taken"]


def test_a_row_in_two_files_that_mending_leaves_out_is_no_error_any_more(tmp_path: Path) -> None:
    frames = districts()
    frames["south"] = pd.concat([frames["north"].iloc[-1:], frames["south"]])
    feeds = "".join(f'[[customers]]\nsource = "{name}"\n{CUSTOMERS}' for name in ("north", "south"))
    place = written(frames, tmp_path / "d")
    (tmp_path / "m.toml").write_text(REST + feeds, encoding="utf-8")
    arguments = ["check", str(place), "--mapping", str(tmp_path / "m.toml")]
    assert isinstance(CliRunner().invoke(app, arguments).exception, BadNetworkError)
    mended = CliRunner().invoke(app, [*arguments, "--mend", str(tmp_path / "mended.gpkg")])
    assert mended.exit_code == 0
    names = list(read_network(tmp_path / "mended.gpkg").customers.id)
    assert names == list(build_network(small_town()).customers.id)


def test_a_plan_says_what_its_mapping_leaves_out(tmp_path: Path) -> None:
    frames, n = with_states()
    place = written(frames, tmp_path / "d")
    mapping = (
        REST + '[[customers]]\nsource = "customers"\nwhere = [{ column = "condition", is = "Active" }]\n'
    )
    (tmp_path / "m.toml").write_text(mapping + CUSTOMERS, encoding="utf-8")
    work = ["--main", "M0", "--from", "60", "--to", "64", "--no-weather", "--no-papers", "--options", "1"]
    given = ["plan", str(place), "--mapping", str(tmp_path / "m.toml"), *work, "--out", str(tmp_path / "p")]
    result = CliRunner().invoke(app, given)
    assert result.exit_code == 0
    what = (
        f"4 of {n} features of customers are taken by no table of the mapping: "
        "condition 'Closed' (2), empty (1), 'ACTIVE' (1)"
    )
    assert what in " ".join(result.output.split())
    rows = json.loads((tmp_path / "p" / "plan.json").read_bytes())["findings"]
    assert what in [row["what"] for row in rows if row["code"] == "rows-not-taken"]


@pytest.mark.parametrize(
    ("column", "words", "counts"), [("status", ["live"], "live"), ("system", ["LP"], "LP")]
)
def test_mains_without_a_status_or_a_system_among_others_are_told(
    tmp_path: Path, column: str, words: list[str], counts: str
) -> None:
    frames = small_town()
    n = len(frames["mains"])
    frames["mains"] = frames["mains"].assign(own=[None, " ", *words * (n - 2)])
    mapping = REST.replace('sdr = "sdr" }', f'sdr = "sdr", {column} = RULE }}', 1)
    place = tmp_path / "d"
    found = findings(frames, place, mapping.replace("RULE", '"own"'))
    told = only(found, "taken-by-default", "mains")
    assert told.severity is Severity.WARNING
    assert (
        told.what == f"{column} is not recorded on 2 of {n} features (own is empty); each counts as {counts}"
    )
    said = findings(frames, place, mapping.replace("RULE", f'{{ from = "own", default = "{counts}" }}'))
    assert "taken-by-default" not in {f.code for f in said}
    frames["mains"] = frames["mains"].assign(own=words * n)
    assert "taken-by-default" not in {
        f.code for f in findings(frames, place, mapping.replace("RULE", '"own"'))
    }


def test_years_that_a_mapping_keeps_are_not_told_as_emptied(tmp_path: Path) -> None:
    frames = small_town()
    n = len(frames["mains"])
    frames["mains"] = frames["mains"].assign(laid=["1900", "??", *["12.03.1987"] * (n - 2)])
    rule = 'year = { from = "laid", unlisted = "keep", values = { "1900" = "", "??" = "?" } }'
    mapping = REST.replace('sdr = "sdr" }', f'sdr = "sdr", {rule} }}', 1)
    raw = read_layers(written(frames, tmp_path / "d"), mapping=parse_mapping(mapping))
    years = raw["mains"].columns["year"].to_numpy()
    assert pd.isna(years[:2]).all()
    assert (years[2:] == 1987).all()
    assert not [f for f in raw.findings if f.code == "unlisted-word"]
    assert "on 1 features" in only(raw.findings, "mapping-gap", "mains").what


@pytest.mark.parametrize(
    ("layer", "column"), [("mains", "status"), ("mains", "system"), ("customers", "priority")]
)
def test_an_open_column_whose_default_is_not_safe_stops_a_plan(
    tmp_path: Path, layer: str, column: str
) -> None:
    mapping = REST + '[[customers]]\nsource = "customers"\n' + CUSTOMERS
    at = mapping.index(f"[[{layer}]]")
    mapping = mapping[:at] + mapping[at:].replace(" }\n", f', {column} = "?" }}\n', 1)
    gap = only(findings(small_town(), tmp_path / "d", mapping), "mapping-gap", layer)
    assert gap.severity is Severity.ERROR
    assert f"columns.{column}" in gap.what

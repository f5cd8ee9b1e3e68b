"""Quantities in another unit than they are taken for: asked for in a draft, improbable in a check and a plan."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
from shapely import LineString, Point

from netplan.cli import main as command_line
from netplan.cli.sample import sample_network
from netplan.core.errors import BadNetworkError
from netplan.core.findings import Finding, Severity
from netplan.network.build import build_network
from netplan.network.checks import check_network
from netplan.network.checks.survey import survey
from netplan.network.probable_values import probable_ranges
from netplan.network.raw_layers import as_raw
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import make_plan
from netplan.readers import open_source, read_layers, read_network, write_layers
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.draft_mapping import draft_mapping
from tests.support import schutterwald
from tests.support.feed_towns import town_layers, town_request
from tests.support.networks import customer, layers, main, service, station

SEED = 8
"""A town whose best plan has a feed."""
KWH_PER_THERM = 29.307107
Frames = dict[str, Any]


def _street(**columns: Any) -> Frames:
    """Return a street of thirty houses; `columns` are functions of the layer's own value, by layer and column."""
    rows: Any = {
        "mains": [main("M1", (0, 0), (400, 0), mop_mbar=75.0, depth_m=0.9, wall_mm=10.0, bore_mm=90.0)],
        "services": [
            service(f"S{k}", (10 * k + 5, 0), (10 * k + 5, 12), wall_mm=3.0, bore_mm=26.0) for k in range(30)
        ],
        "customers": [
            customer(
                f"C{k}",
                (10 * k + 5, 12),
                service_id=f"S{k}",
                annual_kwh=14000.0 + 100 * k,
                peak_kw=18.0,
            )
            for k in range(30)
        ],
        "regulators": [station("R1", (0, 0), capacity_m3h=400.0)],
    }
    for name, change in columns.items():
        layer, _, column = name.partition("__")
        for row in rows[layer]:
            row[column] = change(row[column])
    return layers(**rows)


def _improbable(frames: Frames) -> list[Finding]:
    found = survey({name: as_raw(name, frame) for name, frame in frames.items()}).findings
    return [finding for finding in found if finding.code.startswith("improbable")]


# layer, column, what its figures are divided by, code, the factor that the finding must name first
MISREAD: list[tuple[str, str, float, str, str]] = [
    ("customers", "annual_kwh", 29.307107, "improbable-use", "29.3: therms read as kWh"),
    ("customers", "annual_kwh", 1000.0, "improbable-use", "1,000: MWh read as kWh"),
    ("customers", "annual_kwh", 277.7778, "improbable-use", "278: GJ read as kWh"),
    ("customers", "annual_kwh", 0.034121, "improbable-use", "0.0341: kWh read as therms"),
    ("customers", "annual_kwh", 10.5, "improbable-use", "10.5: m3 of gas read as kWh"),
    ("customers", "peak_kw", 0.000293071, "improbable-peak", "0.000293: BTU/h read as kW"),
    ("regulators", "outlet_mbar", 68.94757, "improbable-outlet", "68.9: psi read as mbar"),
    ("regulators", "outlet_mbar", 2.490889, "improbable-outlet", "2.49: inH2O read as mbar"),
    ("regulators", "outlet_mbar", 1000.0, "improbable-outlet", "1,000: bar read as mbar"),
    ("regulators", "outlet_mbar", 0.01, "improbable-outlet", "0.01: Pa read as mbar"),
    ("regulators", "max_outlet_mbar", 68.94757, "improbable-fault-pressure", "68.9: psi read as mbar"),
    ("mains", "od_mm", 25.4, "improbable-diameter", "25.4: in read as mm"),
    ("mains", "od_mm", 10.0, "improbable-diameter", "10: cm read as mm"),
    ("services", "od_mm", 25.4, "improbable-diameter", "25.4: in read as mm"),
    ("mains", "wall_mm", 25.4, "improbable-wall", "25.4: in read as mm"),
    ("mains", "bore_mm", 25.4, "improbable-bore", "25.4: in read as mm"),
    ("mains", "mop_mbar", 1000.0, "improbable-mop", "1,000: bar read as mbar"),
    ("mains", "depth_m", 0.3048, "improbable-depth", "0.305: ft read as m"),
    ("mains", "depth_m", 0.01, "improbable-depth", "0.01: cm read as m"),
    ("regulators", "capacity_m3h", 0.001, "improbable-capacity", "0.0283: ft3/h read as m3/h"),
]


def test_a_street_of_right_units_has_no_improbable_quantity() -> None:
    assert _improbable(_street()) == []


@pytest.mark.parametrize(("layer", "column", "divisor", "code", "expected"), MISREAD)
def test_another_unit_is_told_with_its_factor(
    layer: str, column: str, divisor: float, code: str, expected: str
) -> None:
    frames = _street(**{f"{layer}__{column}": lambda value: value / divisor})
    told = [finding for finding in _improbable(frames) if finding.layer == layer]
    assert [(finding.code, finding.feature_id) for finding in told] == [(code, "")]
    (finding,) = told
    assert finding.severity is Severity.WARNING
    values = frames[layer][column]
    assert finding.what.startswith(f"{column}: the median of {len(values)} ")
    median = re.search(r" is ([\d.,e+-]+) ", finding.what)
    assert median is not None
    assert float(median[1].replace(",", "")) == pytest.approx(float(np.median(values)), rel=6e-3)
    named = re.findall(r"([\d.,]+): (.+?) read as ([^,;]+)", finding.what)
    assert expected in [f"{times}: {unit} read as {own}" for times, unit, own in named]


def test_only_households_and_low_pressure_are_measured_by_their_ranges() -> None:
    frames = _street(customers__annual_kwh=lambda value: value * 40.0)
    frames["customers"]["category"] = "industry"
    frames["regulators"]["outlet_mbar"] = 900.0
    frames["regulators"]["system"] = "MP"
    assert _improbable(frames) == []
    frames["regulators"]["outlet_mbar"] = 4.0
    assert [finding.code for finding in _improbable(frames)] == ["improbable-outlet"]


def test_neither_the_sample_nor_the_open_town_is_improbable() -> None:
    for network in (read_network(sample_network()), build_network(schutterwald.layers())):
        found = [finding.code for finding in check_network(network)]
        assert found
        assert not [code for code in found if code.startswith("improbable")]


def test_years_that_stand_for_unknown_ones_are_told() -> None:
    frames = _street()
    frames["mains"]["year"] = 1900
    (finding,) = _improbable(frames)
    assert finding.code == "improbable-year"
    assert "mostly 1900" in finding.what


# --- From raw file to plan: therms that no name tells ------------------------------------------------------


def _town() -> Frames:
    """Return a town with the yearly use of households, 2,400 to 27,000 kWh."""
    frames = town_layers(SEED)
    frames["customers"]["annual_kwh"] *= 0.3
    return frames


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory) -> Path:
    frames = _town()
    meters = frames["customers"]
    therms = (meters["annual_kwh"] / KWH_PER_THERM).round(3)
    frames["customers"] = meters.drop(columns="annual_kwh").assign(AnnualUsage=therms)
    return write_layers_as(frames, tmp_path_factory.mktemp("therms") / "town.gpkg")


def write_layers_as(frames: Frames, place: Path) -> Path:
    for name, frame in frames.items():
        frame.to_file(place, layer=name)
    return place


def _draft(export: Path) -> str:
    draft = draft_mapping(open_source(export))
    assert draft.gaps == ("customers: unit of annual_kwh",)
    assert "probable would be therms" in draft.text
    return draft.text


Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Return the command line as a function: exit code, and all it says in one line."""

    def call(*words: str) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["gas-netplan", *words])
        with pytest.raises(SystemExit) as ended:
            command_line()
        said = capsys.readouterr()
        return int(ended.value.code or 0), " ".join((said.out + said.err).split())

    return call


def test_a_draft_with_an_open_unit_stops_check_and_plan(export: Path, tmp_path: Path, run: Run) -> None:
    mapping = tmp_path / "draft.toml"
    mapping.write_text(_draft(export))
    code, said = run("check", str(export), "--mapping", str(mapping), "--json", str(tmp_path / "f.json"))
    assert code == 2
    assert "mapping-gap" in said
    told = json.loads((tmp_path / "f.json").read_text())
    (gap,) = [row for row in told if row["code"] == "mapping-gap"]
    assert (gap["severity"], gap["layer"]) == ("error", "customers")
    assert "columns.annual_kwh.unit" in gap["what"]
    with pytest.raises(BadNetworkError, match=r"customers: .* customers 1: columns\.annual_kwh\.unit"):
        read_network(export, mapping=parse_mapping(mapping.read_text()))
    code, said = run(
        "plan", str(export), "--mapping", str(mapping), "--main", "M2", "--from", "40", "--to", "42",
        "--out", str(tmp_path / "plan"),
    )  # fmt: skip
    assert code == 2
    assert not (tmp_path / "plan").exists()
    assert "columns.annual_kwh.unit" in said


def test_therms_taken_for_kwh_are_in_check_summary_and_plan(export: Path, tmp_path: Path, run: Run) -> None:
    mapping = tmp_path / "wrong.toml"
    mapping.write_text(_draft(export).replace('unit = "?"', 'unit = "kWh"'))
    code, said = run("check", str(export), "--mapping", str(mapping), "--json", str(tmp_path / "f.json"))
    assert "29.3: therms read as kWh" in said
    (part,) = town_request(SEED).parts
    code, said = run(
        "plan", str(export), "--mapping", str(mapping), "--main", part.main_id, "--from", f"{part.from_m}",
        "--to", f"{part.to_m}", "--out", str(tmp_path / "plan"), "--options", "1", "--no-papers", "--no-weather",
    )  # fmt: skip
    assert code == 0, said
    assert "29.3: therms read as kWh" in said
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    (row,) = [row for row in plan["findings"] if row["code"] == "improbable-use"]
    assert (row["layer"], row["feature_id"], row["severity"]) == ("customers", "", "warning")


def test_with_the_unit_mended_the_plan_is_that_of_kwh(export: Path, tmp_path: Path) -> None:
    request = town_request(SEED)
    mended = parse_mapping(_draft(export).replace('unit = "?"', 'unit = "therms per year"'))
    wrong = parse_mapping(_draft(export).replace('unit = "?"', 'unit = "kWh"'))
    native = read_network(write_layers(_town(), tmp_path / "native.gpkg"))
    plans = [
        json.loads(plan_to_json(make_plan(replace(request, network=network)).plan))
        for network in (
            native,
            read_network(export, mapping=mended),
            read_network(export, mapping=wrong),
        )
    ]
    kwh, therms, taken = (plan["options"][0] for plan in plans)
    assert kwh["bypasses"], "the town must need a feed"
    for key in ("stops", "customers", "bypasses"):
        assert [row["id"] for row in therms[key]] == [row["id"] for row in kwh[key]]
    assert [b["hoses"] if "hoses" in b else b["id"] for b in therms["bypasses"]] == [
        b["hoses"] if "hoses" in b else b["id"] for b in kwh["bypasses"]
    ]
    assert therms["burden"] == pytest.approx(kwh["burden"], rel=1e-3)
    assert not [row for row in plans[1]["findings"] if row["code"].startswith("improbable")]
    # What is at stake: a thirtieth of the flow through the feed.
    assert _flow(taken) < 0.1 * _flow(kwh)
    assert _flow(therms) == pytest.approx(_flow(kwh), rel=1e-3)


def _flow(option: Any) -> float:
    return max([bypass["flow_m3h"] for bypass in option["bypasses"]], default=0.0)


def test_a_district_in_another_unit_is_told_though_the_whole_is_probable(tmp_path: Path) -> None:
    frames = _street()
    meters = frames.pop("customers")
    first, second = meters.iloc[:20], meters.iloc[20:].copy()
    second["annual_kwh"] /= KWH_PER_THERM
    place = write_layers_as(frames | {"North": first, "South": second}, tmp_path / "two.gpkg")
    text = "".join(f'[[{name}]]\nsource = "{name}"\ncolumns = {_names(frames[name])}\n' for name in frames)
    for name in ("North", "South"):
        text += f'[[customers]]\nsource = "{name}"\ncolumns = {_names(first)}\n'
    network = read_network(place, mapping=parse_mapping(text))
    of_all, told = [finding for finding in network.findings if finding.code.startswith("improbable")]
    assert {(one.layer, one.feature_id) for one in (of_all, told)} == {("customers", "")}
    assert of_all.what.startswith("annual_kwh: 10 of 30 households (per meter) stand apart below, ")
    assert told.what.startswith("customers 2 of the mapping: annual_kwh: the median of 10 ")
    for one in (of_all, told):
        assert "29.3: therms read as kWh" in one.what


def _names(frame: Any) -> str:
    return "{ " + ", ".join(f'{name} = "{name}"' for name in frame.columns if name != "geometry") + " }"


def test_the_page_has_every_range() -> None:
    page = (Path(__file__).parents[2] / "docs" / "how-to-check-data.md").read_text(encoding="utf-8")
    ranges = probable_ranges()
    assert len(ranges) == 17
    for probable in ranges:
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{probable.code}`")]
        for figure in (probable.low, probable.high):
            big = figure / 1000.0 if figure == 16_000.0 else figure  # mbar are written as bar there
            assert re.search(rf"(?<![\d.,]){big:,g}(?![\d.,])", row), (probable, row)


# --- Pressure tiers and years ------------------------------------------------------------------------------


def _pipes(path: Path, **columns: list[Any]) -> Path:
    n = len(next(iter(columns.values())))
    lines = [LineString([(600000 + 9 * i, 5800000), (600000 + 9 * i, 5800040)]) for i in range(n)]
    path.mkdir()
    frame = geopandas.GeoDataFrame({"nr": [f"P{i}" for i in range(n)], **columns}, geometry=lines, crs=25832)
    frame.to_parquet(path / "mains.parquet", index=False)
    return path


def test_pressure_tiers_are_recognised_or_asked_for(tmp_path: Path) -> None:
    words = [
        "low",
        "Low Pressure",
        "LP",
        "ND",
        "30 mbar",
        "0.03 bar",
        "medium",
        "IP",
        "4 bar",
        "90 mbar",
        "3",
    ]
    place = _pipes(tmp_path / "d", Druckstufe=words)
    draft = draft_mapping(open_source(place))
    gaps = {gap for gap in draft.gaps if gap.startswith("mains: system")}
    assert gaps == {"mains: system '90 mbar'", "mains: system '3'"}
    raw = read_layers(place, mapping=parse_mapping(draft.text))
    known = raw["mains"].columns["system"].to_pylist()[:9]
    assert known == ["LP"] * 6 + ["MP", "IP", "4 bar"]
    # Without the words it would be low pressure: no plan is made of that.
    (told,) = [f for f in raw.findings if f.code == "mapping-gap" and "words of system" in f.what]
    assert (told.layer, told.severity) == ("mains", Severity.ERROR)
    assert "on 2 features" in told.what


def test_systems_that_differ_in_case_alone_become_one(tmp_path: Path) -> None:
    place = _pipes(tmp_path / "d", System=["lp", "LP"])
    draft = draft_mapping(open_source(place))
    raw = read_layers(place, mapping=parse_mapping(draft.text))
    assert raw["mains"].columns["system"].to_pylist() == ["LP", "LP"]


def test_dates_as_text_are_years_and_what_is_not_certain_is_asked_for(tmp_path: Path) -> None:
    years = ["12.03.1987", "1987-03", "03/1987", "1987", "19870312", "87", "03/87", "1900", "9999", "0"]
    place = _pipes(tmp_path / "d", Verlegejahr=years)
    draft = draft_mapping(open_source(place))
    asked = {gap.rpartition(" ")[2] for gap in draft.gaps if gap.startswith("mains: year")}
    assert asked == {"'87'", "'03/87'", "'1900'", "'9999'", "'0'"}
    raw = read_layers(place, mapping=parse_mapping(draft.text))
    found = raw["mains"].columns["year"].to_numpy()
    np.testing.assert_array_equal(found[:5], 1987.0)
    assert np.isnan(found[5:]).all()
    assert {(f.code, f.severity.value) for f in raw.findings if "year" in f.what} >= {
        ("date-for-year", "note"),
        ("mapping-gap", "warning"),
    }
    answered = draft.text.replace('"87" = "?"', '"87" = 1987').replace('"1900" = "?"', '"1900" = ""')
    again = read_layers(place, mapping=parse_mapping(answered))["mains"].columns["year"].to_numpy()
    assert again[5] == 1987.0
    assert np.isnan(again[7])


def test_a_number_column_of_coded_years_is_asked_for(tmp_path: Path) -> None:
    place = _pipes(tmp_path / "d", InstallYear=[1987, 9999, 0, 2004])
    draft = draft_mapping(open_source(place))
    found = read_layers(place, mapping=parse_mapping(draft.text))["mains"].columns["year"].to_numpy()
    np.testing.assert_array_equal(found, [1987.0, np.nan, np.nan, 2004.0])
    assert {"mains: year '9999'", "mains: year '0'"} <= set(draft.gaps)


def test_a_column_of_years_without_mapping_reads_dates_too() -> None:
    frames = _street()
    for date in ("12.03.1987", "1987-03", 19_870_312, "1987-03-12"):
        frames["mains"]["year"] = date
        network = build_network(frames)
        assert network.pipes.year[0] == 1987.0
        assert [f.code for f in network.findings if "year" in f.what] == ["date-for-year"]
    frames["mains"]["year"] = "03/87"
    network = build_network(frames)
    assert np.isnan(network.pipes.year[0])
    assert "not-a-number" in [f.code for f in network.findings]


def test_a_year_that_is_a_code_makes_no_new_pipe_of_one_of_unknown_age() -> None:
    frames = _street()
    frames["mains"]["year"] = 9999
    network = build_network(frames)
    assert np.isnan(network.pipes.year[0])
    assert [(f.code, f.feature_id) for f in network.findings if "year" in f.what] == [("odd-year", "M1")]


def test_a_few_texts_among_numbers_do_not_drop_the_column(tmp_path: Path) -> None:
    points = [Point(600000 + i, 5800000) for i in range(4)]
    path = tmp_path / "d"
    path.mkdir()
    frame = geopandas.GeoDataFrame(
        {"nr": list("abcd"), "annual_kwh": ["12000", "9500", "n/a", "14000"]}, geometry=points, crs=25832
    )
    frame.to_parquet(path / "customers.parquet", index=False)
    draft = draft_mapping(open_source(path))
    raw = read_layers(path, mapping=parse_mapping(draft.text))
    values = raw["customers"].columns["annual_kwh"].to_numpy()
    np.testing.assert_array_equal(values, [12000.0, 9500.0, np.nan, 14000.0])
    assert ("not-a-number", "c") in {(f.code, f.feature_id) for f in raw.findings}

"""The command line: exit codes, one line for every fault, and no folder left behind (own)."""

from __future__ import annotations

import ast
import json
import re
import sys
import tomllib
from pathlib import Path
from typing import Any

import geopandas as gpd
import jsonschema
import pandas as pd
import pytest
import shapely

import netplan
from netplan.cli import main
from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.core.extras import EXTRAS
from netplan.planfile.emergency_json import emergency_schema
from netplan.planfile.plan_json import plan_schema, read_plan
from netplan.readers import write_layers
from tests.support.letters import WORDS

CRS = "EPSG:25832"
X, Y = 600_000.0, 5_700_000.0


def _line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(X + x, Y + y) for x, y in points])


def _layers(*, stations: tuple[float, ...] = (0.0, 200.0)) -> dict[str, gpd.GeoDataFrame]:
    """One straight PE main of 200 m with a station at each end and two houses."""
    mains = gpd.GeoDataFrame(
        {
            "id": ["M1"],
            "material": ["PE100"],
            "od_mm": [125.0],
            "sdr": [11.0],
            "mop_mbar": [75.0],
            "year": [2005.0],
        },
        geometry=[_line((0, 0), (200, 0))],
        crs=CRS,
    )
    services = gpd.GeoDataFrame(
        {"id": ["S1", "S2"], "material": ["PE100"] * 2, "od_mm": [32.0] * 2, "wall_mm": [3.0] * 2},
        geometry=[_line((40, 0), (40, 12)), _line((160, 0), (160, 12))],
        crs=CRS,
    )
    customers = gpd.GeoDataFrame(
        {
            "id": ["C1", "C2"],
            "address": ["1 Long Row", "2 Long Row"],
            "annual_kwh": [15_000.0, 12_000.0],
            "service_id": ["S1", "S2"],
        },
        geometry=[shapely.Point(X + 40, Y + 12), shapely.Point(X + 160, Y + 12)],
        crs=CRS,
    )
    regulators = gpd.GeoDataFrame(
        {
            "id": [f"R{i + 1}" for i in range(len(stations))],
            "outlet_mbar": [30.0] * len(stations),
            "max_outlet_mbar": [50.0] * len(stations),
        },
        geometry=[shapely.Point(X + x, Y) for x in stations],
        crs=CRS,
    )
    return {"mains": mains, "services": services, "customers": customers, "regulators": regulators}


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


@pytest.fixture
def network(tmp_path: Path) -> Path:
    path = tmp_path / "street.gpkg"
    write_layers(_layers(), path)
    return path


def test_a_plan_folder_appears_whole(network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "plan"
    assert (
        _run(monkeypatch, "plan", network, "--main", "M1", "--from", "95", "--to", "105", "--out", out) == 0
    )
    plan = read_plan(out)
    jsonschema.validate(json.loads((out / "plan.json").read_text()), plan_schema())
    best = plan.options[0]
    assert [(stop.main_id, stop.work_side) for stop in best.stops] == [("M1", "to"), ("M1", "from")]
    assert not best.customers
    assert plan.not_checked == ()
    for name in ("plan.gpkg", "map.html", "notices.csv"):
        assert (out / name).stat().st_size > 0


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["--main", "M9", "--from", "1", "--to", "2"], 2, "no main 'M9'"),
        (["--main", "M1", "--from", "95", "--to", "205"], 2, "beyond its end at 200"),
        (["--main", "M1", "--from", "105", "--to", "95"], 2, "has no length"),
        (["--main", "M1", "--from", "ten", "--to", "20"], 2, "cannot read 'ten'"),
        (["--main", "M1"], 2, "needs --from and --to"),
        ([], 2, "give --main with --from and --to"),
        (["--at", "7"], 2, "is not LON,LAT"),
        (["--area", "nowhere.geojson"], 2, "is no file"),
        (["--main", "M1", "--from", "95", "--to", "105", "--start", "tomorrow"], 2, "no ISO date"),
        (["--main", "M1", "--from", "95", "--to", "105", "--air-temp", "-80"], 2, "no air temperature"),
        (["--main", "M1", "--from", "95", "--to", "105", "--keep-on", "C7"], 2, "no customer 'C7'"),
        (["--main", "M1", "--from", "95", "--to", "105", "--forbid", "V1"], 2, "no valve 'V1'"),
        (["--main", "M1", "--from", "95", "--to", "105", "--rules", "none.toml"], 2, "cannot be read"),
        (["--main", "M1", "--from", "95", "--to", "105", "--max-stops", "1"], 3, "no plan"),
        (["--main", "M1", "--from", "38", "--to", "42", "--keep-on", "C1"], 3, "C1"),
        (["--main", "M1", "--from", "0", "--to", "200"], 3, "no plan"),
    ],
)
def test_every_fault_is_one_line_an_exit_code_and_no_folder(
    network: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    code: int,
    says: str,
) -> None:
    before = sorted(tmp_path.iterdir())
    assert _run(monkeypatch, "plan", network, *arguments, "--out", tmp_path / "plan") == code
    err = capsys.readouterr().err
    assert says in err
    assert "Traceback" not in err
    first, *reasons = err.strip().splitlines()
    assert first.startswith("gas-netplan: ")
    assert all(line.startswith("  - ") for line in reasons)
    assert sorted(tmp_path.iterdir()) == before


def test_a_network_without_a_regulator_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = _layers()
    del layers["regulators"]
    write_layers(layers, tmp_path / "street")
    code = _run(
        monkeypatch,
        "plan",
        tmp_path / "street",
        "--main",
        "M1",
        "--from",
        "95",
        "--to",
        "105",
        "--out",
        tmp_path / "plan",
    )
    assert code == 2
    assert "regulators" in capsys.readouterr().err
    assert not (tmp_path / "plan").exists()


def test_an_existing_folder_is_not_overwritten(
    network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "letter.txt").write_text("keep me")
    work = ("--main", "M1", "--from", "95", "--to", "105", "--out", mine)
    assert _run(monkeypatch, "plan", network, *work) == 2
    assert _run(monkeypatch, "plan", network, *work, "--overwrite") == 2
    assert (mine / "letter.txt").read_text() == "keep me"
    assert "mine" in capsys.readouterr().err


def test_papers_are_made_again_from_a_plan_folder(
    network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    work = ("--main", "M1", "--from", "95", "--to", "105", "--out", out)
    assert _run(monkeypatch, "plan", network, *work, "--options", "2") == 0
    again = tmp_path / "papers"
    assert _run(monkeypatch, "papers", out, "--out", again, "--option", "2", "--units", "us") == 0
    assert (again / "work_pack.pdf").stat().st_size > 0
    assert _run(monkeypatch, "papers", out, "--out", tmp_path / "more", "--units", "imperial") == 2
    assert "use metric or us" in capsys.readouterr().err
    assert not (tmp_path / "more").exists()


def test_orders_hold(network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "plan"
    work = ("--main", "M1", "--from", "95", "--to", "105", "--out", out)
    assert _run(monkeypatch, "plan", network, *work, "--force", "M1:80", "--options", "1") == 0
    assert 80.0 in [stop.chainage_m for stop in read_plan(out).options[0].stops]


def test_check_prints_findings_and_returns_two_for_errors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = _layers()
    layers["mains"]["material"] = "wood"
    layers["services"]["od_mm"] = -3.0
    write_layers(layers, tmp_path / "bad")
    report = tmp_path / "findings.json"
    assert _run(monkeypatch, "check", tmp_path / "bad", "--json", report) == 2
    assert "wood" in capsys.readouterr().out
    found = {(row["code"], row["severity"]) for row in json.loads(report.read_text())}
    assert {("unknown-material", "warning"), ("impossible-size", "error")} <= found


def test_check_looks_at_a_window_alone(
    network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mains = gpd.read_file(network, layer="mains")
    far = mains.iloc[[0]].copy()
    far["id"], far["material"] = "FAR", "wood"
    far["geometry"] = far.translate(2000.0, 0.0)
    layers = {str(name): gpd.read_file(network, layer=name) for name in gpd.list_layers(network)["name"]}
    layers["mains"] = pd.concat([mains, far], ignore_index=True)
    both = write_layers(layers, tmp_path / "both.gpkg")
    window = tmp_path / "window.geojson"
    around = gpd.GeoSeries([mains.union_all().buffer(100.0)], crs=mains.crs).to_crs("EPSG:4326")
    around.to_file(window, driver="GeoJSON")
    assert _run(monkeypatch, "check", both) == 0
    assert "FAR" in capsys.readouterr().out
    assert _run(monkeypatch, "check", both, "--within", window) == 0
    assert "FAR" not in capsys.readouterr().out
    assert _run(monkeypatch, "check", both, "--within", window, "--mend", tmp_path / "mended.gpkg") == 2
    assert "give one of them" in capsys.readouterr().err
    assert not (tmp_path / "mended.gpkg").exists()


def test_rules_and_schema_are_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(monkeypatch, "rules") == 0
    assert "minimum_mbar = 19.0" in capsys.readouterr().out
    assert _run(monkeypatch, "schema") == 0
    assert json.loads(capsys.readouterr().out)["$id"] == "urn:gas-netplan:netplan/plan/1"
    assert _run(monkeypatch, "schema", "emergency") == 0
    assert json.loads(capsys.readouterr().out) == emergency_schema()
    assert _run(monkeypatch, "schema", "screen") == 2
    assert "write plan, emergency, session, superseded, recheck or contacts" in capsys.readouterr().err


def test_the_demo_says_where_map_and_plan_lie(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert sample_network().is_file()
    assert _run(monkeypatch, "demo") == 0
    out = capsys.readouterr().out
    assert str(tmp_path / "plan-demo" / "map.html") in out
    assert str(tmp_path / "plan-demo" / "plan.json") in out
    assert out.count("letters.pdf is not made: the words name no sender") == 1
    assert not (tmp_path / "plan-demo" / "letters.pdf").exists()
    plan = read_plan(tmp_path / "plan-demo")
    assert plan.work[0].main_id == DEMO_WORK[0]
    assert len(plan.options) == 5


@pytest.mark.parametrize("arguments", [["plan"], ["plan", "--nothing"], ["map-it"]])
def test_misuse_of_the_command_line_is_two(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(monkeypatch, *arguments) == 2
    err = capsys.readouterr().err
    assert "Traceback" not in err
    assert "fault in the program" not in err


def test_the_package_imports_nothing_that_it_does_not_ask_for() -> None:
    # A library that another one brings along today may be gone tomorrow.
    root = Path(netplan.__file__).parent
    project = tomllib.loads((root.parent / "pyproject.toml").read_text())["project"]
    extras = (line for extra in EXTRAS for line in project["optional-dependencies"][extra])
    asked = [*project["dependencies"], *extras]
    names = {re.split(r"[^A-Za-z0-9-]", line)[0].lower().replace("-", "_") for line in asked}
    allowed = names | {"netplan", "xstatic", *sys.stdlib_module_names}
    paths = list(root.rglob("*.py"))
    assert len(paths) > 200
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            found = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            found += (
                [node.module] if isinstance(node, ast.ImportFrom) and node.module and not node.level else []
            )
            assert {name.split(".")[0].lower() for name in found} <= allowed, path


def test_no_weather_and_no_papers_leave_out_only_those(
    network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = ("--main", "M1", "--from", "98", "--to", "102")
    words = ("--words", WORDS)
    assert _run(monkeypatch, "plan", network, *work, *words, "--out", tmp_path / "whole") == 0
    assert (
        _run(monkeypatch, "plan", network, *work, "--no-weather", "--no-papers", "--out", tmp_path / "quick")
        == 0
    )
    names = {folder: {file.name for file in (tmp_path / folder).iterdir()} for folder in ("whole", "quick")}
    papers = {"letters.pdf", "tally_sheet.pdf", "call_sheet_restricted.pdf", "work_pack.pdf"}
    assert names["whole"] - names["quick"] == papers
    whole, quick = (read_plan(tmp_path / folder) for folder in ("whole", "quick"))
    assert all(option.weather for option in whole.options)
    assert not any(option.weather for option in quick.options)
    assert all(
        "coldest weather not calculated (--no-weather)" in " ".join(option.warnings)
        for option in quick.options
    )
    left_out: Any = {
        "weather": True,
        "warnings": True,
        "steps": {"__all__": {"readings": {"__all__": {"by_weather"}}}},
    }
    readings = [reading for option in quick.options for step in option.steps for reading in step.readings]
    assert readings
    assert not any(reading.by_weather for reading in readings)
    for a, b in zip(whole.options, quick.options, strict=True):
        assert a.model_dump(exclude=left_out) == b.model_dump(exclude=left_out)

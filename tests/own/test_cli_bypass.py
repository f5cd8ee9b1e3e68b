"""A plan's bypass sized anew from its folder: exit codes, one line for every fault, and its laws (own)."""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from netplan.cli import main
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, read_plan_layers
from netplan.outputs.layers import write_layers as write_layers_of_plan
from netplan.planfile import read_state
from netplan.planfile.plan_json import plan_to_json, read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.planning.resize import ResizeRequest, resize, size_words
from netplan.planning.resize_problem import ResizeProblem, resize_problem
from netplan.readers import read_network, write_layers
from netplan.rules import default_rules

CRS = "EPSG:25832"
X, Y = 600_000.0, 5_700_000.0


def _street(stations: dict[float, float], schools: dict[float, float]) -> dict[str, gpd.GeoDataFrame]:
    """One straight PE main of 400 m: stations by place and capacity [m³/h], schools by place and kWh."""
    line = shapely.LineString

    def frame(geometry: list[shapely.Geometry], **columns: object) -> gpd.GeoDataFrame:
        rows = len(geometry)
        data = {name: v if isinstance(v, list) else [v] * rows for name, v in columns.items()}
        return gpd.GeoDataFrame(data, geometry=geometry, crs=CRS)

    at, given = list(schools), list(stations)
    names = [f"{i + 1}" for i in range(len(at))]
    return {
        "mains": frame(
            [line([(X, Y), (X + 400, Y)])],
            id="M1",
            material="PE100",
            od_mm=125.0,
            sdr=11.0,
            mop_mbar=75.0,
            year=2005.0,
        ),
        "services": frame(
            [line([(X + x, Y), (X + x, Y + 8)]) for x in at],
            id=[f"S{n}" for n in names],
            material="PE100",
            od_mm=63.0,
            wall_mm=5.8,
        ),
        "customers": frame(
            [shapely.Point(X + x, Y + 8) for x in at],
            id=[f"C{n}" for n in names],
            address=[f"{n} Long Row" for n in names],
            annual_kwh=list(schools.values()),
            category="public",
            priority="school",
            service_id=[f"S{n}" for n in names],
        ),
        "regulators": frame(
            [shapely.Point(X + x, Y) for x in given],
            id=[f"R{i + 1}" for i in range(len(given))],
            outlet_mbar=26.0,
            max_outlet_mbar=50.0,
            capacity_m3h=list(stations.values()),
        ),
    }


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    monkeypatch.setenv("COLUMNS", "200")
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def _planned(folder: Path, layers: dict[str, gpd.GeoDataFrame], at: float) -> PlanResult:
    write_layers(layers, folder / "street.gpkg")
    network = read_network(folder / "street.gpkg")
    return make_plan(PlanRequest(network, (WorkPart("M1", at - 3.0, at + 3.0),), default_rules(), options=1))


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a plan whose school hangs on a bypass across the work."""
    layers = _street({0.0: 500.0}, {50.0: 40_000.0, 150.0: 500_000.0})
    folder = tmp_path_factory.mktemp("fed")
    result = _planned(folder, layers, 100.0)
    (folder / "plan.json").write_text(plan_to_json(result.plan))
    write_layers_of_plan(plan_layers(result), folder / "plan.gpkg")
    return folder


@pytest.fixture(scope="module")
def problem(planned: Path) -> ResizeProblem:
    return resize_problem(read_plan(planned), read_state(read_plan_layers(planned), 1))


def test_as_planned_gives_the_planned_size(
    planned: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bypass = read_plan(planned).options[0].bypasses[0]
    assert _run(monkeypatch, "bypass", planned) == 0
    said = capsys.readouterr().out
    assert f"is {bypass.bore_mm:.1f} mm; planned: {bypass.bore_mm:.1f} mm" in said
    assert said.count(" holds") > 1
    assert "not among the sizes tried" not in said
    # Another bore alone is judged: nothing is said against the planned one.
    _run(monkeypatch, "bypass", planned, "--bores", f"{bypass.bore_mm - 4.0:g} mm")
    said = " ".join(capsys.readouterr().out.split())
    assert f"planned: {bypass.bore_mm:.1f} mm, not among the sizes tried" in said


def test_the_folder_alone_gives_the_planned_state_and_weather(planned: Path, problem: ResizeProblem) -> None:
    found = problem.case(problem.rules).solve(problem.planned, problem.rules)
    nodes = read_plan_layers(planned)["nodes"].set_index("node").pressure_mbar
    theirs = nodes.reindex(problem.network.node).to_numpy(float)
    np.testing.assert_allclose(found.pressure_pa_gauge / 100.0, theirs, atol=1e-3)
    as_planned = problem.node_demand()
    np.testing.assert_allclose(problem.node_demand(problem.air_temp_c), as_planned, rtol=1e-9, atol=1e-15)
    said = {line.choice: line.coldest_air_temp_c for line in problem.option.weather if line.feed == "B1"}
    rows = resize(problem, ResizeRequest()).rows[0]
    coldest = {size_words(row.size): row.coldest_c for row in rows}
    assert said == {choice: coldest[choice] for choice in said}
    assert len(set(said.values())) > 3


def _rank(problem: ResizeProblem, request: ResizeRequest) -> float:
    """Return the place of the smallest size in the order they are tried in; endless when none holds."""
    found = resize(problem, request, weather=False)
    if not found.holds:
        return np.inf
    words = [size_words(row.size) for row in found.rows[0]]
    return float(words.index(size_words(found.in_use[0])))


@pytest.mark.parametrize(
    "requests",
    [
        [ResizeRequest(air_temp_c=t) for t in (15.0, 4.0, -4.0, -12.0)],
        [ResizeRequest(hose_length_m=length) for length in (5.0, 60.0, 300.0)],
        [ResizeRequest(minimum_mbar=least) for least in (15.0, 20.0, 22.0, 25.0)],
    ],
    ids=["colder", "longer", "higher minimum"],
)
def test_harder_never_needs_a_smaller_size(problem: ResizeProblem, requests: list[ResizeRequest]) -> None:
    ranks = [_rank(problem, request) for request in requests]
    assert ranks == sorted(ranks)
    assert ranks[-1] > ranks[0]


def test_none_of_a_smaller_list_holds(
    planned: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(monkeypatch, "bypass", planned, "--bores", "10 mm, 0.5 in") == 3
    assert "B1: no size of the list holds at −8.0 °C" in capsys.readouterr().out


def test_pictures_are_drawn(planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {path.name: path.read_bytes() for path in planned.iterdir() if path.is_file()}
    folder = tmp_path / "pictures"
    assert _run(monkeypatch, "bypass", planned, "--charts", folder, "--bores", "51 mm") == 0
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted(
        f"{n}.{kind}" for n in ("B1-drop", "B1-weather", "worst-path") for kind in ("png", "svg")
    )
    assert before == {path.name: path.read_bytes() for path in planned.iterdir() if path.is_file()}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--option", "9"], "the plan has options 1 to 1"),
        (["--bores", "wide"], "--bores"),
        (["--bores", ","], "--bores"),
        (["--bores", "-25"], "--bores"),
        (["--air-temp", "-80"], "--air-temp -80: not between"),
        (["--hose-length", "0"], "--hose-length"),
        (["--minimum-mbar", "0"], "--minimum-mbar"),
        (["--units", "furlongs"], "furlongs"),
        (["--charts", "no/such/place"], "no/such is no folder"),
    ],
)
def test_every_fault_is_one_line(
    planned: Path,
    arguments: list[str],
    says: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert _run(monkeypatch, "bypass", planned, *arguments) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert "holds" not in said.out


def test_other_folders_are_refused_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(monkeypatch, "bypass", tmp_path) == 2
    assert "plan.json: cannot be read" in capsys.readouterr().err
    result = _planned(tmp_path, _street({0.0: 500.0, 400.0: 500.0}, {50.0: 40_000.0, 350.0: 40_000.0}), 200.0)
    (tmp_path / "plan.json").write_text(plan_to_json(result.plan))
    assert _run(monkeypatch, "bypass", tmp_path) == 2
    assert "plan.gpkg: is not there" in capsys.readouterr().err
    write_layers_of_plan(plan_layers(result), tmp_path / "plan.gpkg")
    assert _run(monkeypatch, "bypass", tmp_path) == 2
    assert "nothing to size" in capsys.readouterr().err


def test_reversed_flow_and_a_station_near_its_capacity_are_told(tmp_path: Path) -> None:
    # Both schools hang on R1 mostly; with the main stopped beside it R2 feeds them from the other side.
    capacity = 90.0
    layers = _street({0.0: 500.0, 400.0: capacity}, {10.0: 40_000.0, 80.0: 500_000.0, 120.0: 500_000.0})
    result = _planned(tmp_path, layers, 40.0)
    load = result.states[0].stations.flow_m3h[1] / capacity
    assert 0.9 < load < 1.0
    said = "\n".join(result.plan.options[0].warnings)
    assert f"station R2 gives {load:.0%} of its 90 m³/h" in said
    assert "station R1" not in said
    assert "flow reverses in 40 m of main (M1)" in said
    assert "flow is faster by half or more in 280 m of main (M1)" in said


def test_plan_draws_the_pictures_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = _street({0.0: 500.0}, {50.0: 40_000.0, 150.0: 500_000.0})
    write_layers(layers, tmp_path / "street.gpkg")
    work = ("--main", "M1", "--from", "97", "--to", "103", "--options", "1", "--no-weather", "--no-papers")
    given = ("plan", tmp_path / "street.gpkg", *work, "--out", tmp_path / "plan")
    assert _run(monkeypatch, *given, "--charts", tmp_path / "pictures") == 0
    assert "Pictures of option 1" in capsys.readouterr().out
    names = {path.name for path in (tmp_path / "pictures").iterdir()}
    assert names == {
        f"{name}.{kind}" for name in ("B1-drop", "B1-weather", "worst-path") for kind in ("svg", "png")
    }
    assert _run(monkeypatch, *given, "--overwrite", "--charts", tmp_path / "no" / "folder") == 2

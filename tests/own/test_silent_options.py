"""Options that used to fail in silence: each is refused or said in one line that names the cure (own)."""

from __future__ import annotations

import io
import itertools
import json
import pickle
import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely
from rich.console import Console

from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.cli.terminal import progress
from netplan.core.search_progress import SearchProgress
from netplan.network.coordinate_order import order_hint
from netplan.network.work_section import WorkPart, work_section
from netplan.outputs.layers import read_plan_layers
from netplan.planfile import read_state
from netplan.planfile.plan_json import read_plan
from netplan.planning.context import PlanningContext
from netplan.planning.rank import rank
from netplan.planning.resize import ResizeRequest, resize
from netplan.planning.resize_problem import resize_problem
from netplan.planning.sizes_not_offered import WhyNot, sizes_not_offered
from netplan.readers import read_network
from tests.support.command_line import run_command
from tests.support.sample_plan import sample_plan, sample_request

WORK = ("--main", "M0142", "--from", "158", "--to", "162")


def _refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    assert run_command(*arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err


def _place() -> Any:
    """Return a place on the main of the work, in the town's CRS."""
    mains = gpd.read_file(sample_network(), layer="mains")
    return mains.crs, mains[mains.id == "M0142"].geometry.iloc[0].interpolate(160.0)


def test_an_area_without_a_station_is_said_to_be_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    crs, place = _place()
    gpd.GeoSeries([place.buffer(100.0)], crs=crs).to_file(tmp_path / "area.geojson")
    said = _refused(
        capsys,
        "plan",
        sample_network(),
        *WORK,
        "--within",
        tmp_path / "area.geojson",
        "--out",
        tmp_path / "x",
    )
    assert "(--within) holds no live regulator station" in said
    assert "make it larger to include the stations" in said
    assert "add the stations to the regulators layer" not in said


def test_a_forecast_beside_an_air_temperature_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forecast = tmp_path / "f.csv"
    forecast.write_text("time,air_temp_c\n2026-01-30T07:00,1\n", encoding="utf-8")
    given = ("--forecast", forecast, "--air-temp", "3")
    plan = ("plan", sample_network(), *WORK, "--out", tmp_path / "x")
    for said in (
        _refused(capsys, *plan, "--start", "2026-01-30T07:00", *given),
        _refused(capsys, "recheck", sample_plan(), sample_network(), *given),
    ):
        assert "give only one; leave --air-temp out" in said
    assert "needs --start" in _refused(capsys, *plan, "--forecast", forecast)


def test_a_polygon_in_metres_is_told_from_one_that_crosses_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    crs, place = _place()
    square = json.loads(shapely.to_geojson(shapely.force_2d(place).buffer(20.0)))
    bow = {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]}
    file = tmp_path / "k.geojson"
    plan = ("plan", sample_network(), *WORK, "--keep-out", file, "--out", tmp_path / "x")
    file.write_text(json.dumps(square))
    said = _refused(capsys, *plan)
    assert "are not degrees; a GeoJSON holds longitude and latitude in degrees (RFC 7946)" in said
    assert "or name its CRS in a member crs" in said
    file.write_text(json.dumps(bow))
    assert "crosses itself" in _refused(capsys, *plan)
    # With the member it is read: what comes next is refused, not the polygon.
    named = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{crs.to_epsg()}"}}
    feature = {"type": "Feature", "properties": {}, "geometry": square}
    file.write_text(json.dumps({"type": "FeatureCollection", "crs": named, "features": [feature]}))
    assert "no main 'M9'" in _refused(capsys, *plan, "--force", "M9:1")


def test_swapped_coordinates_are_told_with_the_right_ones(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    crs, place = _place()
    lon, lat = gpd.GeoSeries([place], crs=crs).to_crs(4326).iloc[0].coords[0][:2]
    swapped, out = f"{lat:.6f},{lon:.6f}", tmp_path / "x"
    right = f"longitude comes first: did you mean {lon:g},{lat:g}?"
    assert right in _refused(capsys, "plan", sample_network(), "--at", swapped, "--length", "4", "--out", out)
    assert right in _refused(capsys, "emergency", sample_network(), "--at", swapped, "--out", out)
    area = tmp_path / "area.geojson"
    around = shapely.Point(lon, lat).buffer(0.0005)
    area.write_text(shapely.to_geojson(shapely.transform(around, lambda xy: xy[:, ::-1])))
    assert "its coordinates look swapped: a file of polygons holds longitude first" in _refused(
        capsys, "plan", sample_network(), "--area", area, "--out", out
    )
    network = read_network(sample_network())
    assert order_hint(network, lon, lat) == ""
    assert order_hint(network, 0.0, 0.0) == ""
    assert order_hint(network, 120.0, 95.0) == ""


def test_tiles_without_their_places_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for tiles in ("https://host.example/map.png", "https://host.example/{z}/{x}.png", "{z}/{x}/{y}"):
        said = _refused(capsys, "plan", sample_network(), *WORK, "--tiles", tiles, "--out", tmp_path / "x")
        assert "no address pattern with {z}, {x} and {y} in it" in said
        assert "https://HOST/{z}/{x}/{y}.png" in said


def test_a_folder_that_holds_a_plan_names_the_option(capsys: pytest.CaptureFixture[str]) -> None:
    plan = sample_plan()
    assert "or replace it with --overwrite" in _refused(
        capsys, "plan", sample_network(), *WORK, "--out", plan
    )
    # `papers` has no such option.
    assert "--overwrite" not in _refused(capsys, "papers", plan, "--out", plan)


def test_sizes_not_offered_say_what_rules_them_out() -> None:
    problem = resize_problem(read_plan(sample_plan()), read_state(read_plan_layers(sample_plan()), 1))
    asked = ResizeRequest(bores_mm=(25.0, 51.0, 63.0, 200.0))
    found = resize(problem, asked, weather=False)
    rows = {row.why: row for row in sizes_not_offered(found, 0)}
    narrowest = problem.state.pipes.bore_mm[problem.state.pipes.rows_of("M0147", is_main=True)].max()
    assert rows[WhyNot.MAIN].bores_mm == (200.0,)
    assert rows[WhyNot.MAIN].main_id == "M0147"
    assert rows[WhyNot.MAIN].limit == narrowest < 200.0
    assert rows[WhyNot.OUTLET].bores_mm == (63.0,)
    assert rows[WhyNot.NOT_ASKED].bores_mm == (38.0, 76.0, 102.0)
    tried = {(round(row.size.bore_m * 1000.0), row.size.parallel) for row in found.rows[0] if row.size}
    assert {bore for bore, _ in tried} == {25, 51}
    most = rows[WhyNot.TEES if WhyNot.TEES in rows else WhyNot.PARALLEL_RULE]
    assert max(count for _, count in tried) == most.limit


def test_a_search_tells_candidate_best_and_bound() -> None:
    request = sample_request(WorkPart(*DEMO_WORK))
    told: list[str] = []
    context = PlanningContext.for_request(request)
    ranking = rank(context, work_section(request.network, request.parts), told.append)
    words = [line for line in told if isinstance(line, SearchProgress)]
    assert len(words) == ranking.cuts_priced
    assert re.fullmatch(r"candidate 1 of at most 2000; lower bound [\d,]+ EUR", words[0])
    last = re.fullmatch(
        r"candidate (\d+) of at most 2000; best ([\d,]+); lower bound ([\d,]+) EUR", words[-1]
    )
    assert last
    assert int(last[1]) == ranking.cuts_priced
    best = ranking.options[0].burden_minor / 100
    assert float(last[2].replace(",", "")) == pytest.approx(best, abs=0.5)
    assert float(last[3].replace(",", "")) <= ranking.options[-1].burden_minor / 100
    assert words[0].share is None
    again = pickle.loads(pickle.dumps(words[-1]))  # noqa: S301 - our own; the page's worker hands it on so
    assert (again, again.share) == (words[-1], words[-1].share)
    shares = [line.share for line in words if line.share is not None]
    assert shares
    assert all(0.0 <= a <= b <= 1.0 for a, b in itertools.pairwise(shares))


def test_an_error_is_one_line_for_a_program_and_wrapped_for_a_person(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    with monkeypatch.context() as patched:
        patched.setattr("sys.stderr.isatty", lambda: True)
        assert run_command("plan", sample_network(), *WORK, "--out", sample_plan()) == 2
        broken = capsys.readouterr().err.splitlines()
    assert len(broken) > 2
    assert all(len(line) <= 60 for line in broken)
    whole = _refused(capsys, "plan", sample_network(), *WORK, "--out", sample_plan())
    assert " ".join(whole.split()) == " ".join(" ".join(broken).split())


def test_the_bar_is_shown_on_a_terminal_alone_and_leaves_nothing() -> None:
    words = SearchProgress("candidate 31 of at most 2000; best 8,388; lower bound 8,120 EUR", 0.5)
    screen = Console(file=io.StringIO(), force_terminal=True, width=80, color_system=None)
    with progress(screen) as tell:
        tell("reading the network")
        tell(words)
    said = screen.file.getvalue()  # type: ignore[attr-defined]
    shown = [line for line in re.split(r"[\r\n]", said) if words in line]
    assert shown
    assert re.search(r"\d:\d\d:\d\d ", shown[-1])
    assert max(len(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", line)) for line in shown) <= 80
    assert said.endswith("\x1b[2K")  # the line that it stood in is taken back
    pipe = Console(file=io.StringIO())
    with progress(pipe) as tell:
        tell(words)
    assert pipe.file.getvalue() == ""  # type: ignore[attr-defined]

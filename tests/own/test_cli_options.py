"""Every option of the plan command does what it says: the plan made with it differs as it should (own)."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from netplan.cli import main
from netplan.readers import write_layers

CRS = "EPSG:25832"
X, Y = 600_000.0, 5_700_000.0


def _line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(X + x, Y + y) for x, y in points])


def _street() -> dict[str, gpd.GeoDataFrame]:
    """One main of 200 m fed from its beginning: two houses, a valve, the work, and a hospital behind it."""
    return {
        "mains": gpd.GeoDataFrame(
            {"id": ["M1"], "material": ["PE100"], "od_mm": [125.0], "sdr": [11.0], "mop_mbar": [75.0]}
            | {"year": [2005.0]},
            geometry=[_line((0, 0), (200, 0))],
            crs=CRS,
        ),
        "services": gpd.GeoDataFrame(
            {"id": ["S1", "S2", "S3"], "material": ["PE100"] * 3, "od_mm": [32.0] * 3, "wall_mm": [3.0] * 3},
            geometry=[_line((at, 0), (at, 12)) for at in (50, 180, 20)],
            crs=CRS,
        ),
        "customers": gpd.GeoDataFrame(
            {
                "id": ["C1", "C2", "C3"],
                "address": ["1 Long Row", "2 Long Row", "3 Long Row"],
                "annual_kwh": [15_000.0, 12_000.0, 15_000.0],
                "service_id": ["S1", "S2", "S3"],
                "priority": ["", "hospital", ""],
            },
            geometry=[shapely.Point(X + at, Y + 12) for at in (50, 180, 20)],
            crs=CRS,
        ),
        "regulators": gpd.GeoDataFrame(
            {"id": ["R1"], "outlet_mbar": [30.0], "max_outlet_mbar": [50.0]},
            geometry=[shapely.Point(X, Y)],
            crs=CRS,
        ),
        "valves": gpd.GeoDataFrame(
            {"id": ["V1"], "state": ["open"], "operable": ["yes"]},
            geometry=[shapely.Point(X + 75, Y)],
            crs=CRS,
        ),
    }


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    write_layers(_street(), path)
    return path


@pytest.fixture
def plan(network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run ``plan`` with some arguments; return plan.json, or the exit code where there is none."""

    def run(
        *arguments: str | Path, work: tuple[str, ...] = ("--main", "M1", "--from", "95", "--to", "105")
    ) -> Any:
        out = tmp_path / f"plan{len(list(tmp_path.iterdir()))}"
        given = ["plan", network, *work, "--no-weather", "--no-papers", "--options", "1", *arguments]
        monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in given), "--out", str(out)])
        with pytest.raises(SystemExit) as left:
            main()
        if left.value.code:
            return left.value.code
        return json.loads((out / "plan.json").read_text(encoding="utf-8"))

    return run


def _off(made: dict[str, Any]) -> list[str]:
    return [c["id"] for c in made["options"][0]["customers"] if c["effect"] == "off"]


def _stops(made: dict[str, Any]) -> list[str]:
    return sorted(stop["valve_id"] or stop["method"] for stop in made["options"][0]["stops"])


def test_no_bypass_and_own_supply(plan: Any) -> None:
    kept = plan()
    assert _off(kept) == []
    assert len(kept["options"][0]["bypasses"]) == 1
    # The hospital may not go off, nor is there a feed for it.
    assert plan("--no-bypass") == 3
    alone = plan("--no-bypass", "--own-supply", "C2")
    assert _off(alone) == ["C2"]
    assert alone["options"][0]["bypasses"] == []
    assert _stops(alone) == ["V1"]


def test_own_supply_is_of_the_one_named(plan: Any) -> None:
    assert plan("--no-bypass", "--own-supply", "C1") == 3


def test_keep_on(plan: Any) -> None:
    # The work takes the tapping of a house.
    work = ("--main", "M1", "--from", "45", "--to", "55")
    assert "C1" in _off(plan("--own-supply", "C2", work=work))
    assert plan("--own-supply", "C2", "--keep-on", "C1", work=work) == 3


def test_forbid_and_keep_out(plan: Any, tmp_path: Path) -> None:
    free = ("--no-bypass", "--own-supply", "C2")
    assert "V1" in _stops(plan(*free))
    assert "V1" not in _stops(plan(*free, "--forbid", "V1"))
    area = gpd.GeoDataFrame(geometry=[shapely.box(X + 70, Y - 5, X + 80, Y + 5)], crs=CRS)
    area.to_file(tmp_path / "area.geojson", driver="GeoJSON")
    assert "V1" not in _stops(plan(*free, "--keep-out", tmp_path / "area.geojson"))


def test_a_forbidden_length_holds_no_barrier(plan: Any) -> None:
    free = ("--no-bypass", "--own-supply", "C2")
    (stop,) = [one for one in plan(*free, "--forbid", "V1")["options"][0]["stops"] if not one["valve_id"]]
    at_m = stop["chainage_m"]
    barred = f"M1:{at_m - 2.0:.2f}:{at_m + 2.0:.2f}"
    moved = plan(*free, "--forbid", "V1", "--forbid", barred)["options"][0]["stops"]
    assert all(abs(one["chainage_m"] - at_m) >= 2.0 for one in moved if one["main_id"] == "M1")
    assert plan(*free, "--forbid", "M1:20:10") == 2
    assert plan(*free, "--forbid", "M1:0:50000") == 2


def test_rules_window_and_weather(plan: Any, tmp_path: Path) -> None:
    file = tmp_path / "rules.toml"
    file.write_text('[price]\ncurrency = "CHF"\n', encoding="utf-8")
    free = ("--no-bypass", "--own-supply", "C2")
    ours = plan(*free, "--rules", file)
    assert ours["options"][0]["currency"] == "CHF"
    shipped = plan(*free)
    short = plan(*free, "--hours", "5", "--air-temp", "4", "--start", "2026-03-03T08:00")
    assert shipped["conditions"]["hours"] == 9.0
    assert short["conditions"]["hours"] == 5.0
    assert short["conditions"]["air_temp_c"] == 4.0
    assert short["conditions"]["start"] == "2026-03-03T08:00"
    assert short["conditions"]["demand_total_m3h"] < shipped["conditions"]["demand_total_m3h"]
    parts = (shipped["options"][0]["burden_parts"], short["options"][0]["burden_parts"])
    assert parts[1]["interruption"] < parts[0]["interruption"]


def test_the_three_ways_to_name_the_work(plan: Any, tmp_path: Path) -> None:
    free = ("--no-bypass", "--own-supply", "C2")
    two = plan(*free, "--and-main", "M1:110:115")
    assert [(w["from_m"], w["to_m"]) for w in two["work"]] == [(95.0, 105.0), (110.0, 115.0)]
    area = gpd.GeoDataFrame(geometry=[shapely.box(X + 90, Y - 5, X + 104, Y + 5)], crs=CRS)
    area.to_file(tmp_path / "work.geojson", driver="GeoJSON")
    inside = plan(*free, work=("--area", str(tmp_path / "work.geojson")))["work"]
    assert [round(w[key], 1) for w in inside for key in ("from_m", "to_m")] == [90.0, 104.0]
    lon, lat = gpd.GeoSeries([shapely.Point(X + 100, Y)], crs=CRS).to_crs(4326).iloc[0].coords[0]
    at = plan(*free, work=("--at", f"{lon:.8f},{lat:.8f}", "--length", "10"))["work"]
    assert [round(w[key], 1) for w in at for key in ("from_m", "to_m")] == [95.0, 105.0]

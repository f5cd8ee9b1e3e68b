"""The emergency view of a screen: its files, options and refusals (own)."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

from netplan.cli import main
from netplan.cli.screen import EMERGENCY_FIGURES, FIGURES, FULL_FIGURES
from netplan.emergency.every_main import COLUMNS
from netplan.outputs.screen_table import FIGURE_NAMES, WITHOUT_STATION

TOWN = Path(__file__).parents[2] / "sample_network" / "town.gpkg"


def command_line(words: list[str]) -> int:
    """Run the command in this process and return its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["gas-netplan", *words])
        with pytest.raises(SystemExit) as end:
            main()
    return int(end.value.code or 0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("emergency") / "screen"
    assert command_line(["screen", str(TOWN), "--emergency", "--out", str(out)]) == 0
    return out


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_the_view_alone_has_the_emergency_and_the_ends_and_nothing_of_planned_work(folder: Path) -> None:
    assert {path.name for path in folder.iterdir()} == {
        "mains.parquet",
        "mains.csv",
        "map.html",
        "report.md",
        "maintenance.csv",
    }
    layer = gpd.read_parquet(folder / "mains.parquet")
    assert set(COLUMNS.names) <= set(layer.columns)
    assert not {"outcome", "burden_least", "work_from_m", "row"} & set(layer.columns)
    assert (layer["hit_at_m"] - layer["length_m"] / 2.0).abs().max() < 0.01
    assert [row["main_id"] for row in _rows(folder / "mains.csv")] == layer["main_id"].tolist()


def test_mains_without_a_ring_come_first_and_then_the_longest_times(folder: Path) -> None:
    layer = gpd.read_parquet(folder / "mains.parquet")
    without = layer["valves_stations"] > 0
    assert 0 < without.sum() < len(layer)
    assert without.tolist() == sorted(without.tolist(), reverse=True)
    times = layer.loc[~without, "valves_minutes"].tolist()
    assert times == sorted(times, reverse=True)
    assert set(layer.loc[without, "valve_ring"]) == {"no"}
    assert (layer.loc[without, "valves_shut_stations"] != "").all()


def test_the_list_names_valves_and_places_with_their_sums(folder: Path) -> None:
    rows = pd.read_csv(folder / "maintenance.csv", encoding="utf-8-sig")
    assert set(rows["what"]) == {"prove", "new valve"}
    prove = rows[rows["what"] == "prove"]
    assert (prove["valve_id"].str.len() > 0).all()
    assert prove["record"].str.contains("unknown|not operable").all()
    for _, one in rows.groupby("aim"):
        assert one["rank"].tolist() == list(range(1, len(one) + 1))
    report = (folder / "report.md").read_text(encoding="utf-8")
    best = prove[prove["meters_fewer"] > 0].iloc[0]
    assert f"prove valve {best['valve_id']} (" in report
    assert f"{best['meters_fewer']:,} meters fewer off" in report
    assert "permit nobody to go near gas" in " ".join(report.split())


def test_the_view_stands_beside_the_stops_of_planned_work(tmp_path: Path, folder: Path) -> None:
    out = tmp_path / "both"
    asked = ["screen", str(TOWN), "--emergency", "--stops", "--no-pressure", "--no-places", "--crews", "2"]
    assert command_line([*asked, "--out", str(out), "--by", "fastest_minutes"]) == 0
    layer = gpd.read_parquet(out / "mains.parquet").set_index("main_id").sort_index()
    alone = gpd.read_parquet(folder / "mains.parquet").set_index("main_id").sort_index()
    assert {"outcome", "burden_least", "valves_minutes"} <= set(layer.columns)
    assert (layer["valves_minutes"] <= alone["valves_minutes"]).all()
    assert (layer["valves_minutes"] < alone["valves_minutes"]).any()
    assert not (out / "maintenance.csv").exists()


def test_without_stops_what_is_lost_at_the_ends_is_left(tmp_path: Path) -> None:
    out = tmp_path / "ends"
    assert command_line(["screen", str(TOWN), "--no-stops", "--out", str(out)]) == 0
    layer = gpd.read_parquet(out / "mains.parquet")
    assert layer["ends_customers"].is_monotonic_decreasing
    assert "outcome" not in layer.columns


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--by", "valves_minutes"], "no figure of what is asked"),
        (["--emergency", "--by", "burden_least"], "no figure of what is asked"),
        (["--by", "nothing"], "is no figure"),
        (["--crews", "2"], "--emergency"),
    ],
)
def test_what_does_not_go_together_is_refused(
    words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command_line(["screen", str(TOWN), "--out", str(tmp_path / "none"), *words]) != 0
    assert said in " ".join(capsys.readouterr().err.split())
    assert not (tmp_path / "none").exists()


def test_every_figure_has_a_name_and_a_column_of_numbers() -> None:
    assert set(FIGURE_NAMES) == {*FIGURES, *FULL_FIGURES, *EMERGENCY_FIGURES}
    for name in (*EMERGENCY_FIGURES, *WITHOUT_STATION.values()):
        assert str(COLUMNS.field(name).type) in ("int64", "double")

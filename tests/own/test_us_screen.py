"""A screen and stages in US units: report and maps are in them, tables keep their metric keys."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest

from netplan.cli import main
from netplan.readers import write_layers
from tests.own.test_cli_bypass import _street
from tests.support.metric_figures import metric_figures, page_texts


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    write_layers(_street({0.0: 500.0}, {50.0: 40_000.0, 150.0: 300_000.0}), path)
    return path


def _run(*arguments: str | Path) -> int:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["gas-netplan", *(str(one) for one in arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        return int(left.value.code or 0)


def _table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_a_screen_in_us_units(street: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("screen", street, "--by", "least_pressure_mbar", "--emergency", "--stops")
    assert _run(*asked, "--air-temp", "4 °C", "--out", tmp_path / "metric") == 0
    assert "°F" not in capsys.readouterr().out
    assert _run(*asked, "--air-temp", "39.2", "--units", "us", "--out", tmp_path / "us") == 0
    assert "read as °F because of --units us" in " ".join(capsys.readouterr().out.split())
    metric, us = ((tmp_path / name / "report.md").read_text(encoding="utf-8") for name in ("metric", "us"))
    assert "0.5 m in the middle of the main" in metric
    assert "1.6 ft in the middle of the main" in us
    assert "9 h at 39.2 °F air temperature" in us
    assert "least pressure left [in. w.c. gauge]" in us
    assert metric_figures(metric)
    assert not metric_figures(us)
    page = list(page_texts((tmp_path / "us" / "map.html").read_text(encoding="utf-8")))
    assert [text for text in page if metric_figures(text)] == []
    # The plan command to copy asks for the very window of the screen.
    assert "39.2 °F" in page
    rows, same = _table(tmp_path / "us" / "mains.csv"), _table(tmp_path / "metric" / "mains.csv")
    assert rows == same
    least = float(rows[0]["least_pressure_mbar"])
    shown = next(line for line in us.splitlines() if line.startswith(f"| {rows[0]['main_id']} |"))
    found = float(shown.split("|")[3])
    assert least / 2.490889 - 0.01 <= found <= least / 2.490889


def test_no_stages_are_refused_in_feet(
    street: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run("stage", street, "--main", "M1", "--units", "us", "--out", tmp_path / "stages") == 3
    said = capsys.readouterr().err
    assert " ft long" in said
    assert not metric_figures(said)

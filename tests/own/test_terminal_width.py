"""What every command prints at 60, 80 and 120 columns: nothing wider, no word broken, none lost (own)."""

from __future__ import annotations

import io
import re
import shlex
from collections.abc import Callable
from functools import cache
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from rich.console import Console

from netplan.cli.sample import sample_network
from netplan.explain import explain, figures_to_explain
from netplan.network.checks.survey import survey
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.number_format import METRIC, US
from netplan.outputs.terminal.column_layout import TableColumn, print_table, tables_of
from netplan.outputs.terminal.explanation_text import explanation_lines, figure_lines
from netplan.outputs.terminal.findings_report import print_findings
from netplan.outputs.terminal.folded_toml import folded_toml
from netplan.outputs.terminal.plan_comparison import print_comparison
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.outputs.terminal.resized_feeds import print_resized
from netplan.outputs.terminal.wrapped_lines import print_lines, wrapped
from netplan.planfile import SolvedState, read_state
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import read_plan
from netplan.planning.resize import Resized, ResizeRequest, resize
from netplan.planning.resize_problem import resize_problem
from netplan.readers import open_source, read_layers
from netplan.rules import default_rules_text
from tests.support.command_line import run_command
from tests.support.docs_pages import DOCS
from tests.support.sample_plan import sample_plan

WIDTHS = (60, 80, 120)
ROOM = 2000
COPIED = re.compile(r"(?:[A-Z][\w ,]*: +/.*|\S+)$")
"""What may be wider: a path alone in its line, or behind its name."""
VALUE = re.compile(r"[a-z_]+ = [\[{].*[\]}]$")
"""A value of the rules, which TOML wants in one line."""
FRAME = re.compile(r"[│┃╭╮╰╯─━┏┓┗┛┡┩┳╇┴┬┼└┘├┤╈|]")


def _too_wide(text: str, width: int) -> list[str]:
    lines = [line for line in text.splitlines() if len(line) > width]
    return [line for line in lines if not COPIED.match(line) and not VALUE.match(line)]


def _words(text: str) -> set[str]:
    """Return the words of a text, without frames and what stands beside a word."""
    return {word.strip(":;,.") for word in FRAME.sub(" ", text).split()} - {"", "#", "-"}


@cache
def _plan() -> tuple[Plan, SolvedState]:
    return read_plan(sample_plan()), read_state(read_plan_layers(sample_plan()), 1)


@cache
def _resized() -> Resized:
    return resize(resize_problem(*_plan()), ResizeRequest(bores_mm=(25.0, 51.0, 63.0, 200.0)), weather=False)


def _explained(figure: str, console: Console, *, whole: bool = False) -> None:
    found = explain(*_plan(), figure)
    print_lines(console, explanation_lines(found, width=console.width, units=US, whole=whole))


def _figures(console: Console) -> None:
    figures = figures_to_explain(_plan()[0].options[0])
    print_lines(console, figure_lines(figures, width=console.width, units=US))


@cache
def _findings() -> tuple[object, ...]:
    raw = read_layers(open_source(str(sample_network())))
    return tuple(survey(raw.layers, raw.source, raw.findings).findings)


PRINTED: dict[str, Callable[[Console], None]] = {
    "plan": lambda console: print_summary(_plan()[0], console),
    "plan in US units": lambda console: print_summary(_plan()[0], console, units=US),
    "bypass": lambda console: print_resized(_resized(), console),
    "bypass in US units": lambda console: print_resized(_resized(), console, units=US),
    "check": lambda console: print_findings(_findings(), console, units=US),  # type: ignore[arg-type]
    "compare": lambda console: print_comparison(
        [("one", _plan()[0]), ("another", _plan()[0])], console, units=METRIC
    ),
    "explain": _figures,
    "explain pressure": lambda console: _explained("pressure:S2", console),
    "explain pressure, every piece": lambda console: _explained("pressure:S2", console, whole=True),
    "explain gas": lambda console: _explained("gas", console),
    "explain burden": lambda console: _explained("burden", console),
    "rules": lambda console: print(folded_toml(default_rules_text(), console.width), file=console.file),
}


@pytest.mark.parametrize("name", PRINTED)
def test_nothing_is_wider_than_the_terminal_and_no_word_is_broken(name: str) -> None:
    said = {}
    for width in (*WIDTHS, ROOM):
        console = Console(file=io.StringIO(), width=width, highlight=False)
        PRINTED[name](console)
        said[width] = console.file.getvalue()  # type: ignore[attr-defined]
    assert len(_words(said[ROOM])) > 20
    for width in WIDTHS:
        assert _too_wide(said[width], width) == []
        # All that is said where there is room enough is said here too, each word whole.
        assert _words(said[ROOM]) - _words(said[width]) == set(), width


def _said(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    code = run_command(*arguments)
    said = capsys.readouterr()
    assert code == 0, said.err
    assert said.out
    assert _too_wide(said.out, 80) == []
    return said.out


def test_commands_read_at_eighty_columns(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    town, plan = sample_network(), sample_plan()
    assert "Not offered" in _said(capsys, "bypass", plan)
    assert " by pipe, in the order the gas passes; every piece with --all" in _said(
        capsys, "explain", plan, "pressure:S2"
    )
    assert "holes: places" in _said(capsys, "compare", plan, plan)
    assert "ends 1.97 ft from main" in _said(capsys, "check", town, "--units", "us")
    assert "# [" in _said(capsys, "rules")
    _said(capsys, "as-built", plan, town, "--out", tmp_path / "as built.gpkg")
    _said(capsys, "map-columns", town, "--out", tmp_path / "mapping.toml")
    _said(capsys, "check", town, "--mend", tmp_path / "mended.gpkg", "--snap", "0.7")
    stations = gpd.read_file(town, layer="regulators")
    stations[stations.id == "RS-3"].buffer(150.0).to_crs(4326).to_file(tmp_path / "near.geojson")
    within = ("--within", tmp_path / "near.geojson", "--no-pressure", "--no-places")
    assert "Report, table and map: " in _said(capsys, "screen", town, *within, "--out", tmp_path / "screen")
    quick = ("--main", "M0113", "--no-papers", "--no-weather")
    staged = _said(capsys, "stage", town, *quick, "--out", tmp_path / "stages")
    assert f"Tables, layers and maps: {tmp_path / 'stages'}" in staged.splitlines()
    hit = ("--main", "M0142", "--at-m", "160", "--no-pressures")
    assert "Valve ring" in _said(capsys, "emergency", town, *hit, "--out", tmp_path / "hit")


def _page_blocks() -> tuple[str, list[str]]:
    """Return the forecast and the command that the page on forecasts shows."""
    page = (DOCS / "how-to-forecast.md").read_text(encoding="utf-8")
    table = re.search(r"```csv\n(.*?)```", page, re.S)
    command = re.search(r"```\n(gas-netplan plan .*?)\n```", page, re.S)
    assert table
    assert command
    return table[1], shlex.split(command[1].replace("$TOWN", str(sample_network())))[1:]


def test_a_plan_with_the_forecast_of_the_page_says_all_that_its_reader_needs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)
    forecast, command = _page_blocks()
    Path("forecast.csv").write_text(forecast, encoding="utf-8")
    away = shapely.to_geojson(shapely.Point(10.45, 52.9).buffer(0.0002))
    Path("away.geojson").write_text(away, encoding="utf-8")
    quick = ("--no-papers", "--no-weather", "--options", "2", "--keep-out", "away.geojson")
    said = _said(capsys, *command, *quick)
    plan = read_plan(Path("plan-forecast"))
    hours = [float(line.split(",")[1]) for line in forecast.splitlines()[1:]]
    # One gas day alone is known: its mean stands for every hour.
    assert plan.conditions.air_temp_c == pytest.approx(sum(hours) / len(hours), abs=0.005)
    assert f"Folder: {tmp_path / 'plan-forecast'}" in said.splitlines()
    assert re.search(r"^  plan\.json +\S", said, re.M)
    assert re.search(r"^  map\.html +map of all options", said, re.M)
    words = " ".join(said.split())
    assert "holes: places where the ground is opened; feeds: bypasses, hoses and opened valves" in words
    assert words.index("burden: the price") < words.index("Options: holes against customers off")
    assert re.search(r"Beside option 1 · option 2: \S", words)
    assert "coldest weather not calculated (--no-weather); valid only at the planned temperature" in words
    warned = re.search(
        r"Warning: --keep-out away.geojson: touches no main .* nearest main, M\d+, is (\S+) m", words
    )
    assert warned
    assert 1000.0 < float(warned[1]) < 10_000.0
    assert run_command(*command) == 2
    assert "replace it with --overwrite" in capsys.readouterr().err
    assert "HOLDS" in _said(capsys, "recheck", "plan-forecast", sample_network(), "--no-papers")


def test_columns_without_room_go_on_below_with_what_names_the_row() -> None:
    columns = [
        TableColumn("id", ("x" * 30, "b")),
        TableColumn("street", ("Long Row " * 9, "y" * 40)),
        TableColumn("pressure\nin. w.c.", ("1.0", "2.0"), figures=True),
    ]
    console = Console(file=io.StringIO(), width=60)
    print_table(console, columns, title="Stops [1]")
    said = console.file.getvalue()  # type: ignore[attr-defined]
    assert _too_wide(said, 60) == []
    assert "Stops [1], further columns" in said
    assert said.count("x" * 30) == 2, "what names a row stands in both"
    assert "in. w.c." in said, "a unit of two words is not parted"
    # Only a word for which no line is wide enough is broken.
    assert said.count("y") == 40
    assert "y" * 40 not in said
    assert [len(table.columns) for table in tables_of(columns, 120)] == [3]
    text = "  · B1: drop 0.7 mbar at −8.7 °C and 21.0 in. w.c. beyond"
    for width in range(30, 60):
        for row in wrapped(text, width):
            assert not re.search(r"\d$|in\.$", row), (width, row)
    assert wrapped("Folder: /home/a b/c d" + "/long" * 20, 40) == ["Folder: /home/a b/c d" + "/long" * 20]

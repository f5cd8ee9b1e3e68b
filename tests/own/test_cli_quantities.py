"""Quantities on the command line: every one takes its unit, and a bare temperature is read as the units say."""

from __future__ import annotations

import json
import re
import sys
import time
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyproj
import pytest
import typer

from netplan.cli import main, options
from netplan.cli.app import app
from netplan.readers import write_layers
from tests.own.test_cli_bypass import CRS, X, Y, _street

COUNTS = {
    ("plan", "--max-off"),
    ("as-built", "--option"),
    ("bypass", "--option"),
    ("emergency", "--crews"),
    ("explain", "--option"),
    ("compare", "--old-option"),
    ("compare", "--option"),
    ("papers", "--option"),
    ("recheck", "--option"),
    ("record", "--option"),
    ("plan", "--max-stops"),
    ("plan", "--memory"),
    ("plan", "--options"),
    ("screen", "--crews"),
    ("screen", "--workers"),
    ("serve", "--port"),
    ("stage", "--max-off"),
    ("stage", "--max-stops"),
}
TEXTS = {
    *("--by", "--column", "--forecast", "--keep-on", "--language", "--layers", "--main", "--own-supply"),
    *("--scheduler", "--start"),
    *("--address", "--street", "--tiles", "--units", "--valve-failed", "--work"),
}
KINDS = {
    options.CHAINAGE: "m",
    options.DURATION: "hour",
    options.LENGTH: "m",
    options.LON_LAT: "degree",
    options.MAIN_CHAINAGE: "m",
    options.MAIN_FROM_TO: "m",
    options.PRESSURE: "mbar",
    options.SIZES: "mm",
    options.TEMPERATURE: "degC",
}
"""What stands for the value of an option that is a quantity, and the unit of a bare number."""
UNIT_WORDS = {"m": "m", "hour": "h", "degree": "°", "mbar": "mbar", "mm": "mm", "degC": "°C"}
HOSTILE = (
    "lots",
    "",
    "nan",
    "1e999",
    "4 kg",
    "1 m**9**9**9",
    "1 km⁹⁹⁹⁹⁹⁹⁹⁹⁹⁹",
    "1 (m)",
    "__import__('os')",
    "9" * 5000,
    "1 " + "m" * 5000,
    "x" * 5000,
)
GOOD = {
    ("bypass", "--air-temp"): "-12 °C",
    ("bypass", "--bores"): "25 mm,1.5 in,76",
    ("bypass", "--hose-length"): "30 ft",
    ("bypass", "--minimum-mbar"): "6 inH2O",
    ("check", "--snap"): "20 in",
    ("emergency", "--air-temp"): "-12 °C",
    ("emergency", "--at-m"): "330 ft",
    ("emergency", "--location-error"): "30 ft",
    ("plan", "--air-temp"): "-12 °C",
    ("plan", "--and-main"): "M1:1000 ft:306 m",
    ("plan", "--forbid"): "M1:80 ft",
    ("plan", "--force"): "M1:300 ft",
    ("plan", "--from"): "318 ft",
    ("plan", "--hours"): "540 min",
    ("plan", "--length"): "20 ft",
    ("plan", "--to"): "340 ft",
    ("recheck", "--air-temp"): "-12 °C",
    ("recheck", "--hours"): "540 min",
    ("screen", "--air-temp"): "-12",
    ("screen", "--hours"): "0.25 day",
    ("screen", "--length"): "2 ft",
    ("stage", "--air-temp"): "14 °F",
    ("stage", "--forbid"): "M1:80 ft",
    ("stage", "--hours"): "540 min",
}


def _options() -> Iterator[tuple[str, str, Any, set[type]]]:
    """Return every option of every command: command, name, option, and the types its value may have."""
    commands: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    for name, command in sorted(commands.items()):
        hints = typing.get_type_hints(command.callback)
        for option in command.params:
            if option.param_type_name == "option" and option.name in hints:
                yield name, max(option.opts, key=len), option, set(_types(hints[option.name]))


def _types(hint: Any) -> Iterator[type]:
    inner = [found for found in typing.get_args(hint) if found is not type(None)]
    if not inner:
        yield hint
    for found in inner:
        yield from _types(found)


def _quantities() -> list[tuple[str, str, str]]:
    return [(name, word, option.metavar) for name, word, option, _ in _options() if option.metavar in KINDS]


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    write_layers(_street({0.0: 500.0}, {50.0: 40_000.0, 150.0: 300_000.0}), path)
    return path


def _run(*arguments: str | Path) -> int:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
        patch.setenv("COLUMNS", "200")
        with pytest.raises(SystemExit) as left:
            main()
        return int(left.value.code or 0)


QUICK = ("--no-weather", "--no-papers", "--options", "1")
WORK = ("--main", "M1", "--from", "97", "--to", "103")


@pytest.fixture(scope="module")
def planned(street: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("planned") / "plan"
    assert _run("plan", street, *WORK, "--out", out, "--no-papers", "--options", "1") == 0
    return out


def _plan(street: Path, out: Path, *more: str) -> str:
    assert _run("plan", street, *WORK, "--out", out, *QUICK, *more) == 0
    plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    del plan["provenance"]
    return json.dumps(plan)


def _at() -> str:
    lon, lat = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True).transform(X + 100.0, Y)
    return f"{lon:.8f},{lat:.8f}"


def _arguments(command: str, word: str, value: str, street: Path, planned: Path, out: Path) -> list[str]:
    """Return a whole command line with one option given."""
    if command == "bypass":
        return ["bypass", str(planned), word, value]
    if command == "check":
        return ["check", str(street), "--mend", str(out), word, value]
    if command == "screen":
        return ["screen", str(street), "--out", str(out), "--no-places", word, value]
    if command == "stage":
        return ["stage", str(street), "--main", "M1", "--out", str(out), word, value]
    if command == "emergency":
        where = {"--main": "M1", "--at-m": "100", word: value} if word != "--at" else {word: value}
        return ["emergency", str(street), "--out", str(out), *(f"{k}={v}" for k, v in where.items())]
    if command == "recheck":
        return ["recheck", str(planned), str(street), "--no-papers", word, value]
    assert command == "plan"
    place = {"--main": "M1", "--from": "97", "--to": "103"}
    if word in ("--at", "--length"):
        place = {"--at": _at(), "--length": "6"}
    pairs = [f"{name}={given}" for name, given in ({**place, word: value}).items()]
    return ["plan", str(street), "--out", str(out), *QUICK, *pairs]


def test_every_option_is_a_quantity_a_count_a_text_a_path_or_a_switch() -> None:
    """A new option of a number has to say which: none slips through as a bare one."""
    seen = set()
    for command, word, option, types in _options():
        if option.metavar in KINDS:
            assert types == {str}, (command, word)
            assert f"[{UNIT_WORDS[KINDS[option.metavar]]}" in (option.help or ""), (command, word)
        elif types == {int}:
            assert (command, word) in COUNTS
            seen.add((command, word))
        elif types == {str}:
            assert word in TEXTS, (command, word)
        else:
            assert types in ({bool}, {Path}), (command, word, types)
    assert seen == COUNTS
    assert {(command, word) for command, word, _ in _quantities()} == {
        *GOOD,
        ("plan", "--at"),
        ("emergency", "--at"),
    }


@pytest.mark.parametrize(("command", "word", "metavar"), _quantities())
def test_every_quantity_takes_a_unit(
    command: str, word: str, metavar: str, street: Path, planned: Path, tmp_path: Path
) -> None:
    value = GOOD.get((command, word)) or _at().replace(",", " deg,")
    code = _run(*_arguments(command, word, value, street, planned, tmp_path / "out.gpkg"))
    # The street cannot be renewed in stages: read, and looked for in vain. In other weather a plan may not hold.
    assert code in {"stage": {3}, "recheck": {0, 3}}.get(command, {0})


@pytest.mark.parametrize(("command", "word", "metavar"), _quantities())
def test_no_quantity_takes_nonsense(
    command: str,
    word: str,
    metavar: str,
    street: Path,
    planned: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shape = {"MAIN:CHAINAGE": "M1:{}", "MAIN:FROM:TO": "M1:{}:10", "LON,LAT": "{},48"}.get(metavar, "{}")
    for value in HOSTILE:
        begun = time.perf_counter()
        line = _arguments(command, word, shape.format(value), street, planned, tmp_path / "out.gpkg")
        assert _run(*line) == 2, value[:40]
        assert time.perf_counter() - begun < 20.0
        said = capsys.readouterr().err.strip()
        assert word in said, value[:40]
        assert len(said.splitlines()) == 1
        assert len(said) < 300
        assert not (tmp_path / "out.gpkg").exists()


def test_a_bare_temperature_of_us_units_is_fahrenheit(
    street: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """39 was planned as 39 °C: a hose of 25 mm, where 39 °F needs one of 38 mm."""
    bare = _plan(street, tmp_path / "bare", "--units", "us", "--air-temp", "39")
    said = capsys.readouterr().out
    assert "air temperature 39 °F (3.9 °C), read as °F because of --units us" in said
    assert "air 39.0 °F" in said
    with_unit = _plan(street, tmp_path / "unit", "--units", "us", "--air-temp", "39 °F")
    assert "read as" not in capsys.readouterr().out
    assert bare == with_unit == _plan(street, tmp_path / "metric", "--air-temp", "3.89")
    option = json.loads(bare)["options"][0]
    assert [bypass["bore_mm"] for bypass in option["bypasses"]] == [38.0]
    hot = json.loads(_plan(street, tmp_path / "hot", "--air-temp", "39"))
    assert hot["conditions"]["air_temp_c"] == 39.0
    assert [bypass["bore_mm"] for bypass in hot["options"][0]["bypasses"]] == [25.0]


@pytest.mark.parametrize(
    ("units", "text", "celsius"),
    [
        ("us", "-4", -20.0),
        ("us", "−4", -20.0),
        ("us", "-4 °C", -4.0),
        ("us", "277.15 K", 4.0),
        ("metric", "-12", -12.0),
        ("metric", "10.4 °F", -12.0),
        ("metric", "10.4F", -12.0),
        ("metric", "0", 0.0),
    ],
)
def test_temperatures_are_readings_not_differences(
    street: Path, tmp_path: Path, units: str, text: str, celsius: float
) -> None:
    plan = json.loads(_plan(street, tmp_path / "plan", "--units", units, "--air-temp", text))
    assert plan["conditions"]["air_temp_c"] == celsius


def test_a_difference_is_no_temperature(
    street: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    assert _run("plan", street, *WORK, "--out", out, "--air-temp", "39 delta_degF") == 2
    assert "--air-temp" in capsys.readouterr().err


def test_other_quantities_stay_metric_in_us_units(street: Path, tmp_path: Path) -> None:
    us = json.loads(_plan(street, tmp_path / "us", "--units", "us", "--hours", "480 min"))
    assert us["conditions"]["hours"] == 8.0
    assert us["work"] == [{"main_id": "M1", "from_m": 97.0, "to_m": 103.0}]


def test_a_length_with_a_unit_is_that_length(street: Path, tmp_path: Path) -> None:
    line = ("--main", "M1", "--from", "318 ft", "--to", "4080 in", "--out", tmp_path / "plan", *QUICK)
    assert _run("plan", street, *line) == 0
    (work,) = json.loads((tmp_path / "plan" / "plan.json").read_text(encoding="utf-8"))["work"]
    assert work["from_m"] == pytest.approx(318 * 0.3048, abs=0.005)
    assert work["to_m"] == pytest.approx(4080 * 0.0254, abs=0.005)


def test_sizes_of_a_plan_read_the_same_temperature(planned: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("bypass", planned, "--units", "us", "--air-temp", "39") == 0
    bare = capsys.readouterr().out
    assert "air temperature 39 °F (3.9 °C), read as °F because of --units us" in bare
    assert re.search(r"smallest of the sizes offered that holds at 39.0 °F is 1-1/2 in", bare)
    assert _run("bypass", planned, "--units", "us", "--air-temp", "39 °F") == 0
    with_unit = capsys.readouterr().out
    assert "read as" not in with_unit
    assert [line for line in bare.splitlines() if "read as" not in line] == with_unit.splitlines()

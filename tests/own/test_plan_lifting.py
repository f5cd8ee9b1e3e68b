"""A refusal names each order that, lifted alone, gives a plan: the command line without it does (own)."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import geopandas
import pytest

from netplan.cli import main as run_command
from netplan.cli.sample import sample_network
from netplan.readers import write_layers
from tests.support.networks import CRS, customer, keep_out, layers, main, service, station, valve

STREET = ("--main", "M1", "--from", "95", "--to", "105")
AREA_FILE, RULES_FILE = "AREA", "RULES"
"""Stand for files that the test writes."""


def _command(monkeypatch: pytest.MonkeyPatch, network: Path, folder: Path, *arguments: str) -> int:
    shared = ("--no-weather", "--no-papers", "--overwrite", "--out", str(folder / "plan"))
    named = {AREA_FILE: folder / "area.geojson", RULES_FILE: folder / "rules.toml"}
    given = [str(named.get(argument, argument)) for argument in arguments]
    monkeypatch.setattr(sys, "argv", ["gas-netplan", "plan", str(network), *given, *shared])
    with pytest.raises(SystemExit) as left:
        run_command()
    return int(left.value.code or 0)


def _street(**columns: Any) -> dict[str, geopandas.GeoDataFrame]:
    """Return a main of 200 m with a station at each end and three houses, the middle one at the work."""
    at = {"C1": 40.0, "C2": 100.0, "C3": 160.0}
    return layers(
        mains=[main("M1", (0, 0), (200, 0), od_mm=125.0, year=2005, mop_mbar=75.0)],
        services=[service(f"S{who[1]}", (x, 0), (x, 8)) for who, x in at.items()],
        customers=[
            customer(who, (x, 8), service_id=f"S{who[1]}", **(columns if who == "C2" else {}))
            for who, x in at.items()
        ],
        regulators=[station("R1", (0, 0)), station("R2", (200, 0))],
    )


def _write_files(folder: Path, rules: str) -> None:
    (folder / "rules.toml").write_text(rules, encoding="utf-8")
    wide = keep_out("x", (-10, -5), (210, -5), (210, 5), (-10, 5))["geometry"]
    geopandas.GeoDataFrame(geometry=[wide], crs=CRS).to_file(folder / "area.geojson")


CASES: dict[str, tuple[dict[str, Any], str, tuple[str, ...], str, tuple[str, ...]]] = {
    "a customer kept on": ({}, "", ("--keep-on", "C2"), "without --keep-on C2 there is a plan", ()),
    "a priority customer": (
        {"priority": "medical"},
        "",
        (),
        "with --own-supply C2 there is a plan",
        ("--own-supply", "C2"),
    ),
    "too few stops": (
        {},
        "",
        ("--max-stops", "1"),
        "with more stops than --max-stops 1 there is a plan",
        (),
    ),
    "too few stops by the rules": (
        {},
        "[choice]\nmax_stops = 1\n",
        (),
        "with more stops than the rules' choice.max_stops, 1, there is a plan",
        (),
    ),
    "areas": ({}, "", ("--keep-out", AREA_FILE), "without --keep-out there is a plan", ()),
    "a stop on the work": (
        {},
        "",
        ("--force", "M1:100"),
        "without --force at M1 100.00 m there is a plan",
        (),
    ),
    "more meters than a day holds": (
        {"meters": 80},
        "",
        (),
        "if all meters off could be relit by the end of the day",
        (),
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_every_order_that_alone_is_in_the_way_is_named(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    columns, rules, orders, line, instead = CASES[case]
    write_layers(_street(**columns), tmp_path / "street.gpkg")
    _write_files(tmp_path, rules)
    assert (
        _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET, *orders, "--rules", RULES_FILE)
        == 3
    )
    printed = capsys.readouterr().err
    assert [said for said in printed.splitlines() if line in said], printed
    # With that order lifted there is a plan indeed.
    _write_files(tmp_path, "[crew]\nrelights_per_hour = 1000\n" if "meters" in columns else "")
    assert (
        _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET, *instead, "--rules", RULES_FILE)
        == 0
    )


def test_orders_that_only_together_are_in_the_way_are_not_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_layers(_street(), tmp_path / "street.gpkg")
    orders = ("--keep-on", "C2", "--max-stops", "1")
    assert _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET, *orders) == 3
    assert "there is a plan" not in capsys.readouterr().err
    for left in (orders[:2], orders[2:]):
        assert _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET, *left) == 3


def test_no_bypass_and_no_supply_of_their_own_are_named_and_not_the_assembly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    work = ("--main", "M0142", "--from", "158", "--to", "162")
    assert _command(monkeypatch, sample_network(), tmp_path, *work, "--no-bypass") == 3
    printed = capsys.readouterr().err
    assert "assembly" not in printed
    assert "cuts off C00475, C00486, who must stay on, and no feed serves that part" in printed
    lines = [line.strip() for line in printed.splitlines()]
    assert "- without --no-bypass there is a plan" in lines
    assert "- with --own-supply C00475 and C00486 there is a plan" in lines
    # Each reason once.
    assert printed.count("who must stay on") == 1
    named = ("--own-supply", "C00475", "--own-supply", "C00486")
    assert _command(monkeypatch, sample_network(), tmp_path, *work, "--no-bypass", *named) == 0


def test_a_forbidden_valve_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Nothing but its valves stops a steel main.
    street = _street()
    street["mains"]["material"] = "steel"
    street["valves"] = layers(valves=[valve("V1", (60, 0)), valve("V2", (140, 0))])["valves"]
    write_layers(street, tmp_path / "street.gpkg")
    assert _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET, "--forbid", "V1") == 3
    assert "  - without --forbid at V1 there is a plan" in capsys.readouterr().err.splitlines()
    assert _command(monkeypatch, tmp_path / "street.gpkg", tmp_path, *STREET) == 0


def test_the_draw_of_the_purge_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # The wide main of the work hangs on a thin one, with somebody before it who must stay on.
    town = layers(
        mains=[
            main("M0", (-200, 0), (0, 0), od_mm=63.0, year=2010),
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
        ],
        services=[service("S1", (20, 0), (20, 8), od_mm=63.0), service("S2", (200, 0), (200, 8))],
        customers=[
            customer(
                "C1", (20, 8), service_id="S1", annual_kwh=1.2e5, category="business", priority="medical"
            ),
            customer("C2", (200, 8), service_id="S2"),
        ],
        regulators=[station("R1", (-200, 0), outlet_mbar=25.0)],
    )
    write_layers(town, tmp_path / "town.gpkg")
    work = ("--main", "M1", "--from", "110", "--to", "116")
    assert _command(monkeypatch, tmp_path / "town.gpkg", tmp_path, *work) == 3
    printed = capsys.readouterr().err
    assert "no set of stops holds every constraint" in printed
    assert "with the rules' purge.draw_is_load = false" in printed
    _write_files(tmp_path, "[purge]\ndraw_is_load = false\n")
    assert _command(monkeypatch, tmp_path / "town.gpkg", tmp_path, *work, "--rules", RULES_FILE) == 0

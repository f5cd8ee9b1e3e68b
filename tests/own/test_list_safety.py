"""Mutants of meaning: a share of the two thousand, and a proof that silence is seen."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from typer.testing import CliRunner

import netplan.readers.source_to_network as reading
from netplan.cli.app import app
from netplan.cli.exit_codes import run
from netplan.core.errors import NetplanError
from netplan.core.findings import Finding
from netplan.planning.option_records.plan_findings import findings_of
from tests.list_safety.exports import exported, write_export
from tests.list_safety.judge import made_from
from tests.list_safety.mutant import Mutant
from tests.list_safety.oracle import RULES, traceless
from tests.list_safety.page import FAULTS, table
from tests.list_safety.towns import TOWNS, town
from tests.list_safety.trial import KINDS, mutant_of, trial

SHARE = int(os.environ.get("NETPLAN_MEANINGS", "28"))
"""Mutants of every run of the tests; python -m tests.list_safety makes two thousand."""
STEP = 31
WORK = ["--main", "M05", "--from", "40", "--to", "44", "--no-weather", "--no-papers", "--options", "1"]


def test_no_mutant_differs_in_silence() -> None:
    outcomes = [trial(STEP * k) for k in range(SHARE)]
    bad = [outcome for outcome in outcomes if outcome.result in FAULTS]
    assert not bad, bad[0]
    assert {outcome.result for outcome in outcomes} >= {"same", "told", "refused"}
    assert table(outcomes)[-1].startswith(f"| all | {SHARE} |")


def seeds(kind: str) -> Iterable[int]:
    """Return seeds of a kind of change on the tail of the ward."""
    (place,) = {k for k, one in enumerate(KINDS) if one.__name__ == kind} - {1, 8, 21, 25}
    return range(len(TOWNS) * place + 1, 20000, len(TOWNS) * len(KINDS))


def first(kind: str, wanted: Callable[[Mutant], bool]) -> int:
    return next(seed for seed in seeds(kind) if wanted(mutant_of(seed)[0]))


def _as_it_is(raw: Any, **_: bool) -> Any:
    return raw


def _nothing(*_: Any) -> tuple[str, ...]:
    return ()


def test_a_lost_column_is_silent_once_nothing_tells_it(monkeypatch: pytest.MonkeyPatch) -> None:
    seed = first("drop_column", lambda mutant: mutant.change.words == "customers: priority")
    assert trial(seed).result == "told"
    monkeypatch.setattr(reading, "with_missing_findings", _as_it_is)
    monkeypatch.setattr("netplan.network.priority_words._notice_notes_alone", _nothing)
    found = trial(seed)
    assert found.result == "SILENT"
    assert "00162" in found.detail


def test_a_lost_customer_is_silent_once_nothing_tells_its_service(monkeypatch: pytest.MonkeyPatch) -> None:
    seed = first("drop_feature", lambda mutant: mutant.change.words in ("customers 00163", "customers 00164"))
    assert trial(seed).result == "told"

    def quiet(found: Iterable[Finding], options: Any) -> Any:
        return findings_of([one for one in found if one.code != "service-without-customer"], options)

    monkeypatch.setattr("netplan.planning.make_plan.findings_of", quiet)
    monkeypatch.setattr(
        "netplan.planning.option_records.option_record.services_without_customer_warnings", _nothing
    )
    assert trial(seed).result == "SILENT"


def test_the_oracle_declares_pairs_and_never_a_customer_alone() -> None:
    pairs = [mutant_of(seed)[0] for seed, _ in zip(seeds("drop_pair"), range(5), strict=False)]
    assert {traceless(mutant) for mutant in pairs} == {"a dropped pair"}
    alone = first("drop_feature", lambda mutant: mutant.change.words.startswith("customers"))
    assert traceless(mutant_of(alone)[0]) == ""
    assert all(rule.__doc__ for rule in RULES.values())


def ward(change: Callable[[dict[str, gpd.GeoDataFrame]], None], place: Path) -> Path:
    """Return the ward as a GeoPackage with something changed."""
    layers = {name: frame.copy() for name, frame in town("ward tail").layers.items()}
    change(layers)
    return write_export(exported(layers, "gpkg"), place)[0]


def planned(network: Path, out: Path) -> tuple[dict[str, Any], str]:
    """Return the plan that the command line makes, and what it says."""
    result = CliRunner().invoke(app, ["plan", str(network), *WORK, "--out", str(out)])
    assert result.exit_code == 0, result.output
    plan: dict[str, Any] = json.loads((out / "plan.json").read_bytes())
    return plan, " ".join(result.output.split())


def told(plan: dict[str, Any], code: str) -> str:
    rows = [row for row in plan["findings"] if row["code"] == code]
    assert rows, [row["code"] for row in plan["findings"]]
    assert "warning" in {row["severity"] for row in rows}
    return " | ".join(row["what"] for row in rows)


def test_a_column_that_is_not_there_is_told_on_screen_and_in_the_plan(tmp_path: Path) -> None:
    def change(layers: dict[str, gpd.GeoDataFrame]) -> None:
        layers["customers"] = layers["customers"].drop(columns=["priority", "priority_note", "meters"])
        del layers["valves"]

    plan, screen = planned(ward(change, tmp_path), tmp_path / "plan")
    words = "priority (nobody counts as a priority customer); meters (each counts as one meter)"
    assert words in told(plan, "column-absent")
    assert words in screen
    assert "closed valves count as open" in told(plan, "layer-absent")
    assert "no feature of layer valves is recorded" in screen


def test_a_system_is_missed_only_where_another_layer_has_one(tmp_path: Path) -> None:
    def all_of_them(layers: dict[str, gpd.GeoDataFrame]) -> None:
        del layers["injections"]
        layers["mains"] = layers["mains"][layers["mains"]["system"] == "LP"]
        layers["valves"] = layers["valves"][layers["valves"]["system"] == "LP"]
        for name, frame in layers.items():
            layers[name] = frame.drop(columns="system", errors="ignore")

    plan, _ = planned(ward(all_of_them, tmp_path), tmp_path / "plan")
    assert not [row for row in plan["findings"] if row["code"] == "column-absent"]

    def of_services(layers: dict[str, gpd.GeoDataFrame]) -> None:
        layers["services"] = layers["services"].drop(columns="system")

    other = tmp_path / "other"
    other.mkdir()
    plan, _ = planned(ward(of_services, other), other / "plan")
    assert told(plan, "column-absent") == "no column system (all are taken as low pressure)"


def test_a_service_of_nobody_that_is_cut_off_is_named(tmp_path: Path) -> None:
    def change(layers: dict[str, gpd.GeoDataFrame]) -> None:
        customers = layers["customers"]
        layers["customers"] = customers[customers["address"] != "5 Elm Close"].reset_index(drop=True)

    gone = town("ward tail").layers["customers"]
    (service,) = gone["service_id"][gone["address"] == "5 Elm Close"]
    plan, screen = planned(ward(change, tmp_path), tmp_path / "plan")
    (line,) = [text for text in plan["options"][0]["warnings"] if text.startswith("no customer is recorded")]
    assert line.startswith(f"no customer is recorded on service {service}, cut off by the work or kept by")
    assert service in screen


def test_warnings_away_from_the_work_are_put_together(tmp_path: Path) -> None:
    def change(layers: dict[str, gpd.GeoDataFrame]) -> None:
        layers["valves"] = layers["valves"].replace({"state": {"closed": "shut", "open": "O"}})
        layers["regulators"] = layers["regulators"].drop(columns="max_outlet_mbar")

    plan, _ = planned(ward(change, tmp_path), tmp_path / "plan")
    words = told(plan, "unknown-state")
    assert words.startswith("away from the work, 4 valves (V1, V2, V3, V5), the first: state 'shut' is not")
    stations = [row["feature_id"] for row in plan["findings"] if row["code"] == "no-fault-pressure"]
    assert stations == ["R1", "R2", "R3"]


def test_an_unread_layer_with_the_columns_of_another_is_a_warning(tmp_path: Path) -> None:
    def change(layers: dict[str, gpd.GeoDataFrame]) -> None:
        services = layers["services"]
        layers["east"] = services.iloc[40:].reset_index(drop=True)
        layers["services"] = services.iloc[:40].reset_index(drop=True)
        layers["pubs"] = gpd.GeoDataFrame({"beer": ["ale"]}, geometry=services.geometry.iloc[:1].to_numpy())
        layers["pubs"] = layers["pubs"].set_crs(services.crs)

    plan, _ = planned(ward(change, tmp_path), tmp_path / "plan")
    layers = town("ward tail").layers
    words = (
        f"layer east ({len(layers['services']) - 40} features) was not read; it has the columns of services"
    )
    assert words in told(plan, "layer-not-read")


def test_an_error_says_what_in_the_data_may_explain_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def change(layers: dict[str, gpd.GeoDataFrame]) -> None:
        regulators = layers["regulators"]
        layers["regulators"] = regulators.assign(capacity_m3h=regulators["capacity_m3h"] / 3600.0)

    place = ward(change, tmp_path)
    made = made_from(place, None, town("ward tail").work)
    assert made.customers is None
    assert "capacity_m3h" in made.refusal

    def job() -> None:
        error = NetplanError("the flow has no solution")
        error.noticed = tuple(f"customers: thing {k}" for k in range(10))
        raise error

    assert run(job) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[1] == "  - in the data: customers: thing 0"
    assert lines[-1] == "  - and 2 more: run gas-netplan check"
    assert len(lines) == 10

"""Plan folders that were tampered with, damaged or lead elsewhere: one line, exit code 2."""

from __future__ import annotations

import json
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyogrio
import pytest

from netplan.planfile.plan_json import MOST_BYTES
from tests.own.test_cli_refused import LONG, refused
from tests.support.sample_plan import sample_plan


def _plan_copy(folder: Path, change: Callable[[dict[str, Any]], None] | None = None) -> Path:
    copy = Path(shutil.copytree(sample_plan(), folder / "plan"))
    if change is not None:
        plan = json.loads((copy / "plan.json").read_text(encoding="utf-8"))
        change(plan)
        (copy / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    return copy


def _tampered(key: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(plan: dict[str, Any]) -> None:
        table, _, name = key.partition(".")
        plan["rules"][table] = {**plan["rules"][table], name: value}

    return change


def _without_gas(plan: dict[str, Any]) -> None:
    del plan["rules"]["gas"]


TAMPERED = [
    (_tampered("bypass.slack", "9**9**9 m"), "plan.json: rules: bypass.slack"),
    (_tampered("price.bypass", True), "plan.json: rules: price.bypass"),
    (_tampered("pressure.margin_mbar", -5), "plan.json: rules: pressure.margin_mbar"),
    (_tampered("price.unheard_of", LONG), "plan.json: rules: price.unheard_of: unknown key"),
    (_without_gas, "plan.json: rules: gas"),
]


@pytest.mark.parametrize(("change", "says"), TAMPERED, ids=["unit", "true", "negative", "unknown", "missing"])
def test_tampered_rules_of_a_plan_are_refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    change: Callable[[dict[str, Any]], None],
    says: str,
) -> None:
    plan = _plan_copy(tmp_path, change)
    commands: tuple[tuple[str | Path, ...], ...] = (
        ("explain", plan, "burden"),
        ("bypass", plan),
        ("papers", plan, "--out", tmp_path / "again"),
    )
    for command in commands:
        assert says in refused(monkeypatch, capsys, *command), command
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan"]


def _limited(seconds: int = 60) -> Callable[[], None]:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (6_000_000_000, 6_000_000_000))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))

    return limit


@pytest.mark.parametrize("name", ["plan.json", "plan.gpkg"])
@pytest.mark.parametrize("device", ["/dev/zero", "pipe"])
def test_a_plan_that_leads_to_something_endless_is_refused(tmp_path: Path, name: str, device: str) -> None:
    plan = _plan_copy(tmp_path)
    (plan / name).unlink()
    if device == "pipe":
        os.mkfifo(plan / name)
    else:
        (plan / name).symlink_to(device)
    command = [sys.executable, "-m", "netplan", "explain", str(plan), "burden"]
    done = subprocess.run(  # noqa: S603
        command, capture_output=True, text=True, check=False, timeout=120, preexec_fn=_limited()
    )
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("\n") == 1


def test_a_plan_larger_than_any_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = _plan_copy(tmp_path)
    with (plan / "plan.json").open("r+b") as file:
        file.truncate(MOST_BYTES + 1)
    assert "larger than 200000000 bytes" in refused(monkeypatch, capsys, "explain", plan)


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])


def _text(path: Path) -> None:
    path.write_text("<OGRVRTDataSource/>", encoding="utf-8")


def _zeros(path: Path) -> None:
    held = bytearray(path.read_bytes())
    held[4096 : len(held) // 2] = bytes(len(held) // 2 - 4096)
    path.write_bytes(held)


def _change(path: Path, layer: str, *commands: str) -> None:
    with sqlite3.connect(path) as database:
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY", "ST_IsEmpty"):
            database.create_function(name, 1, lambda _: 0)
        triggers = "select name from sqlite_master where type = 'trigger' and tbl_name = ?"
        for (trigger,) in database.execute(triggers, (layer,)).fetchall():
            database.execute(f'drop trigger "{trigger}"')
        for command in commands:
            database.execute(command)
    database.close()


def _no_pipes(path: Path) -> None:
    _change(path, "pipes", "delete from pipes")


def _no_nodes_of_pipes(path: Path) -> None:
    _change(path, "pipes", "update pipes set to_node = null", "update pipes set from_node = null")


def _one_node(path: Path) -> None:
    _change(path, "nodes", "update nodes set node = 7")


def _words_for_numbers(path: Path) -> None:
    frame = pyogrio.read_dataframe(path, layer="pipes")
    frame["length_m"] = "long"
    pyogrio.write_dataframe(frame, path, layer="pipes", driver="GPKG")


@pytest.mark.parametrize(
    "harm", [_cut, _text, _zeros, _words_for_numbers, _no_pipes, _no_nodes_of_pipes, _one_node]
)
def test_a_corrupt_geopackage_of_a_plan_is_refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    harm: Callable[[Path], None],
) -> None:
    plan = _plan_copy(tmp_path)
    harm(plan / "plan.gpkg")
    assert "plan.gpkg" in refused(monkeypatch, capsys, "bypass", plan)
    if harm in (_cut, _text, _zeros, _words_for_numbers):
        assert "plan.gpkg" in refused(monkeypatch, capsys, "explain", plan, "burden")

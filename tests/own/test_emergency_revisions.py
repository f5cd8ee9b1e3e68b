"""Revisions of an emergency answer: rings ready beforehand, stopped at any time, whole at every moment (own)."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import netplan
from netplan.cli.app import main
from netplan.emergency import solved_rings
from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_on_main
from netplan.emergency.next_rings import MOST_PAIRS, EmergencyRequest, with_next_rings
from netplan.planfile.emergency_json import read_emergency
from netplan.readers import write_layers
from netplan.rules import read_rules
from tests.support.ring_towns import ring_town, ring_town_layers

PLACE = ("--main", "M05", "--at-m", "35")


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Write a town as a GeoPackage."""
    path = tmp_path_factory.mktemp("town") / "town.gpkg"
    write_layers(ring_town_layers(6), path)
    return str(path)


def _run(monkeypatch: pytest.MonkeyPatch, town: str, out: Path, *words: str) -> int:
    command = ["gas-netplan", "emergency", town, *words, "--out", str(out)]
    monkeypatch.setattr(sys, "argv", command)
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def _kept(out: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((out / "emergency.json").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("seed", [1, 4, 6])
def test_the_ring_for_two_valves_is_the_one_found_once_both_failed(seed: int) -> None:
    tables = EmergencyTables(ring_town(seed), read_rules(None))
    hits = hits_on_main(tables.network, tables.network.pipes.id[5], 35.0)
    request = EmergencyRequest("place", 2, 10.0)
    answer = with_next_rings(tables, hits, request, first_answer(tables, hits, request), pairs=True)
    singles = [one for one in answer.next_rings if len(one.if_failed) == 1]
    pairs = [one for one in answer.next_rings if len(one.if_failed) == 2]
    assert singles
    assert pairs
    assert len(pairs) <= MOST_PAIRS
    assert len({(frozenset(one.if_failed), one.ring.kind) for one in pairs}) == len(pairs)
    for one in [*singles, *pairs]:
        again = EmergencyRequest("place", 2, 10.0, one.if_failed)
        rings = first_answer(tables, hits, again).rings
        assert one.ring == next(
            ring for ring in rings if ring.kind == one.ring.kind and ring.aim == "least minutes"
        )
        assert not {stop.valve_id for stop in one.ring.stops} & {*one.if_failed}


def test_a_valve_that_fails_adds_a_revision_and_keeps_the_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, town: str
) -> None:
    out = tmp_path / "hit"
    assert _run(monkeypatch, town, out, *PLACE, "--crews", "2", "--no-pressures") == 0
    first = _kept(out)
    assert "solved" not in first
    assert "conditions" not in first
    ready = next(one for one in first["next_rings"] if len(one["if_failed"]) == 2)
    failed = [word for name in ready["if_failed"] for word in ("--valve-failed", name)]
    assert _run(monkeypatch, town, out, *failed, "--air-temp", "4") == 0
    second = _kept(out)
    assert (first["revision"], second["revision"]) == (1, 2)
    assert second["failed_valves"] == ready["if_failed"]
    assert second["log"][: len(first["log"])] == first["log"]
    assert [entry["revision"] for entry in second["log"]] == [1, 2, 2]
    assert second["log"][-1]["what"].startswith("pressures solved")
    ring = next(r for r in second["rings"] if r["kind"] == ready["ring"]["kind"])
    assert ring["stops"] == ready["ring"]["stops"], "as ready beforehand; the crews are remembered"
    assert second["conditions"]["air_temp_c"] == 4.0
    assert {one["kind"] for one in second["solved"]} == {"valves", "fastest"}
    assert all(row["pressure_of"] == "solved" for row in second["escape"])


def test_stopped_while_pressures_are_solved_the_first_answer_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, town: str, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(solved_rings, "solved_answer", stopped)
    out = tmp_path / "hit"
    assert _run(monkeypatch, town, out, *PLACE) == 130
    assert "holds the last answer, whole" in capsys.readouterr().err
    answer = read_emergency(out)
    assert answer is not None
    assert answer.solved is None
    assert answer.next_rings
    assert sorted(path.name for path in out.iterdir()) == [
        "emergency.html",
        "emergency.json",
        "emergency.pdf",
    ]


def test_killed_at_any_time_every_file_is_whole(tmp_path: Path, town: str) -> None:
    out = tmp_path / "hit"
    command = [sys.executable, "-m", "netplan", "emergency", town, *PLACE, "--out", str(out)]
    environment = {**os.environ, "PYTHONPATH": str(Path(netplan.__file__).parent.parent)}
    child = subprocess.Popen(  # noqa: S603
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=tmp_path
    )
    until = time.monotonic() + 60.0
    while not (out / "emergency.json").exists() and child.poll() is None and time.monotonic() < until:
        time.sleep(0.005)
    child.send_signal(signal.SIGKILL)
    child.wait()
    answer = read_emergency(out)
    assert answer is not None
    assert answer.revision == 1
    page = out / "emergency.html"
    assert not page.exists() or page.read_text(encoding="utf-8").rstrip().endswith("</html>")

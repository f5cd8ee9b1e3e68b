"""Tables of an emergency kept beside a network: the same answers, and worked out anew where they are damaged (own)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from netplan.emergency import kept_tables
from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_on_main
from netplan.emergency.kept_tables import keep_tables, tables_for
from netplan.emergency.next_rings import EmergencyRequest, with_next_rings
from netplan.rules import Rules, read_rules
from tests.support.ring_towns import ring_town


@pytest.fixture(autouse=True)
def small_networks_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep tables of networks of any size."""
    monkeypatch.setattr(kept_tables, "_LEAST_NODES", 1)


def _rings(tables: EmergencyTables) -> object:
    hits = hits_on_main(tables.network, tables.network.pipes.id[5], 35.0)
    request = EmergencyRequest("place", 2, 10.0)
    answer = with_next_rings(tables, hits, request, first_answer(tables, hits, request))
    return answer.rings, answer.next_rings, answer.customers


def _kept(folder: Path) -> Path:
    (path,) = folder.glob("emergency-*.npz")
    return path


def test_kept_tables_are_those_worked_out(tmp_path: Path) -> None:
    rules = read_rules(None)
    first = tables_for(ring_town(6), rules, tmp_path)
    said = _rings(first)
    keep_tables(first, tmp_path)
    assert _kept(tmp_path).stat().st_mode & 0o077 == 0
    again = tables_for(ring_town(6), rules, tmp_path)
    assert {"part", "seconds", "by_valves", "by_any_method"} <= set(vars(again))
    assert np.array_equal(first.part, again.part)
    for one, other in ((first.by_valves, again.by_valves), (first.by_any_method, again.by_any_method)):
        for name in ("group", "seconds", "start", "piece", "other", "meters", "supplies"):
            assert np.array_equal(getattr(one, name), getattr(other, name)), name
        assert one.times == other.times
    assert _rings(again) == said


def test_other_rules_and_other_networks_have_tables_of_their_own(tmp_path: Path) -> None:
    keep_tables(tables_for(ring_town(6), read_rules(None), tmp_path), tmp_path)
    emergency = read_rules(None).emergency.model_copy(update={"minutes_valve": 11.0})
    slower: Rules = read_rules(None).model_copy(update={"emergency": emergency})
    assert "part" not in vars(tables_for(ring_town(6), slower, tmp_path))
    assert "part" not in vars(tables_for(ring_town(5), read_rules(None), tmp_path))


@pytest.mark.parametrize("share", [0.0, 0.3, 0.999])
def test_a_damaged_file_is_as_good_as_none(tmp_path: Path, share: float) -> None:
    rules = read_rules(None)
    first = tables_for(ring_town(6), rules, tmp_path)
    keep_tables(first, tmp_path)
    path = _kept(tmp_path)
    held = path.read_bytes()
    path.write_bytes(held[: int(share * len(held))])
    again = tables_for(ring_town(6), rules, tmp_path)
    assert "part" not in vars(again)
    assert _rings(again) == _rings(first)


def test_where_nothing_can_be_kept_nothing_is_said(tmp_path: Path) -> None:
    keep_tables(tables_for(ring_town(6), read_rules(None), None), None)
    keep_tables(tables_for(ring_town(6), read_rules(None), tmp_path / "no"), tmp_path / "no")
    assert not list(tmp_path.iterdir())

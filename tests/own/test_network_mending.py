"""Only what is safe is mended; the mended network is planned on, the input stays as it was."""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import LineString

from netplan.cli import main as command_line
from netplan.network.build import build_network
from netplan.network.checks import check_network
from netplan.network.raw_layers import as_objects, as_raw
from netplan.network.repair import repair_layers
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, write_layers
from netplan.rules import read_rules
from tests.support.networks import (
    customer,
    fitting,
    layers,
    line,
    main,
    sensing_point,
    service,
    station,
    valve,
)

Rows = dict[str, Any]
MENDED = {"near-miss", "on-top", "same-place", "duplicate-id"}


def broken() -> Rows:
    return {
        "mains": [
            main("M1", (0, 0), (100, 0)),
            main("M2", (100.3, 0), (200, 0)),  # faces M1, which is drawn up to it
            main("M3", (50, 0.2), (50, 80)),  # short of the middle of M1
            main("M4", (200, 0), (300, 0)),
            main("M5", (300, 0), (200, 0)),  # M4 again, drawn backwards
            main("M6", (150, 0), (150, 60)),
            main("M6", (150, 0), (150, 60)),  # the same row twice
        ],
        "services": [
            service("S1", (20, 0.3), (20, 8)),  # short of M1
            service("S2", (50, 60), (58, 60)),
            service("S3", (50, 60), (58, 60)),  # S2 again; the customer names this one
        ],
        "customers": [customer("C1", (20, 8), service_id="S1"), customer("C2", (58, 60), service_id="S3")],
        "regulators": [station("R1", (0, 0)), station("R2", (300, 0))],
        "sensing_points": [sensing_point("R1", (0, 0)), sensing_point("R2", (300, 0))],
        "valves": [valve("V1", (120, 0)), valve("V2", (120, 0))],
    }


def raw(rows: Rows, crs: int | None = None) -> Any:
    frames = layers(**rows)
    if crs is not None:
        frames = {name: frame.to_crs(crs) for name, frame in frames.items()}
    return {name: as_raw(name, frame) for name, frame in frames.items()}


def codes(given: Any) -> set[tuple[str, str]]:
    return {(f.code, f.feature_id) for f in check_network(build_network(given, strict=False))}


@pytest.mark.parametrize("crs", [None, 4326, 3857])
def test_what_is_safe_is_mended_in_the_coordinates_of_the_source(crs: int | None) -> None:
    given = raw(broken(), crs)
    assert {code for code, _ in codes(given)} >= MENDED
    mended = repair_layers(given, 0.5)
    assert [(c.code, c.feature_id) for c in mended.changes] == [
        ("near-miss", "M1"),
        ("near-miss", "M3"),
        ("on-top", "M5"),
        ("duplicate-id", "M6"),
        ("near-miss", "S1"),
        ("on-top", "S2"),
        ("same-place", "V2"),
    ]
    assert not mended.left
    assert not {code for code, _ in codes(mended.layers)} & MENDED
    assert mended.layers["mains"].crs == given["mains"].crs
    network = build_network(mended.layers)
    assert {"dead-customer", "part-without-station"}.isdisjoint({f.code for f in check_network(network)})
    assert len(network.customers.attach_node) == 2


def test_the_mended_network_is_planned_on() -> None:
    network = build_network(repair_layers(raw(broken()), 0.5).layers)
    plan = make_plan(PlanRequest(network, (WorkPart("M1", 70.0, 74.0),), read_rules(None), options=1)).plan
    assert len(plan.options[0].stops) == 2


def test_nothing_beyond_the_given_distance_is_drawn() -> None:
    mended = repair_layers(raw(broken()), 0.25)
    assert ("near-miss", "M2") in codes(mended.layers)
    assert ("near-miss", "M3") not in codes(mended.layers)


def test_a_mended_network_is_left_as_it_is() -> None:
    once = repair_layers(raw(broken()), 0.5)
    again = repair_layers(once.layers, 0.5)
    assert again.changes == ()
    assert again.left == ()


def test_a_recorded_cap_is_an_end() -> None:
    rows = broken()
    rows["fittings"] = [fitting("F1", (50, 0.2), "cap")]
    mended = repair_layers(raw(rows), 0.5)
    assert [(c.feature_id, "a cap is recorded there" in c.what) for c in mended.left] == [("M3", True)]
    assert ("near-miss", "M3") in codes(mended.layers)


def test_an_end_between_two_mains_is_left() -> None:
    rows = broken()
    rows["mains"] += [main("M7", (0, 0), (0, 0.5), (90, 0.5), (90, 20))]
    mended = repair_layers(raw(rows), 0.5)
    assert "M3" in {c.feature_id for c in mended.left if "several mains" in c.what}


def test_doubles_that_differ_in_anything_stay() -> None:
    rows = broken()
    rows["mains"][4]["od_mm"] = 125.0
    rows["valves"][1]["state"] = "closed"
    changed = {c.feature_id for c in repair_layers(raw(rows), 0.5).changes}
    assert changed.isdisjoint({"M5", "M4", "V1", "V2"})


def test_a_bent_main_keeps_all_its_other_corners() -> None:
    rows = broken()
    rows["mains"][2]["geometry"] = line((50, 0.2), (52, 30), (50, 80))
    before = rows["mains"][2]["geometry"]
    given = raw(rows)
    shapes = as_objects(repair_layers(given, 0.5).layers["mains"].geometry)
    after = next(s for s in shapes if isinstance(s, LineString) and s.coords[-1] == before.coords[-1])
    assert list(after.coords)[1:] == list(before.coords)[1:]
    assert after.coords[0] == pytest.approx((before.coords[0][0], before.coords[0][1] - 0.2), abs=1e-6)
    assert given["mains"].geometry[2].coords[0] == before.coords[0]  # the input is not touched


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as left:
        command_line()
    return int(left.value.code or 0)


def test_the_command_writes_a_new_file_and_lists_each_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = broken()
    rows["mains"] = rows["mains"][:-1]
    source = write_layers(layers(**rows), tmp_path / "street.gpkg")
    before = hashlib.sha256(source.read_bytes()).hexdigest()
    out, changes = tmp_path / "mended.gpkg", tmp_path / "changes.json"
    assert _run(monkeypatch, "check", source, "--mend", out, "--changes", changes) == 0
    said = capsys.readouterr().out
    assert "6 changes, 0 left for a person" in said
    listed = json.loads(changes.read_text())["changed"]
    assert [row["feature_id"] for row in listed] == ["M1", "M3", "M5", "S1", "S2", "V2"]
    assert len(read_network(out).pipes) == 7
    assert hashlib.sha256(source.read_bytes()).hexdigest() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["changes.json", "mended.gpkg", "street.gpkg"]
    assert _run(monkeypatch, "check", source, "--mend", out) == 2
    assert "exists already" in capsys.readouterr().err
    assert _run(monkeypatch, "check", source, "--mend", source) == 2
    assert _run(monkeypatch, "check", source, "--mend", tmp_path / "x.gpkg", "--snap", "5 m") == 2
    assert hashlib.sha256(source.read_bytes()).hexdigest() == before
    assert not (tmp_path / "x.gpkg").exists()

"""Bad pipes far from the work are taken as not live; those that matter stop the plan by name."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from netplan.cli import main as run_main
from netplan.core.errors import BadNetworkError, NetplanError
from netplan.network import kept_subnetworks, subnetwork
from netplan.network.build import build_network
from netplan.network.subnetwork import Subnetwork
from netplan.network.topology import fed_nodes
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning import subnetwork_context as near
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, write_layers
from netplan.rules import read_rules
from tests.aside_towns import WORK, aside_layers

Plan = dict[str, Any]

NO_SIZE: dict[str, Any] = {"od_mm": None, "wall_mm": None, "sdr": None}
OF_THE_DATA = ("provenance", "set_aside", "findings")
WIDE = {"bad_data": {"share": 0.3}}


def cli(monkeypatch: pytest.MonkeyPatch, *arguments: object) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as left:
        run_main()
    return int(left.value.code or 0)


def planned_by_cli(
    monkeypatch: pytest.MonkeyPatch, folder: Path, changed: dict[str, dict[str, Any]], *more: str
) -> tuple[int, Plan]:
    """Return the exit code and plan.json of the command line on the town, some of its pipes changed."""
    network, out, rules = folder / "town.gpkg", folder / "plan", folder / "rules.toml"
    folder.mkdir()
    write_layers(aside_layers(changed), network)
    rules.write_text("[bad_data]\nshare = 0.3\n")
    work = ("--main", WORK[0], "--from", WORK[1], "--to", WORK[2])
    quick = ("--no-weather", "--no-papers", "--options", 2, "--rules", rules)
    code = cli(monkeypatch, "plan", network, *work, *quick, "--out", out, *more)
    return code, json.loads((out / "plan.json").read_text()) if code == 0 else {}


def made(
    changed: dict[str, dict[str, Any]], work: tuple[str, float, float] = WORK, rules: Plan | None = None
) -> Plan:
    network = build_network(aside_layers(changed), set_aside=True)
    request = PlanRequest(
        network, (WorkPart(*work),), read_rules(None, overrides=rules), options=1, weather=False
    )
    plan: Plan = json.loads(plan_to_json(make_plan(request).plan))
    return plan


def without_data(plan: Plan) -> Plan:
    """Return a plan without what tells of the data it was made from, and of what is set aside."""
    left = {key: value for key, value in plan.items() if key not in OF_THE_DATA}
    left["network"] = {key: value for key, value in left["network"].items() if key != "content_sha256"}
    left["options"] = [
        {**option, "warnings": [line for line in option["warnings"] if "taken as not live" not in line]}
        for option in left["options"]
    ]
    return left


FIVE: dict[str, dict[str, Any]] = {
    "B1": {"od_mm": None},
    "B3": {"od_mm": 11_000.0},
    "B4": {"wall_mm": None, "sdr": None},
    "S44": {"wall_mm": None, "sdr": 1.2},
    "S47": {"od_mm": 32.0, "wall_mm": None, "sdr": None, "bore_mm": 60.0},
}
"""Blind side streets without customers, and two services, each bad in its own way."""


def test_a_bad_pipe_far_away_leaves_the_plan_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code, bad = planned_by_cli(monkeypatch, tmp_path / "bad", {"B4": NO_SIZE})
    sound_code, sound = planned_by_cli(monkeypatch, tmp_path / "sound", {})
    assert (code, sound_code) == (0, 0)
    assert without_data(bad) == without_data(sound)
    (row,) = bad["set_aside"]
    assert (row["layer"], row["pipe_id"], row["code"], row["customers"]) == (
        "mains",
        "B4",
        "missing-size",
        [],
    )
    assert row["distance_m"] == pytest.approx(1100.0 - 252.0, abs=0.5)
    assert sound["set_aside"] == []
    told = [f for f in bad["findings"] if f["code"] == "set-aside"]
    assert [(f["layer"], f["feature_id"], f["severity"]) for f in told] == [("mains", "B4", "warning")]
    assert "848 m from the work" in told[0]["what"]
    assert all(any("main B4, 848 m from the work" in line for line in o["warnings"]) for o in bad["options"])


def test_five_bad_pipes_of_five_kinds_do_not_block_a_plan() -> None:
    plan, sound = made(FIVE, rules=WIDE), made({}, rules=WIDE)
    assert {row["pipe_id"] for row in plan["set_aside"]} == set(FIVE)
    assert {row["code"] for row in plan["set_aside"]} == {
        *("missing-size", "impossible-size", "impossible-sdr"),
    }
    for mine, theirs in zip(plan["options"], sound["options"], strict=True):
        for key in ("stops", "zones", "customers", "bypasses", "opened_valves", "fallback"):
            assert [_place(part) for part in mine[key]] == [_place(part) for part in theirs[key]]


def _place(part: Plan) -> Plan:
    """Return a part of a plan without its pressures, which two customers fewer move a little."""
    return {key: value for key, value in part.items() if not key.endswith("_mbar")}


def test_the_customer_of_a_bad_service_is_named() -> None:
    plan = made({"S46": NO_SIZE}, rules=WIDE)
    (row,) = plan["set_aside"]
    assert (row["layer"], row["pipe_id"], row["customers"]) == ("services", "S46", ["C46"])
    (told,) = (f for f in plan["findings"] if f["code"] == "set-aside")
    assert "no gas is recorded for customers C46" in told["what"]
    option = plan["options"][0]
    assert "C46" in option["pressures"]["weak_before"]
    lost = {loss["id"]: loss["customers"] for loss in option["losses"]}
    sound = {loss["id"]: loss["customers"] for loss in made({}, rules=WIDE)["options"][0]["losses"]}
    assert lost == sound
    assert any("C46" in customers for customers in lost.values())


def test_a_customer_without_gas_near_the_work_is_in_doubt() -> None:
    plan = made(
        {"S20": NO_SIZE}, rules=WIDE
    )  # 260 m from the work: nearer than the 500 m of doubtful records
    assert "C20" in {row["id"] for row in plan["options"][0]["in_doubt"]}
    assert "C20" not in {row["id"] for row in made({}, rules=WIDE)["options"][0]["in_doubt"]}


@pytest.mark.parametrize(
    ("changed", "work", "says"),
    [
        ({"T02": NO_SIZE}, WORK, r"main T02: .*it is worked on"),
        ({"T03": NO_SIZE}, WORK, r"main T03: .*not taken as not live: "),
        ({"S09": NO_SIZE}, ("T02", 22.0, 28.0), r"service S09: .*it meets what the plan stops"),
        # The trunk behind the work hangs on its far station by T09 and the loop.
        ({"T11": NO_SIZE}, WORK, r"main T11: .*not taken as not live: .*(customers|feeds|stops)"),
        # Without the loop the far station cannot keep all on: the best plan is another one.
        (
            {"L2": NO_SIZE, "T09": {"od_mm": 63.0}, "T10": {"od_mm": 63.0}},
            WORK,
            r"main L2: .*taken as live \(bore 51.4 mm\) instead of not live, the stops of option 1 differ \(T02 at",
        ),
        # The work is on a main that ends at the bad one.
        ({"L2": NO_SIZE}, ("L1", 30.0, 34.0), r"main L2: .*not taken as not live: "),
    ],
    ids=["worked on", "beside the stops", "in the zone", "the only other feed", "far off, flow", "joined"],
)
def test_a_bad_pipe_that_matters_stops_the_plan_by_name(
    changed: dict[str, dict[str, Any]], work: tuple[str, float, float], says: str
) -> None:
    sound = made({}, work, rules=WIDE)
    assert sound["options"]
    with pytest.raises(BadNetworkError, match=says) as refused:
        made(changed, work, rules=WIDE)
    assert "give od_mm, and one of sdr, wall_mm, bore_mm" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_several_bad_pipes_are_all_named_where_one_matters() -> None:
    with pytest.raises(BadNetworkError, match=r"main T11: .*|main B0: ") as refused:
        made({"B0": NO_SIZE, "B1": NO_SIZE, "T11": NO_SIZE}, rules=WIDE)
    assert {"B0", "B1", "T11"} <= set(re.findall(r"[BT]\d+", str(refused.value)))


def test_a_third_of_the_mains_is_too_much() -> None:
    third = dict.fromkeys(("T05", "T06", "T07", "B0", "B1", "B2", "B3"), NO_SIZE)
    with pytest.raises(BadNetworkError, match=r"7 of 19 mains .*bad_data\.share"):
        made(third)
    with pytest.raises(
        BadNetworkError, match=r"2 pipes have no usable size, more than bad_data\.pipes_max, 1"
    ):
        made({"B0": NO_SIZE, "B1": NO_SIZE}, rules={"bad_data": {"pipes_max": 1}})
    with pytest.raises(BadNetworkError, match="pipes_max, 0"):
        made({"B1": NO_SIZE}, rules={"bad_data": {"pipes_max": 0}})


def test_errors_that_are_no_size_stop_every_plan() -> None:
    rows = aside_layers({"B4": NO_SIZE})
    doubled = rows["mains"].copy()
    doubled.loc[doubled["id"] == "B3", "id"] = "B2"
    for changed in ({"mains": doubled}, {"mains": rows["mains"].set_crs("EPSG:31466", allow_override=True)}):
        with pytest.raises(NetplanError):
            build_network({**rows, **changed}, set_aside=True)
    missing = rows["mains"].copy()
    missing.loc[missing["id"] == "B3", "geometry"] = None
    with pytest.raises(BadNetworkError, match="no geometry"):
        build_network({**rows, "mains": missing}, set_aside=True)


def test_a_dead_main_without_size_stops_no_plan() -> None:
    plan = made({"B4": {**NO_SIZE, "status": "abandoned"}}, rules=WIDE)
    assert plan["set_aside"] == []


def test_without_leave_bad_pipes_stop_everything(tmp_path: Path) -> None:
    with pytest.raises(BadNetworkError, match="B4"):
        build_network(aside_layers({"B4": NO_SIZE}))
    write_layers(aside_layers({"B4": NO_SIZE}), tmp_path / "town.gpkg")
    with pytest.raises(BadNetworkError, match="B4"):
        read_network(tmp_path / "town.gpkg")


def test_a_kept_network_keeps_what_is_set_aside(tmp_path: Path) -> None:
    town, kept = tmp_path / "town.gpkg", tmp_path / "kept"
    write_layers(aside_layers(FIVE), town)
    first = read_network(town, set_aside=True, cache=kept)
    again = read_network(town, set_aside=True, cache=kept)
    assert len(list(kept.iterdir())) == 1
    for network in (first, again):
        aside = network.set_aside
        names = [network.pipes.id[row] for row in aside.pipe.tolist()]
        assert names == ["B1", "B3", "B4", "S44", "S47"]
        assert list(aside.code) == list(first.set_aside.code)
        own = [row for pipe in aside.pipe.tolist() for row in network.pieces.rows_of(pipe)]
        assert not network.pieces.is_open[own].any()
        assert not fed_nodes(network)[network.pieces.to_node[network.pieces.rows_of(int(aside.pipe[0]))[-1]]]
    # The network without leave to set aside is another one, though the data is the same.
    with pytest.raises(BadNetworkError, match="B3"):
        read_network(town, cache=kept)


def test_a_plan_from_near_tells_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[Subnetwork | None] = []

    def vicinity_of(*given: Any) -> Subnetwork | None:
        taken.append(subnetwork.subnetwork_of(*given))
        return taken[-1]

    monkeypatch.setattr(kept_subnetworks, "subnetwork_of", vicinity_of)
    whole = made({"B4": NO_SIZE}, rules=WIDE)
    assert taken == []
    monkeypatch.setattr(near, "FIRST_NODES", 20)
    by_near = made({"B4": NO_SIZE}, rules=WIDE)
    assert any(found is not None for found in taken)
    assert by_near["set_aside"] == whole["set_aside"]
    for key in ("stops", "customers", "fallback"):
        assert by_near["options"][0][key] == whole["options"][0][key]


@pytest.mark.parametrize("command", ["screen", "stage"])
def test_commands_about_every_main_refuse_and_say_that_a_plan_goes_on(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_layers(aside_layers({"B4": NO_SIZE}), tmp_path / "town.gpkg")
    more = ("--main", "T02") if command == "stage" else ()
    assert cli(monkeypatch, command, tmp_path / "town.gpkg", *more, "--out", tmp_path / "out") == 2
    err = capsys.readouterr().err
    assert "B4" in err
    assert f"{command} looks at every main" in err
    assert "plans far from it are still made" in err
    assert not (tmp_path / "out").exists()

"""What `check` prints: findings by what to do first, at 80 columns, whole ids, all of them in the files."""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import geopandas
import pytest
from rich.console import Console

import netplan
from netplan.cli import main
from netplan.core.findings import READING_CODES, Finding, Severity
from netplan.network.checks.finding_groups import Group, group_of, meaning_of
from netplan.network.unsized_pipes import SIZE_CODES
from netplan.outputs.terminal.findings_report import print_findings
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planfile.model import FindingRow
from netplan.planfile.plan_json import read_plan
from netplan.readers import write_layers
from tests.aside_towns import aside_layers
from tests.support.sample_plan import sample_plan

NO_SIZE: dict[str, Any] = {"od_mm": None, "wall_mm": None, "sdr": None}


def table(name: str) -> list[dict[str, str]]:
    text = resources.files("netplan.network.checks").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def codes() -> dict[str, dict[str, str]]:
    return {
        row["code"]: row
        for name in ("finding_codes.csv", "finding_codes_elsewhere.csv")
        for row in table(name)
    }


def finding(code: str, severity: Severity, layer: str = "mains", feature: str = "M1", **more: Any) -> Finding:
    return Finding(code, layer, feature, severity, **{"what": "is so", "mend": "mend it", **more})


def printed(findings: list[Finding], width: int = 80, **more: Any) -> str:
    screen = Console(file=io.StringIO(), width=width, highlight=False)
    print_findings(findings, screen, **more)
    return screen.file.getvalue()  # type: ignore[attr-defined, no-any-return]


def test_each_code_has_one_group_that_goes_with_its_weight() -> None:
    rows = [row for name in ("finding_codes.csv", "finding_codes_elsewhere.csv") for row in table(name)]
    assert len({row["code"] for row in rows}) == len(rows)
    for row in rows:
        group, weight = Group(row["group"]), Severity(row["weight"])
        if row["code"] in ("wrong-geometry", "odd-id"):  # errors on pipes; the group is that of the warning
            assert group in (Group.LISTS, Group.FIGURES)
        elif weight is Severity.ERROR:
            assert group is (Group.PLANS_NEAR if row["code"] in SIZE_CODES else Group.EVERY_PLAN)
        elif weight is Severity.WARNING:
            assert group in (Group.LISTS, Group.FIGURES)
        else:
            assert group is Group.NOTES
        assert group_of(finding(row["code"], weight)) in (group, Group.EVERY_PLAN)
        assert meaning_of(row["code"]) == row["meaning"]


def test_each_code_of_the_source_has_a_group() -> None:
    known = set(codes())
    assert set(READING_CODES) <= known
    found = _codes_in_source()
    assert {"clashing-id", "unlisted-word", "set-aside", "near-miss"} <= found
    assert found <= known


def _codes_in_source() -> set[str]:
    """Return the codes written out where networks are read, joined and checked and plans written."""
    found = set()
    root = Path(netplan.__file__).parent
    for path in (path for part in ("network", "readers", "planning") for path in (root / part).rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        constants = {
            target.id: node.value.value
            for node in ast.walk(tree)
            if isinstance(node, ast.AnnAssign)
            and isinstance(target := node.target, ast.Name)
            and isinstance(node.value, ast.Constant)
        }
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not node.args or "Severity" not in ast.dump(node):
                continue
            first = node.args[0]
            code = constants.get(first.id) if isinstance(first, ast.Name) else getattr(first, "value", None)
            if isinstance(code, str) and re.fullmatch("[a-z]+(-[a-z_]+)+", code):
                found.add(code)
    return found


def test_errors_of_one_pipe_stop_plans_near_and_all_others_every_plan() -> None:
    for code in SIZE_CODES:
        assert group_of(finding(code, Severity.ERROR)) is Group.PLANS_NEAR
        assert group_of(finding(code, Severity.ERROR, "services", "S1")) is Group.PLANS_NEAR
        assert group_of(finding(code, Severity.ERROR, "mains", "")) is Group.EVERY_PLAN
        assert group_of(finding(code, Severity.ERROR, "regulators", "R1")) is Group.EVERY_PLAN
    for code in ("duplicate-id", "no-geometry", "odd-id", "crs-missing", "never-heard-of"):
        assert group_of(finding(code, Severity.ERROR)) is Group.EVERY_PLAN
    assert group_of(finding("not-a-number", Severity.WARNING)) is Group.FIGURES
    assert group_of(finding("near-miss", Severity.WARNING)) is Group.LISTS
    assert group_of(finding("near-miss", Severity.NOTE)) is Group.NOTES
    assert group_of(finding("never-heard-of", Severity.WARNING)) is Group.FIGURES


def test_groups_come_in_order_with_counts_and_the_rest_is_counted() -> None:
    many = [finding("missing-address", Severity.WARNING, "customers", f"C{k:03d}") for k in range(45)]
    differing = [
        finding("near-miss", Severity.WARNING, "mains", f"M{k}", what=f"ends {k} m short") for k in range(9)
    ]
    found = [
        *(finding("crossing", Severity.NOTE), *many, *differing, finding("odd-year", Severity.WARNING)),
        *(finding("missing-size", Severity.ERROR), finding("duplicate-id", Severity.ERROR)),
    ]
    text = printed(found)
    titles = (
        "Stops every plan: 1",
        "Stops only plans near it: 1",
        "customers wrong: 54",
        "figures wrong: 1",
        "Notes: 1",
    )
    places = [text.index(title) for title in titles]
    assert places == sorted(places)
    assert re.search(r"1  stops every plan +1\n", text)
    assert re.search(r"3  can make a list of customers wrong +54\n", text)
    assert "missing-address: 45" in text
    assert "and 37 more: is so" in " ".join(text.split())
    assert "near-miss: 9" in text
    assert "and 4 more" in text
    assert "Do: mend it" in text
    assert "--json" in text
    assert text.rstrip().endswith("2 errors, 55 warnings, 1 note")


def test_lines_fit_80_columns_and_no_id_is_broken() -> None:
    ids = [f"DISTRICT-NORTH-{k:04d}/PIPE-{k * 7919:08d}" for k in range(30)]
    words = "a rather long account of what is wrong with this feature, " * 4
    found = [finding("missing-size", Severity.ERROR, "mains", name, what=words, mend=words) for name in ids]
    found += [
        finding("dead-customer", Severity.WARNING, "customers", name, what=f"{words} {name}") for name in ids
    ]
    text = printed(found)
    assert max(map(len, text.splitlines())) <= 80
    for name in [*ids[:8], *ids[:5]]:
        assert name in text
    assert printed(found, width=200).count("\n") < text.count("\n")
    assert max(map(len, printed(found, width=200).splitlines())) <= 100


def test_too_many_bad_pipes_are_said_to_stop_every_plan() -> None:
    text = printed([finding("missing-size", Severity.ERROR)], too_many="More than the rules allow.")
    assert "More than the rules allow." in text
    assert "take the pipe as not live" not in text


def check(
    folder: Path, changed: dict[str, dict[str, Any]], *more: object, **env: str
) -> subprocess.CompletedProcess[str]:
    """Run the command line with its output in a pipe."""
    network = folder / "town.gpkg"
    write_layers(aside_layers(changed), network)
    command = [sys.executable, "-m", "netplan", "check", str(network), *map(str, more)]
    environment = {**os.environ, **env}
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)  # noqa: S603


@pytest.mark.parametrize("env", [{"COLUMNS": "80"}, {"COLUMNS": ""}, {"TERM": "dumb"}])
def test_the_command_says_what_stops_which_plan(tmp_path: Path, env: dict[str, str]) -> None:
    report, layer = tmp_path / "f.json", tmp_path / "f.gpkg"
    done = check(tmp_path, {"B4": NO_SIZE, "S44": NO_SIZE}, "--json", report, "--layer", layer, **env)
    assert done.returncode == 2
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "2 errors stop plans near; plans far from it are still made" in done.stderr
    assert re.search(r"2  stops only plans near it +2\n", done.stdout)
    told = json.loads(report.read_text())
    assert {row["group"] for row in told if row["severity"] == "error"} == {"plans-near"}
    assert {row["group"] for row in told} <= {group.value for group in Group}
    assert list(geopandas.read_file(layer, layer="findings")["group"]) == [row["group"] for row in told]


def test_the_command_says_when_there_are_too_many(tmp_path: Path) -> None:
    done = check(tmp_path, {f"B{k}": NO_SIZE for k in range(5)})
    assert done.returncode == 2
    assert "5 of 19 mains have no usable size" in " ".join(done.stdout.split())
    assert "errors stop every plan" in done.stderr


def test_the_command_says_what_stops_every_plan(tmp_path: Path) -> None:
    done = check(tmp_path, {"B4": NO_SIZE, "B3": {"id": "B2"}})
    assert done.returncode == 2
    assert "1 error stops every plan" in done.stderr
    assert "1  stops every plan" in done.stdout


def test_a_sound_town_stops_nothing(tmp_path: Path) -> None:
    done = check(tmp_path, {})
    assert (done.returncode, done.stderr) == (0, "")


def test_the_summary_of_a_plan_groups_its_findings() -> None:
    plan = read_plan(sample_plan())
    rows = [
        FindingRow(code=code, severity=severity, layer="mains", feature_id="M1", what="is so", mend="mend it")
        for code, severity in (("crossing", "note"), ("odd-year", "warning"), ("near-miss", "warning"))
    ]
    screen = Console(file=io.StringIO(), width=80, highlight=False)
    print_summary(plan.model_copy(update={"findings": tuple(rows)}), screen)
    text = screen.file.getvalue()  # type: ignore[attr-defined]
    places = [
        text.index(words)
        for words in ("can make a list of customers wrong: 1", "figures wrong: 1", "notes: 1")
    ]
    assert places == sorted(places)


def test_commands_that_print_no_findings_say_what_was_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = aside_layers()
    layers["mains"]["remark"] = "seen"
    layers["customers"]["Priorty"] = "hospital"
    network, plan = tmp_path / "town.gpkg", tmp_path / "plan"
    write_layers(layers, network)
    quick = ("--no-pressure", "--no-places")
    said = {
        "screen": _said(monkeypatch, capsys, "screen", network, *quick, "--out", tmp_path / "screen"),
        "stage": _said(monkeypatch, capsys, "stage", network, "--main", "B1", "--out", tmp_path / "stages"),
    }
    shutil.copytree(sample_plan(), plan)
    told = json.loads((plan / "plan.json").read_text())
    what = "column Priorty is not read; it looks like priority"
    row = {"code": "column-not-read", "layer": "customers", "feature_id": "", "severity": "warning"}
    told["findings"].append({**row, "what": what, "mend": "rename it"})
    (plan / "plan.json").write_text(json.dumps(told))
    said["bypass"] = _said(monkeypatch, capsys, "bypass", plan)
    for command, text in said.items():
        assert "Not read, or read under another name" in text, command
        assert "Priorty" in text, command
    assert "remark" in said["screen"]
    assert "Not read" not in _said(monkeypatch, capsys, "bypass", sample_plan())


def _said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    """Return what the command line prints, in one line."""
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        main()
    assert not left.value.code
    return " ".join(capsys.readouterr().out.split())

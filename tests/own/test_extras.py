"""Packages of extras: asked for before they are used, refused in one line, needed by no plan."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

import netplan
from netplan.core.extras import EXTRAS, MissingExtraError, has_extra, require_extra
from netplan.outputs.charts.chart_format import new_chart
from netplan.readers import open_source, write_layers
from tests.own.test_cli import _layers
from tests.own.test_cli_refused import refused

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
PACKAGES = sorted({package for packages in EXTRAS.values() for package in packages})


def _installed_by(extra: str) -> set[str]:
    return {Requirement(text).name for text in PROJECT["optional-dependencies"][extra]}


def _without(monkeypatch: pytest.MonkeyPatch, extra: str) -> None:
    for package in EXTRAS[extra]:
        monkeypatch.setitem(sys.modules, package, None)


def test_the_extras_are_those_of_the_package() -> None:
    for extra, packages in EXTRAS.items():
        assert _installed_by(extra) == set(packages)
        assert has_extra(extra)
        require_extra(extra, "A test")
    (every,) = PROJECT["optional-dependencies"]["all"]
    assert Requirement(every).extras == set(EXTRAS)
    assert "all" in Requirement(PROJECT["optional-dependencies"]["test"][0]).extras
    needed = {Requirement(text).name for text in PROJECT["dependencies"]}
    assert not needed & set(PACKAGES)


@pytest.mark.parametrize("extra", sorted(EXTRAS))
def test_one_line_says_which_extra_to_install(extra: str, monkeypatch: pytest.MonkeyPatch) -> None:
    _without(monkeypatch, extra)
    assert not has_extra(extra)
    with pytest.raises(MissingExtraError) as error:
        require_extra(extra, "What is asked")
    assert str(error.value).startswith(f"What is asked needs {EXTRAS[extra][0]}")
    assert f'pip install "gas-netplan[{extra}]"' in str(error.value)
    assert error.value.exit_code == 2


def test_commands_refuse_what_needs_an_extra(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    street = write_layers(_layers(), tmp_path / "street.gpkg")
    _without(monkeypatch, "cluster")
    for more in (("--workers", "2"), ("--scheduler", "tcp://127.0.0.1:1")):
        said = refused(monkeypatch, capsys, "screen", street, "--out", tmp_path / "screen", *more)
        assert "gas-netplan[cluster]" in said
    _without(monkeypatch, "charts")
    work = ("--main", "M1", "--from", "95", "--to", "105", "--out", tmp_path / "plan")
    said = refused(monkeypatch, capsys, "plan", street, *work, "--charts", tmp_path / "pictures")
    assert "gas-netplan[charts]" in said
    with pytest.raises(MissingExtraError, match="charts"):
        new_chart("Drop")
    _without(monkeypatch, "database")
    said = refused(monkeypatch, capsys, "check", "postgresql://127.0.0.1/gas?schema=gas")
    assert "gas-netplan[database]" in said
    with pytest.raises(MissingExtraError, match="database"):
        open_source("postgres://127.0.0.1/gas")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["street.gpkg"]


def test_a_graph_for_networkx_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    network = netplan.read_network(write_layers(_layers(), tmp_path / "street.gpkg"))
    _without(monkeypatch, "graph")
    with pytest.raises(MissingExtraError, match=r"gas-netplan\[graph\]"):
        netplan.network_graph(network)


_WITHOUT = """
import json, sys
packages, commands = (json.loads(text) for text in sys.argv[1:])
sys.modules.update(dict.fromkeys(set(packages) - {"numba"}))
from netplan.cli import main
for arguments in commands:
    if arguments[0] == "screen":
        if "numba" in sys.modules:
            raise SystemExit("the compiler is loaded for a plan")
        sys.modules["numba"] = None
    sys.argv[1:] = arguments
    try:
        main()
    except SystemExit as left:
        if left.code:
            raise
"""
"""Runs commands one after the other as if packages were not installed; the compiler is, until the screen."""


def test_plans_and_screens_are_made_without_any_extra(tmp_path: Path) -> None:
    street = write_layers(_layers(), tmp_path / "street.gpkg")
    commands = [
        ["plan", str(street), "--main", "M1", "--from", "95", "--to", "105", "--out", str(tmp_path / "plan")],
        ["screen", str(street), "--out", str(tmp_path / "screen")],
    ]
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", _WITHOUT, json.dumps(PACKAGES), json.dumps(commands)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "plan" / "work_pack.pdf").stat().st_size > 10_000
    assert (tmp_path / "screen").is_dir()

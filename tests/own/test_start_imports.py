"""A command loads what it uses when it uses it: which packages each call imports (own).

Packages that this one asks for by name are held; what they bring along is theirs.
"""

from __future__ import annotations

import inspect
import json
import os
import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
import typer

import netplan
from netplan.cli import app as application
from netplan.cli.sample import sample_network
from netplan.cli.screen import FIGURES
from netplan.outputs.work_day.log_file import WORK_DAY_LOG
from netplan.planfile.plan_json import plan_digest, read_plan
from netplan.screening.screen_columns import SCHEMA

ROOT = Path(netplan.__file__).parent.parent
SAVED = Path(__file__).parent / "plans" / "0.1.0"
ENDS_WITH = "imported:"
MOMENT = "2027-03-09T07:00:00.000+01:00"
PROGRAM = f"""
import atexit, sys

def tell():
    names = {{name.split(".")[0] for name in sys.modules}}
    parts = sorted(name for name in sys.modules if name.startswith("netplan."))
    print("{ENDS_WITH}", *sorted(names), *parts, file=sys.stderr)

atexit.register(tell)
from netplan.__main__ import main
main()
"""
FIRST_ANSWER = PROGRAM.replace(
    "atexit.register(tell)",
    """
class Sheet:
    @staticmethod
    def find_spec(name, path=None, target=None):
        if name == "netplan.outputs.emergency.emergency_sheet":
            import os
            tell()
            sys.stderr.flush()
            os._exit(0)

sys.meta_path.insert(0, Sheet)
""",
)
"""Until the first answer is written: the sheet comes next."""

# typer itself loads pydantic for every value of an option, and older ones load rich.
START = {"typer", "pydantic", "rich"}
ARRAYS = {*START, "numpy", "pandas", "pint", "pyarrow", "pyproj", "scipy", "shapely"}
READING = {*ARRAYS, "geopandas", "pyogrio"}
EXPLAINING = {*READING, "qdldl"}
PLANNING = {*EXPLAINING, "branca", "folium", "xlsxwriter"}

WORK = ("--main", "M0142", "--from", "158", "--to", "162")
TOWN = str(sample_network())

REFUSED: list[tuple[tuple[str, ...], str]] = [
    (("plam",), "No such command"),
    (("plan", "--nothing"), "No such option"),
    (("plan", TOWN, *WORK, "--out", "p", "--max-stops", "0"), "--max-stops"),
    (("plan", TOWN, *WORK, "--out", "p", "--max-stops", "some"), "--max-stops"),
    (("plan", "nowhere.gpkg", *WORK, "--out", "p"), "no such file or folder"),
    (
        ("plan", "nowhere.gpkg", "--main", "M1", "--from", "3 ft", "--to", "9 ft", "--out", "p"),
        "no such file",
    ),
    (("plan", TOWN, *WORK, "--out", "nowhere/p"), "nowhere"),
    (("record", "nowhere", "log.json"), "nowhere/plan.json: cannot be read"),
    (("recheck", str(SAVED), "nowhere.gpkg"), "nowhere.gpkg: no such file or folder"),
    (("recheck", "nowhere", TOWN), "nowhere/plan.json: cannot be read"),
    (("record", str(SAVED), "nowhere.json"), "nowhere.json: cannot be read"),
    (("record", str(SAVED), str(SAVED / "plan.json")), "known kinds: gas-netplan/work-day-log/1"),
    (("plan", TOWN, *WORK, "--out", "p", "--rules", "nowhere.toml"), "nowhere.toml: cannot be read"),
    (("plan", TOWN, *WORK, "--out", "p", "--mapping", "nowhere.toml"), "nowhere.toml: cannot be read"),
    (("plan", TOWN, *WORK, "--out", "p", "--keep-out", "nowhere.geojson"), "is no file"),
    (("plan", TOWN, "--area", "nowhere.geojson", "--out", "p"), "is no file"),
    (("plan", TOWN, "--out", "p"), "give --main with --from and --to"),
    (("plan", TOWN, "--main", "M0142", "--from", "158", "--out", "p"), "needs --from and --to"),
    (("plan", TOWN, "--main", "M0142", "--from", "ten", "--to", "20", "--out", "p"), "cannot read 'ten'"),
    (("plan", TOWN, "--main", "M0142", "--from", "-1", "--to", "20", "--out", "p"), "below zero"),
    (("plan", TOWN, "--main", "M0142", "--from", "162", "--to", "158", "--out", "p"), "has no length"),
    (("plan", TOWN, *WORK, "--and-main", "M1:2", "--out", "p"), "is not ID:FROM:TO"),
    (("plan", TOWN, "--at", "7", "--length", "4", "--out", "p"), "is not LON,LAT"),
    (("plan", TOWN, "--at", "7,148", "--length", "4", "--out", "p"), "is not on earth"),
    (("plan", TOWN, "--at", "7,48", "--out", "p"), "no --length"),
    (("plan", TOWN, "--at", "7,48", "--length", "0", "--out", "p"), "not above zero"),
    (("plan", TOWN, *WORK, "--force", "M1:x", "--out", "p"), "--force: cannot read 'x'"),
    (("plan", TOWN, *WORK, "--out", "p", "--hours", "lots"), "--hours: cannot read"),
    (("plan", TOWN, *WORK, "--out", "p", "--hours", "-3"), "--hours -3: not between"),
    (("plan", TOWN, *WORK, "--out", "p", "--air-temp", "-80"), "no air temperature"),
    (("plan", TOWN, *WORK, "--out", "p", "--start", "tomorrow"), "no ISO date"),
    (("plan", TOWN, *WORK, "--out", "p", "--units", "imperial"), "use metric or us"),
    (("plan", TOWN, *WORK, "--out", "p", "--language", "zz"), "there are no words for 'zz'"),
    (("plan", TOWN, *WORK, "--out", "p", "--tiles", "no"), "is no address pattern"),
    (("plan", TOWN, *WORK, "--out", "p", "--charts", "nowhere/charts"), "is no folder"),
    (("check", "nowhere.gpkg"), "no such file or folder"),
    (("check", TOWN, "--mend", "m.gpkg", "--snap", "5"), "--snap: 5 m is not above 0 and at most 2 m"),
    (("check", TOWN, "--mend", "m.gpkg", "--snap", "0"), "--snap: 0 m is not above 0"),
    (("check", TOWN, "--snap", "far"), "--snap: cannot read"),
    (("map-columns", "nowhere"), "no such file or folder"),
    (("screen", "nowhere", "--out", "s"), "no such file or folder"),
    (("screen", TOWN, "--out", "s", "--by", "luck"), "is no figure"),
    (("screen", TOWN, "--out", "s", "--work", "half"), "write middle or whole"),
    (("screen", TOWN, "--out", "s", "--length", "0"), "cannot be"),
    (("stage", "nowhere", "--main", "M1", "--out", "s"), "no such file or folder"),
    (("stage", TOWN, "--out", "s"), "give --street, or --main"),
    (("bypass", "nowhere"), "give a plan folder"),
    (("bypass", str(SAVED), "--hose-length", "-3"), "--hose-length -3: not between"),
    (("compare", "nowhere", "nowhere"), "give a plan folder"),
    (("explain", "nowhere", "pressure:S1"), "give a plan folder"),
    (("papers", "nowhere", "--out", "p"), "give a plan folder"),
    (("rules", "--check", "nowhere.toml"), "cannot be read"),
]


def _asked_for() -> dict[str, str]:
    """Return the import names of the packages that pyproject.toml asks for, with the name it gives."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [
        *project["dependencies"],
        *(x for group in project["optional-dependencies"].values() for x in group),
    ]
    names = {_plain(re.split(r"[^A-Za-z0-9_-]", line)[0]) for line in lines} - {"gas_netplan"}
    return {
        module: _plain(given[0])
        for module, given in packages_distributions().items()
        if names & set(map(_plain, given))
    }


def _plain(name: str) -> str:
    return name.lower().replace("-", "_")


def _call(
    folder: Path, *arguments: str, code: int = 0, program: str = PROGRAM
) -> tuple[set[str], set[str], str]:
    """Run a call; return the packages asked for that it imported, our own modules, and what it said."""
    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", program, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == code, done.stderr[-2000:]
    said, _, names = done.stderr.rpartition(ENDS_WITH)
    imported = set(names.split())
    # A path file of the package of the map's pictures names its folder at every start of Python.
    packages = (imported & set(_asked_for())) - {"xstatic"}
    return packages, {name for name in imported if name.startswith("netplan.")}, said


def test_the_packages_that_are_held_are_found() -> None:
    assert {"numpy", "pint", "geopandas", "dask", "numba", "typst", "rich", "psycopg"} <= set(_asked_for())


@pytest.mark.parametrize(
    "arguments", [("--version",), ("--help",), *((name, "--help") for name in application.COMMANDS)]
)
def test_help_and_version_load_no_work(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    packages, ours, _ = _call(tmp_path, *arguments)
    assert packages <= START
    assert not {
        name for name in ours if name.split(".")[1] in ("planning", "hydraulics", "readers", "screening")
    }


@pytest.mark.parametrize(
    ("arguments", "says"), REFUSED, ids=[" ".join(a[:1] + a[2:])[:60] for a, _ in REFUSED]
)
def test_what_is_mistyped_is_refused_before_anything_large_is_loaded(
    tmp_path: Path, arguments: tuple[str, ...], says: str
) -> None:
    packages, _, said = _call(tmp_path, *arguments, code=2)
    assert says in said
    assert packages <= START
    assert list(tmp_path.iterdir()) == []


def test_a_command_imports_what_it_uses(tmp_path: Path) -> None:
    checked, _, _ = _call(tmp_path, "check", TOWN)
    assert checked <= {*READING, "qdldl"}
    quick = ("--no-papers", "--no-weather", "--options", "1")
    planned, ours, _ = _call(tmp_path, "plan", TOWN, *WORK, *quick, "--out", "plan")
    assert planned <= PLANNING
    assert not {name for name in ours if name.startswith("netplan.readers.mapping")}
    assert {"folium", "qdldl"} <= planned  # the list is no longer than what is used
    listed, _, _ = _call(tmp_path, "explain", "plan")
    assert listed <= {*EXPLAINING} - {"pyogrio"}
    explained, _, _ = _call(tmp_path, "explain", "plan", "pressure:S1")
    assert explained <= EXPLAINING
    digest = plan_digest(read_plan(tmp_path / "plan"))
    day = {"kind": WORK_DAY_LOG, "plan_sha256": digest, "option": 1, "entries": [], "exported": MOMENT}
    (tmp_path / "log.json").write_text(json.dumps(day), encoding="utf-8")
    recorded, ours, _ = _call(tmp_path, "record", "plan", "log.json")
    assert recorded <= {*EXPLAINING} - {"pyogrio"}
    assert not {name for name in ours if name.split(".")[1] in ("planning", "readers", "explain")}
    shipped, _, _ = _call(tmp_path, "rules")
    assert shipped <= START


def test_the_first_answer_of_an_emergency_loads_no_flow_and_no_paper(tmp_path: Path) -> None:
    hit = ("--main", "M0123", "--at-m", "100")
    packages, ours, said = _call(tmp_path, "emergency", TOWN, *hit, "--out", "hit", program=FIRST_ANSWER)
    assert said == ""
    assert (tmp_path / "hit" / "emergency.json").exists()
    assert packages <= READING
    assert not {
        name for name in ours if name.split(".")[1] in ("planning", "hydraulics", "demand", "feeds", "gas")
    }


def test_every_command_is_in_the_help_by_its_own_docstring() -> None:
    group: Any = typer.main.get_command(application.app)
    context = typer.Context(group)
    assert group.list_commands(context) == list(group.commands) == list(application.COMMANDS)
    modules = {
        path.stem for path in (ROOT / "netplan" / "cli").glob("*.py") if "\ndef command(" in path.read_text()
    }
    assert {module.rpartition(".")[2] for module in application.COMMANDS.values()} == modules
    said = " ".join(group.get_help(context).split())
    for name in application.COMMANDS:
        command = group.get_command(context, name)
        assert command.help == inspect.getdoc(command.callback)
        assert f" {name} {command.get_short_help_str(20).removesuffix('...').strip()}" in said
    assert group.get_command(context, "nothing") is None


def test_a_screen_is_ranked_by_columns_of_numbers() -> None:
    for name in FIGURES:
        kind = SCHEMA.field(name).type
        assert pa.types.is_integer(kind) or pa.types.is_floating(kind), name

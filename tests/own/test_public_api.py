"""The library as people import it: names, docstrings, examples, and sources of every number (own)."""

from __future__ import annotations

import ast
import csv
import doctest
import importlib
import inspect
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import netplan
from netplan.core.sources import How, sources
from netplan.rules import default_rules_text
from tests.support.sample_plan import sample_plan

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "netplan"
PUBLIC = [name for name in netplan.__all__ if name not in ("__version__", "SAMPLE_WORK")]
WORDS = {str(how) for how in How}
EXAMPLES = tuple(
    f"netplan.library.{name}"
    for name in ("plan_folders", "network_export", "check_and_plan", "sample_network")
)
LEAST_EXAMPLES = 16


def test_importing_the_package_fetches_nothing() -> None:
    code = (
        "import sys, netplan, netplan.__main__; "
        "print([m for m in ('numpy', 'geopandas', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_there_and_listed() -> None:
    for name in netplan.__all__:
        assert getattr(netplan, name) is not None
    assert dir(netplan) == sorted(netplan.__all__)
    with pytest.raises(AttributeError, match="no attribute 'no_such_name'"):
        _ = netplan.no_such_name


@pytest.mark.parametrize("name", PUBLIC)
def test_public_docstrings_are_whole(name: str) -> None:
    thing = getattr(netplan, name)
    text = inspect.getdoc(thing) or ""
    assert text.partition("\n")[0].endswith("."), name
    takes = _signature_names(thing)
    if takes:
        assert _documented(text) == takes, name
    if not inspect.isclass(thing) and takes:
        assert "Raises\n------" in text, name


@cache
def _network() -> Any:
    return netplan.read_network(netplan.sample_town())


def test_examples_in_docstrings_run_on_the_sample() -> None:
    ran = 0
    for name in EXAMPLES:
        module = importlib.import_module(name)
        given = {"netplan": netplan, "network": _network(), "folder": sample_plan()}
        result = doctest.testmod(module, extraglobs=given, report=True)
        assert result.failed == 0, name
        ran += result.attempted
    assert ran >= LEAST_EXAMPLES


def _signature_names(thing: Any) -> list[str]:
    parameters = inspect.signature(thing).parameters.values()
    return [p.name for p in parameters if p.name not in ("self", "cls")]


def _documented(text: str) -> list[str]:
    """Return the names in the Parameters section of a numpydoc docstring, in order."""
    found = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, re.M | re.S)
    if found is None:
        return []
    names: list[str] = []
    for line in found[1].splitlines():
        if line and not line[0].isspace():
            names += [part.strip().lstrip("*") for part in line.partition(" : ")[0].split(",")]
    return names


def _defined() -> list[tuple[str, str, list[str]]]:
    """Return place, docstring and parameters of every public function and class of the package."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(ROOT).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            text = inspect.cleandoc(ast.get_docstring(node) or "")
            found.append((f"{where}:{node.name}", text, _takes(node)))
    return found


def _takes(node: ast.FunctionDef | ast.ClassDef) -> list[str]:
    if isinstance(node, ast.ClassDef):
        starts = [n for n in node.body if isinstance(n, ast.FunctionDef) and n.name == "__init__"]
        if not starts:
            fields = [n.target for n in node.body if isinstance(n, ast.AnnAssign)]
            return [target.id for target in fields if isinstance(target, ast.Name)]
        node = starts[0]
    arguments = [*node.args.posonlyargs, *node.args.args, node.args.vararg]
    every = [a.arg for a in (*arguments, *node.args.kwonlyargs, node.args.kwarg) if a is not None]
    return [name for name in every if name not in ("self", "cls")]


def test_no_docstring_documents_a_parameter_that_is_not_there() -> None:
    wrong, seen = [], 0
    for where, text, takes in _defined():
        names = _documented(text)
        seen += bool(names)
        extra = [name for name in names if name not in takes]
        if extra:
            wrong.append(f"{where}: {extra}")
    assert not wrong
    assert seen > 200


def test_every_source_key_of_a_table_exists() -> None:
    seen: set[str] = set()
    for path in sorted(PACKAGE.rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(line for line in file if not line.startswith("#")):
                cells = [cell or "" for name, cell in row.items() if str(name).endswith("source")]
                seen |= {f"{path.name}: {key}" for cell in cells for key in cell.split(";") if key}
    assert [row for row in sorted(seen) if row.partition(": ")[2] not in sources()] == []
    assert len(seen) > 25


def test_every_source_key_in_code_exists() -> None:
    """Docstrings name sources as ``(source: key)``, ``Source: key``, or call ``source("key")``."""
    unknown, seen = [], 0
    for path in sorted(PACKAGE.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        found = re.findall(r"\((?:source|sources): ([a-z_0-9, ]+?)\)", text)
        found += re.findall(r"^\s*Sources?: ([a-z][\w, ]+?)[.;,]", text, re.M)
        found += re.findall(r"source(?:_line)?\(\"(\w+)\"\)", text)
        for keys in found:
            first = [key.strip() for key in keys.split(",")]
            seen += 1
            unknown += [
                f"{path.name}: {key}" for key in first if key not in sources() and " " not in key and key
            ]
    assert not unknown
    assert seen > 15


def test_every_value_of_the_shipped_rules_says_where_it_comes_from() -> None:
    bare, seen = [], 0
    for line in default_rules_text().splitlines():
        if " = " not in line.partition("#")[0] or line.lstrip().startswith(("#", "{")):
            continue
        seen += 1
        note = line.rpartition("# ")[2]
        origin = note.partition("] ")[2]
        known = any(origin.startswith(word) for word in WORDS) or any(
            origin.startswith(key) for key in sources()
        )
        if not known:
            bare.append(line.strip())
    assert not bare
    assert seen > 80


def test_every_source_is_used_somewhere() -> None:
    text = "\n".join(
        path.read_text(encoding="utf-8")
        for path in sorted(PACKAGE.rglob("*"))
        if path.suffix in (".py", ".csv", ".toml") and path.name != "sources.toml"
    )
    idle = [key for key in sources() if not re.search(rf"\b{key}\b", text)]
    # A worked gas that tables are checked against, no value of which is used.
    assert idle in ([], ["aga_5"])

"""Count the assertions that tests pass, and those that stand in a tree; a test that passes none of its own fails.

    pytest -p tests.counted_asserts -o enable_assertion_pass_hook=true tests/laws tests/outside tests/own
    python -m tests.counted_asserts TREE [NEWER]

The first runs the tests and says for each folder how many ran, how many passed no assertion at all, how many
assertions were passed, from how many places, and which places were never come by. Behind a command of its own: to keep
every passed assertion in words takes longer than the tests do. Calls of `numpy.testing`, `pandas.testing`,
`pytest.raises` and `pytest.warns` count, and so do assertions of the helpers of tests.

The second runs nothing: it counts the test functions, assertions and such calls in the files of one tree or two, and
names the tests of the first that the second has no more, or with fewer assertions.
"""

from __future__ import annotations

import ast
import functools
import importlib
import inspect
import sys
import textwrap
from collections import Counter, defaultdict
from collections.abc import Generator, Iterable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = ("laws", "outside", "own")
TESTING = (
    "assert_allclose",
    "assert_array_equal",
    "assert_array_almost_equal",
    "assert_array_less",
    "assert_equal",
)
FRAMES = ("assert_frame_equal", "assert_series_equal", "assert_index_equal")
HELPERS = (
    "compared",
    "aside_towns",
    "support",
    "whole_plan",
    "list_safety",
    "first_hour",
    "golden",
    "planted",
)


class _Count:
    """Passed assertions of every test, and of every place in the source."""

    def __init__(self) -> None:
        self.tests: Counter[str] = Counter()
        self.sites: Counter[tuple[str, int]] = Counter()
        self.ran: set[str] = set()
        self.current = ""

    def add(self, frame: FrameType | None, line: int | None = None) -> None:
        """Count one passed assertion of the running test, at the place where a frame stands."""
        self.tests[self.current] += 1
        if frame is not None:
            self.sites[frame.f_code.co_filename, line or frame.f_lineno] += 1

    def as_data(self) -> tuple[list[Any], list[Any], list[str]]:
        """Return plain data that one process can hand to another."""
        return list(self.tests.items()), list(self.sites.items()), sorted(self.ran)

    def take(self, tests: list[Any], sites: list[Any], ran: list[str]) -> None:
        """Add what another process counted."""
        self.tests.update(dict(tests))
        self.sites.update({tuple(place): count for place, count in sites})
        self.ran.update(ran)

    def places(self) -> set[str]:
        """Return the places in the files of tests where an assertion was passed."""
        found = {(Path(file), line) for file, line in self.sites}
        return {f"{f.relative_to(ROOT).as_posix()}:{n}" for f, n in found if f.is_relative_to(ROOT / "tests")}


_count = _Count()


def pytest_configure(config: pytest.Config) -> None:
    """Count the assertions of helpers too, and the calls that assert without the word."""
    pytest.register_assert_rewrite(*(f"tests.{name}" for name in HELPERS))
    for module, names in (
        ("numpy.testing", TESTING),
        ("pandas.testing", FRAMES),
        ("pytest", ("raises", "warns")),
    ):
        holder = importlib.import_module(module)
        for name in names:
            setattr(holder, name, _counting(getattr(holder, name)))


def _counting(function: Any) -> Any:
    @functools.wraps(function)
    def called(*args: Any, **kwargs: Any) -> Any:
        result = function(*args, **kwargs)
        _count.add(sys._getframe(1))
        return result

    return called


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """Run a test; fail it where it has assertions and came by none of them."""
    _count.current = item.nodeid
    result = yield
    _count.ran.add(item.nodeid)
    function = getattr(item, "function", None)
    if not _count.tests[item.nodeid] and function is not None and _asserts(function):
        pytest.fail("it passed without a single assertion: its cases say nothing")
    return result


def pytest_assertion_pass(item: pytest.Item, lineno: int, orig: str, expl: str) -> None:
    """Count an assertion that holds."""
    frame: FrameType | None = sys._getframe(1)
    while frame is not None and frame.f_code.co_name != "_call_assertion_pass":
        frame = frame.f_back
    _count.add(frame.f_back if frame is not None else None, lineno)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hand what a process of several counted to the one that prints."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["counted_asserts"] = _count.as_data()


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any, error: Any) -> None:
    """Take what another process counted."""
    _count.take(*getattr(node, "workeroutput", {}).get("counted_asserts", ([], [], [])))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Print the counts of every folder, the tests without any assertion and the places never come by."""
    write = terminalreporter.write_line
    if not _count.ran:
        return
    places = _count.places()
    never = sorted(_sites_of({name.partition("::")[0] for name in _count.ran}) - places, key=_place)
    rows = []
    for folder in (*FOLDERS, "all"):
        ran = [name for name in _count.ran if folder in ("all", _folder(name))]
        sites = [name for name in places if folder in ("all", _folder(name))]
        missed = [name for name in never if folder in ("all", _folder(name))]
        silent = sum(not _count.tests[name] for name in ran)
        passed = sum(_count.tests[name] for name in ran)
        rows.append((folder, len(ran), silent, passed, len(sites), len(missed)))
    head = (
        "folder",
        "tests",
        "of them without an assertion",
        "assertions passed",
        "places",
        "places not come by",
    )
    for line in _table(head, rows):
        write(line)
    for name in sorted(name for name in _count.ran if not _count.tests[name]):
        write(f"without an assertion: {name}")
    for name in never:
        write(f"not come by: {name}")


def _sites_of(files: Iterable[str]) -> set[str]:
    """Return the places of all assert statements in files that ran."""
    found = set()
    for file in files:
        tree = ast.parse((ROOT / file).read_text("utf-8"))
        found |= {f"{file}:{node.lineno}" for node in ast.walk(tree) if isinstance(node, ast.Assert)}
    return found


def _place(site: str) -> tuple[str, int]:
    file, _, line = site.rpartition(":")
    return file, int(line)


def _folder(name: str) -> str:
    parts = name.partition("::")[0].split("/")
    return parts[1] if len(parts) > 2 else "files of tests"


def _asserts(function: Any) -> bool:
    function = getattr(getattr(function, "hypothesis", None), "inner_test", function)
    tree = ast.parse(textwrap.dedent(inspect.getsource(inspect.unwrap(function))))
    return any(isinstance(node, ast.Assert) for node in ast.walk(tree))


def standing(tree: Path) -> dict[str, dict[str, int]]:
    """Count what stands in the files of a tree.

    Parameters
    ----------
    tree : Path
        A working copy.

    Returns
    -------
    dict of str to dict of str to int
        For each folder of tests, the number of assertions of each test function; those of everything else in the folder
        under the empty name. Test functions of one name in one folder are added up.
    """
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for file in sorted((tree / "tests").rglob("*.py")):
        parts = file.relative_to(tree / "tests").parts
        folder = parts[0] if parts[0] in (*FOLDERS, "benchmarks") else "helpers"
        whole = ast.parse(file.read_text("utf-8"))
        tests = [
            node
            for node in ast.walk(whole)
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and folder in FOLDERS
        ]
        counts = Counter({node.name: 0 for node in tests})
        for node in tests:
            counts[node.name] += _assertions(node)
        counts[""] = _assertions(whole) - counts.total()
        for name, count in counts.items():
            found[folder][name] = found[folder].get(name, 0) + count
    return found


def _assertions(tree: ast.AST) -> int:
    """Count assert statements, and calls that assert."""
    return sum(isinstance(node, ast.Assert) or _is_asserting_call(node) for node in ast.walk(tree))


def _is_asserting_call(node: ast.AST) -> bool:
    if not isinstance(node, ast.Call):
        return False
    name = ast.unparse(node.func).rpartition(".")[2]
    return name in ("raises", "warns", "compared") or name in TESTING or name in FRAMES


def _table(head: Iterable[str], rows: Iterable[Iterable[Any]]) -> list[str]:
    cells = [[str(cell) for cell in row] for row in (head, *rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return [
        "  ".join(
            cell.ljust(w) if not n else cell.rjust(w)
            for n, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in cells
    ]


def main(arguments: list[str]) -> int:
    """Print what stands in one tree or two; return 1 where the second has fewer assertions in a folder of tests."""
    trees = [standing(Path(argument)) for argument in arguments]
    rows: list[tuple[Any, ...]] = []
    for folder in (*FOLDERS, "benchmarks", "helpers"):
        for argument, tree in zip(arguments, trees, strict=True):
            names = tree.get(folder, {})
            own = sum(count for name, count in names.items() if name)
            rows.append((folder, argument, sum(map(bool, names)), own, names.get("", 0)))
    print("\n".join(_table(("folder", "tree", "test functions", "their assertions", "elsewhere"), rows)))
    if len(trees) == 1:
        return 0
    old, new = ({n: c for f in FOLDERS for n, c in tree[f].items() if n} for tree in trees)
    for name, count in sorted(old.items()):
        if name not in new:
            print(f"gone: {name} ({count})")
        elif new[name] < count:
            print(f"fewer: {name} ({count}, now {new[name]})")
    return int(any(sum(b[f].values()) < sum(a[f].values()) for a, b in [trees] for f in FOLDERS))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

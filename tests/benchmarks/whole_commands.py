"""What a whole command costs: ``python -m tests.benchmarks.whole_commands [RUNS] [--before PATH]``.

Writes docs/benchmarks/commands.md: processor seconds of plans of the sample town from the command line, and of
loading alone the packages of others that the call loaded, in the same run. PATH is another checkout, for columns of
its own; golden files (`python -m tests.golden`) say whether both write the same. A second table says how long each
package takes to load within the call (`python -X importtime`), so that what no text of ours can make less is seen.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from netplan.cli.sample import sample_network
from tests.benchmarks.start import OURS, ROOT, least_in_turn, processor_seconds, write_byte_code

OUT = Path(__file__).parents[2] / "docs" / "benchmarks" / "commands.md"
TOWN = str(sample_network())
QUICK: tuple[str, ...] = ("plan", TOWN, "--main", "M0031", "--from", "12", "--to", "18")
QUICK += ("--options", "1", "--no-weather", "--no-papers", "--out", "plan")
NAMES = """
import atexit, sys
def told():
    ours = [m.__name__ for m in list(sys.modules.values()) if hasattr(m, "__name__")]
    other = [n for n in ours if n.partition(".")[0] not in {*sys.stdlib_module_names, "netplan", "__main__"}]
    open(NAMES_TO, "w").write("\\n".join(sorted(set(other))))
atexit.register(told)
"""
LOADED = """
import importlib, sys
for name in open(NAMES_FROM).read().split():
    try:
        importlib.import_module(name)
    except Exception:
        pass
"""


LOADED_LINE = re.compile(r"^import time: +([0-9]+) \| +[0-9]+ \| *(\S+)$", re.MULTILINE)
LONG_S = 0.02
"""Packages that take less to load are added up in one row [s]."""
WHY = """What forbids less, of packages that each do a part of the work and could only be left out by writing it anew:

- geopandas and pandas carry the layers of `plan.gpkg` and of the map, and the streets and buildings of a kept network;
  geopandas loads pyproj, and that `urllib` and `ssl`, before any coordinate is touched.
- scipy carries the sparse matrices of the flow and the connected parts. Its layer for other array packages asks numpy for
  every name that it has, `numpy.f2py` and `numpy.testing` among them, and its connected parts load all of
  `scipy.linalg`; from the GeoPackage its nearest neighbours come on top.
- pyarrow carries the tables of the network; pydantic builds the models of `plan.json` and of the rules at every start, and
  Python the dataclasses.
- typst sets the papers; the work pack draws its own pictures, without matplotlib.
"""


@dataclass(frozen=True)
class Call:
    """A call, what it is, and its wanted processor seconds."""

    what: str
    arguments: tuple[str, ...]
    wanted_s: float
    keeps: bool = False


CALLS = (
    Call("best option, no weather and no papers, from the GeoPackage", QUICK, 2.5),
    Call("the same, from the kept network", QUICK, 1.5, keeps=True),
    Call("the demo: five options, weather, all papers", ("demo",), 6.0),
)


def packages_alone(home: Path, arguments: Sequence[str], runs: int) -> float:
    """Return the least seconds of loading what a call loads of other packages, and nothing else."""
    names = home / "names.txt"
    told = home / "told.py"
    told.write_text(f"NAMES_TO = {str(names)!r}\n{NAMES}\n{OURS}", encoding="utf-8")
    processor_seconds(told, arguments, ROOT)
    loaded = home / "loaded.py"
    loaded.write_text(f"NAMES_FROM = {str(names)!r}\n{LOADED}", encoding="utf-8")
    return min(processor_seconds(loaded, (), ROOT) for _ in range(runs))


def loading_seconds(script: Path, arguments: Sequence[str], runs: int) -> dict[str, float]:
    """Return the least seconds that the modules of each package take to load within a call, ours among them."""
    each: list[Counter[str]] = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run(  # noqa: S603
                [sys.executable, "-X", "importtime", str(script), *arguments],
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                capture_output=True,
                text=True,
                check=True,
            )
        each.append(Counter())
        for microseconds, module in LOADED_LINE.findall(done.stderr):
            package = module.partition(".")[0].removeprefix("_")
            standard = package in sys.stdlib_module_names or module in sys.stdlib_module_names
            each[-1]["the standard library" if standard else package] += int(microseconds)
    return {name: min(times[name] for times in each) / 1e6 for name in each[0]}


def loading_rows(calls: Sequence[Mapping[str, float]]) -> list[str]:
    """Return a row for each package that takes long in some call, longest first, and one for all others."""
    most = {name: max(call.get(name, 0.0) for call in calls) for call in calls for name in call}
    long = sorted((name for name in most if most[name] >= LONG_S), key=lambda name: -most[name])
    rows = [[name, *(f"{call.get(name, 0.0):.3f}" for call in calls)] for name in long]
    others = [sum(s for name, s in call.items() if name not in long) for call in calls]
    rows.append(["all others", *(f"{s:.3f}" for s in others)])
    rows.append(["together", *(f"{sum(call.values()):.2f}" for call in calls)])
    return ["| " + " | ".join(row) + " |" for row in rows]


def table(runs: int, before: Path | None) -> tuple[list[str], list[str]]:
    """Return the rows of both tables: least of `runs` runs of each, taken in turn."""
    rows, loading = [], []
    checkouts = [ROOT] if before is None else [ROOT, before]
    write_byte_code(checkouts)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        ours = home / "ours.py"
        ours.write_text(OURS, encoding="utf-8")
        for call in CALLS:
            kept = [
                (*call.arguments, *(("--cache", str(home / f"kept-{k}")) if call.keeps else ()))
                for k in range(len(checkouts))
            ]
            if call.keeps:
                for arguments, checkout in zip(kept, checkouts, strict=True):
                    processor_seconds(ours, arguments, checkout)
            pairs = zip(kept, checkouts, strict=True)
            least = least_in_turn([partial(processor_seconds, ours, *pair) for pair in pairs], runs)
            cells = [call.what, f"{least[0]:.2f}", f"{call.wanted_s:g}"]
            cells += [f"{packages_alone(home, kept[0], runs):.2f}", *(f"{s:.2f}" for s in least[1:])]
            rows.append("| " + " | ".join(cells) + " |")
            loading.append(loading_seconds(ours, kept[0], runs))
            sys.stderr.write(rows[-1] + "\n")
    return rows, loading_rows(loading)


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="?", type=int, default=7)
    parser.add_argument("--before", type=Path)
    given = parser.parse_args()
    rows, loading = table(given.runs, given.before)
    more = "" if given.before is None else " before |"
    commit = subprocess.run(  # noqa: S603
        ["git", "-C", str(given.before or ROOT), "rev-parse", "--short", "HEAD"],  # noqa: S607
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    OUT.write_text(
        "# Whole commands\n\n"
        f"Made by `python -m tests.benchmarks.whole_commands {given.runs}{' --before PATH' if more else ''}`: "
        f"processor seconds (user and system) on the sample town, the least of {given.runs} runs taken in turn"
        f"{f'; before: {commit}' if more else ''}. Packages alone: loading what the call loads of other packages "
        "and nothing else, which no text of ours can make less.\n\n"
        f"| call | ours [s] | wanted [s] | packages alone [s] |{more}\n|---|--:|--:|--:|{'--:|' if more else ''}\n"
        + "\n".join(rows)
        + "\n\n## Loading, by package\n\n"
        f"Made by the same command: seconds that the modules of each package take to load within the call by "
        f"`python -X importtime`, ours without what they bring along, the least of {given.runs} runs; packages "
        f"below {LONG_S:g} s are added up. They are by the clock, so that a busy machine counts more.\n\n"
        "| package | GeoPackage [s] | kept network [s] | demo [s] |\n|---|--:|--:|--:|\n"
        + "\n".join(loading)
        + "\n\n"
        + WHY,
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()

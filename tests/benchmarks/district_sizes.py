"""How indexing by district and planning from the index grow with the source: seconds and memory of commands.

    python -m tests.benchmarks.district_sizes 1000000 5000000 20000000 --folder /tmp/cities

makes a city of each size (`district_city`), indexes it, and plans on mains drawn all over it, each by the
command that a user gives, in a process of its own. Seconds are of the wall and of the processor, memory is the
greatest of the process. Prints the tables of docs/benchmarks/districts.md, the exponents (slopes of the
logarithms by least squares) and what they give for 100 million pipes. The cities are deleted afterwards.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow.parquet as pq

from tests.benchmarks.district_city import DistrictCity, write_city

QUICK: Final = ("--options", "1", "--no-weather", "--no-papers")
LARGE: Final = 100_000_000
GIB: Final = 2.0**20
MOST_S: Final = 3600
Figures = dict[str, Any]


def measured(*command: str) -> Figures:
    """Run a command; return seconds of wall and processor, greatest memory [GiB] and exit code."""
    begun = time.perf_counter()
    with tempfile.TemporaryFile("w+") as said:
        child = subprocess.Popen(command, stdout=said, stderr=said)  # noqa: S603
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        text = said.read()
    return {
        "wall_s": time.perf_counter() - begun,
        "work_s": usage.ru_utime + usage.ru_stime,
        "memory_gib": usage.ru_maxrss / GIB,
        "code": child.returncode,
        "said": " ".join(text.split()),
    }


def size_of(folder: Path) -> int:
    """Return the bytes of all files below a folder."""
    return sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())


def one_size(n_pipes: int, folder: Path, plans: int, more: tuple[str, ...]) -> Figures:
    """Make, index and plan on one city; return what was measured."""
    source, index, out = folder / "source", folder / "index", folder / "plan"
    begun = time.perf_counter()
    city = DistrictCity(n_pipes)
    write_city(city, source)
    made_s = time.perf_counter() - begun
    program = (sys.executable, "-m", "netplan")
    indexed = measured(*program, "districts", str(source), "--out", str(index))
    if indexed["code"]:
        raise RuntimeError(indexed["said"])
    head = json.loads((index / "districts.json").read_bytes())["body"]
    rng = np.random.default_rng(5)
    rows = []
    for number in range(plans):
        name = str(rng.choice(city.names()))
        mains = pq.read_table(source / name / "mains.parquet", columns=["id"])["id"]
        main = str(mains[int(rng.integers(len(mains)))].as_py())
        work = ("--main", main, "--from", "30", "--to", "34")
        options = ("--districts", str(index), "--out", str(out), "--overwrite")
        row = measured(*program, "plan", str(source), *work, *options, *more)
        plan = json.loads((out / "plan.json").read_bytes()) if row["code"] == 0 else {}
        counts = plan.get("network", {}).get("counts", {})
        where = plan.get("provenance", {}).get("source", "")
        rows.append(
            row
            | {
                "main": main,
                "pipes": counts.get("mains", 0) + counts.get("services", 0),
                "districts": where.count(",") + 1 if where else 0,
            }
        )
        print(f"  plan {number + 1}: {main} {_brief(rows[-1])}", flush=True)  # noqa: T201
        shutil.rmtree(out, ignore_errors=True)
    found = {
        "pipes": sum(one["pipes"] for one in head["districts"]),
        "districts": len(head["districts"]),
        "made_s": made_s,
        "source_gib": size_of(source) / 2**30,
        "index_gib": size_of(index) / 2**30,
        "index": indexed,
        "plans": rows,
    }
    shutil.rmtree(folder)
    return found


def _brief(row: Figures) -> str:
    return (
        f"code {row['code']}, {row['wall_s']:.1f} s ({row['work_s']:.1f} of the processor), "
        f"{row['memory_gib']:.2f} GiB, {row['districts']} districts, {row['pipes']:,} pipes"
        + (f": {row['said'][:200]}" if row["code"] else "")
    )


def table(found: list[Figures]) -> str:
    """Return what was measured, the exponents and the extrapolation as a table in Markdown."""
    found = sorted(found, key=lambda one: one["pipes"])
    pipes = np.array([one["pipes"] for one in found], dtype=float)
    made = [[row for row in one["plans"] if row["code"] in (0, 3)] for one in found]
    rows: list[tuple[str, str, list[float], bool]] = [
        ("districts", "{:,.0f}", [one["districts"] for one in found], True),
        ("source made [s]", "{:.0f}", [one["made_s"] for one in found], True),
        ("source on disk [GiB]", "{:.2f}", [one["source_gib"] for one in found], True),
        ("index made, wall [s]", "{:.0f}", [one["index"]["wall_s"] for one in found], True),
        ("index made, processor [s]", "{:.0f}", [one["index"]["work_s"] for one in found], True),
        ("index made, greatest memory [GiB]", "{:.2f}", [one["index"]["memory_gib"] for one in found], True),
        ("index on disk [GiB]", "{:.2f}", [one["index_gib"] for one in found], True),
    ]
    for words, form, key in (
        ("plan, wall", "{:.1f}", "wall_s"),
        ("plan, processor", "{:.1f}", "work_s"),
        ("plan, greatest memory", "{:.2f}", "memory_gib"),
    ):
        unit = "GiB" if key == "memory_gib" else "s"
        for name, of in (("median", np.median), ("greatest", np.max)):
            values = [float(of([row[key] for row in some])) if some else 0.0 for some in made]
            rows.append((f"{words}, {name} [{unit}]", form, values, True))
    rows.append(("pipes read for a plan, greatest", "{:,.0f}", _most(made, "pipes"), False))
    rows.append(("plans made, none possible", "{:.0f}", [float(len(some)) for some in made], False))
    refused = [float(len(one["plans"]) - len(some)) for one, some in zip(found, made, strict=True)]
    rows.append(("plans refused (--memory 3)", "{:.0f}", refused, False))
    head = ["", *(f"{count:,.0f} pipes" for count in pipes), "exponent", f"{LARGE:,} pipes, extrapolated"]
    lines = [head, ["---"] + ["---:"] * (len(head) - 1)]
    for words, form, values, grows in rows:
        cells = [form.format(value) for value in values]
        slope = _fit(pipes, np.array(values)) if grows and len(pipes) > 1 and min(values) > 0 else None
        more = ["–", "–"] if slope is None else [f"{slope[0]:.2f}", form.format(slope[1])]
        lines.append([words, *cells, *more])
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def _most(made: list[list[Figures]], key: str) -> list[float]:
    return [float(max((row[key] for row in some), default=0)) for some in made]


def _fit(pipes: np.ndarray[Any, Any], values: np.ndarray[Any, Any]) -> tuple[float, float]:
    slope, start = np.polyfit(np.log(pipes), np.log(values), 1)
    return float(slope), float(np.exp(start + slope * np.log(LARGE)))


def main(sizes: list[int], folder: Path, plans: int, *, whole: bool) -> None:
    """Measure every size and print the table."""
    found = []
    for size in sizes:
        print(f"{size:,} pipes", flush=True)  # noqa: T201
        found.append(one_size(size, folder / str(size), plans, () if whole else QUICK))
        one = found[-1]
        print(f"  made {one['made_s']:.0f} s; index {_brief(one['index'] | {'districts': 0, 'pipes': 0})}")  # noqa: T201
    busy = ", ".join(f"{load:.1f}" for load in os.getloadavg())
    print(f"\nPython {platform.python_version()}, {os.cpu_count()} cores, load {busy}\n")  # noqa: T201
    print(table(found))  # noqa: T201


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="+", type=int)
    parser.add_argument("--folder", type=Path, required=True, help="where the cities are made")
    parser.add_argument("--plans", type=int, default=12)
    parser.add_argument("--whole", action="store_true", help="plans as the command makes them by default")
    given = parser.parse_args()
    main(given.sizes, given.folder, given.plans, whole=given.whole)

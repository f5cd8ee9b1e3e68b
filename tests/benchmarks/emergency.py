"""What an emergency answer costs: ``python -m tests.benchmarks.emergency [PIPES] [RUNS] [--city FILE]``.

Writes docs/benchmarks/emergency.md: the sample town and a city of about PIPES pipes (`emergency_city`), each with its
network kept. *Warm* is an answer in a process that has the network and its tables, at the median of places drawn over
the network; *cold* is the whole command, from its start until the answer stands on the screen, and until the first
sheet (PDF) is whole. Seconds of the wall and, behind the stroke, of the processor; the load of the machine is said.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from netplan.cli.sample import sample_network
from tests.benchmarks.start import ROOT, write_byte_code

OUT: Final = Path(__file__).parents[2] / "docs" / "benchmarks" / "emergency.md"
PLACES: Final = 15
LIMITS: Final = {
    "warm": (0.3, 1.0),
    "cold": (2.0, 4.0),
    "sheet": (10.0, 10.0),
}
"""Seconds for the sample town, and for a million pipes."""
LAST_LINE: Final = "Pressures: not solved yet."
PAST: Final = 180.0
"""Nothing is waited for longer [s]."""


@dataclass(frozen=True)
class Took:
    """Seconds of the wall and of the processor."""

    wall: float
    work: float

    def words(self) -> str:
        """Return both."""
        return f"{self.wall:.2f} / {self.work:.2f}"


def warm(path: Path, kept: Path) -> tuple[Took, Took, int]:
    """Return the median and the longest of answers all over a network, its tables ready, and its pipes."""
    from netplan.emergency.answer import first_answer
    from netplan.emergency.hit_places import hits_near, hits_on_main
    from netplan.emergency.kept_tables import tables_for
    from netplan.emergency.next_rings import EmergencyRequest
    from netplan.readers import open_source, read_network
    from netplan.readers.sources.file_limits import UNLIMITED
    from netplan.rules import read_rules

    network = read_network(open_source(path, UNLIMITED), cache=kept, strict=False)
    tables = tables_for(network, read_rules(None), kept)
    request, taken = EmergencyRequest("place", 1, 10.0), []
    rows = np.random.default_rng(7).integers(0, network.pipes.n_mains, PLACES + 1)
    for row in rows.tolist():
        on = hits_on_main(network, network.pipes.id[row], float(network.pipes.length_m[row]) / 2.0)
        start, work = time.perf_counter(), time.process_time()
        hits = hits_near(tables.boxes, on.x_m, on.y_m, 10.0, "place")
        first_answer(tables, hits, request)
        taken.append(Took(time.perf_counter() - start, time.process_time() - work))
    # The first one works out what the others find ready.
    ordered = sorted(taken[1:], key=lambda took: took.wall)
    return ordered[len(ordered) // 2], ordered[-1], len(network.pipes)


def cold(path: Path, kept: Path, main: str, out: Path) -> tuple[Took, float, float]:
    """Run the command; return the time to the answer on the screen, to the first sheet, and to its end [s]."""
    words = ["emergency", str(path), "--main", main, "--at-m", "40", "--out", str(out), "--cache", str(kept)]
    start = time.perf_counter()
    child = subprocess.Popen(  # noqa: S603
        [sys.executable, "-m", "netplan", *words],
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        text=True,
    )
    if child.stdout is None:
        raise RuntimeError("no output of the command")
    shown, work = np.nan, np.nan
    for line in child.stdout:
        if line.startswith(LAST_LINE):
            shown, work = time.perf_counter() - start, _processor_s(child.pid)
            break
    sheet = out / "emergency.pdf"
    while not sheet.exists() and child.poll() is None and time.perf_counter() - start < PAST:
        time.sleep(0.01)
    printed = time.perf_counter() - start
    child.stdout.read()
    if child.wait():
        raise RuntimeError(f"{' '.join(words)}: ended with {child.returncode}")
    return Took(shown, work), printed, time.perf_counter() - start


def _processor_s(pid: int) -> float:
    """Return user and system seconds of a process that is running, as Linux tells them."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measured(name: str, path: Path, kept: Path, main: str, runs: int, limits: int) -> list[str]:
    """Return the rows of one network."""
    with tempfile.TemporaryDirectory() as folder:
        cold(path, kept, main, Path(folder) / "first")  # keeps network and tables
        found = [cold(path, kept, main, Path(folder) / f"run{k}") for k in range(runs)]
    shown = min((one[0] for one in found), key=lambda took: took.wall)
    sheet, whole = min(one[1] for one in found), min(one[2] for one in found)
    median, longest, pipes = warm(path, kept)
    label = f"{name}, {pipes:,} pipes"
    rows = [
        (f"{label}: answer, tables ready, median of {PLACES} places", median.words(), LIMITS["warm"][limits]),
        ("the longest of them", longest.words(), None),
        ("command to the answer on the screen", shown.words(), LIMITS["cold"][limits]),
        ("command to the first sheet (PDF)", f"{sheet:.2f}", LIMITS["sheet"][limits]),
        ("command to its end: rings for valves that fail, pressures, second sheet", f"{whole:.2f}", None),
    ]
    return [f"| {what} | {took} | {'–' if limit is None else limit} |" for what, took, limit in rows]


def _middle_main(path: Path, kept: Path) -> str:
    """Return the main in the middle of a network, which is kept."""
    from netplan.readers import open_source, read_network
    from netplan.readers.sources.file_limits import UNLIMITED

    network = read_network(open_source(path, UNLIMITED), cache=kept, strict=False)
    start = network.pipes.coord_start[: network.pipes.n_mains]
    gap = np.abs(network.pipes.coords_m[start] - network.pipes.coords_m.mean(axis=0)).max(axis=1)
    return str(network.pipes.id[int(gap.argmin())])


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pipes", nargs="?", type=int, default=1_000_000)
    parser.add_argument("runs", nargs="?", type=int, default=3)
    parser.add_argument("--city", type=Path, help="A city that was written before.")
    given = parser.parse_args(arguments)
    os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")
    write_byte_code([ROOT])
    with tempfile.TemporaryDirectory() as folder:
        kept, city = Path(folder) / "kept", given.city
        if city is None:
            from netplan.readers import write_layers
            from tests.benchmarks.emergency_city import city_layers

            city = Path(folder) / "city.gpkg"
            write_layers(city_layers(given.pipes), city)
        rows = measured("Sample town", Path(str(sample_network())), kept, "M0123", given.runs, 0)
        rows += measured("City", city, kept, _middle_main(city, kept), given.runs, 1)
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    OUT.write_text(
        "# An emergency answer: time\n\n"
        f"Made by `python -m tests.benchmarks.emergency {given.pipes} {given.runs}`; {os.cpu_count()} cores, load over "
        f"1, 5 and 15 minutes {load}. The sample town, and a street grid with valves "
        "(`tests/benchmarks/emergency_city.py`); networks and, of the city, tables kept (`--cache`). Least of "
        f"{given.runs} runs of the command.\n\n"
        "| what | seconds of wall / processor | limit [s] |\n|---|--:|--:|\n" + "\n".join(rows) + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()

"""A screen on a Dask cluster of processes of their own: seconds by the number of workers.

    python -m tests.benchmarks.cluster_scaling 1 2

Writes docs/benchmarks/cluster.md. Scheduler and workers are started as the page on clusters says and are up before the
clock starts; a short screen before the measured one lets every worker load and compile what it needs. Give more numbers
on a machine with more processors.
"""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import psutil

from netplan.network.model import Network
from netplan.rules import default_rules
from netplan.screening import ScreenSettings, Workers, screen
from tests.benchmarks.isolation_grids import isolation_grid
from tests.support.machines import free_port, page_command

OUT: Final = Path(__file__).parents[2] / "docs" / "benchmarks" / "cluster.md"
ROOT: Final = Path(__file__).parents[2]
CASES: Final = (
    ("stops alone", 100_000, ScreenSettings(pressure=False)),
    ("with pressures", 30_000, ScreenSettings()),
)
TIMES: Final = 3
"""Each screen is run so often, the numbers of workers in turn; the quickest counts."""


@dataclass(frozen=True)
class Figures:
    """One screen: the seconds of the wall, and of the processors of all workers."""

    workers: int
    mains: int
    wall_s: float
    workers_s: float
    load: float


def _spent(processes: list[psutil.Process]) -> float:
    return float(sum(one.cpu_times().user + one.cpu_times().system for one in processes))


def measure(network: Network, warm: Network, settings: ScreenSettings, count: int) -> Figures:
    """Screen a network by so many workers."""
    address = f"tcp://127.0.0.1:{free_port()}"
    quiet = ["--no-dashboard", "--no-show"]
    with tempfile.TemporaryDirectory() as folder:
        where = {"cwd": folder, "env": {**os.environ, "PYTHONPATH": str(ROOT)}, "stderr": subprocess.DEVNULL}
        begun = [subprocess.Popen([*page_command("dask scheduler", address), *quiet], **where)]  # type: ignore[call-overload]  # noqa: S603
        command = page_command("dask worker", address)
        del command[(several := command.index("--nworkers")) : several + 2]
        begun += [
            subprocess.Popen([*command, "--no-nanny", "--no-dashboard"], **where)  # type: ignore[call-overload]  # noqa: S603
            for _ in range(count)
        ]
        try:
            return _measured(
                network, warm, settings, address, [psutil.Process(one.pid) for one in begun[1:]], Path(folder)
            )
        finally:
            for one in begun:
                one.kill()
                one.wait()


def _measured(
    network: Network,
    warm: Network,
    settings: ScreenSettings,
    address: str,
    workers: list[psutil.Process],
    folder: Path,
) -> Figures:
    import distributed

    client = distributed.Client(address)  # type: ignore[no-untyped-call]
    client.wait_for_workers(len(workers))
    who, rules = Workers(scheduler=address), default_rules()
    client.close()  # type: ignore[no-untyped-call]
    screen(warm, rules, settings, folder=folder / "warm", workers=who)
    wall, spent = time.perf_counter(), _spent(workers)
    done = screen(network, rules, settings, folder=folder / "blocks", workers=who)
    seconds = time.perf_counter() - wall
    if len(done.table) != network.pipes.n_mains:
        raise RuntimeError("mains are missing")
    shutil.rmtree(folder / "blocks")
    found = Figures(len(workers), len(done.table), seconds, _spent(workers) - spent, os.getloadavg()[0])
    print(found, file=sys.stderr, flush=True)  # noqa: T201
    return found


def _page(cases: list[tuple[str, list[Figures]]]) -> str:
    counts = " ".join(str(one.workers) for one in cases[0][1])
    text = (
        f"{_processor()}, {os.cpu_count()} processors, Python {platform.python_version()}. Seconds of the wall from the "
        "network in memory to the table, and seconds of the processors of all workers together; workers are up, and "
        "what they compile is compiled. Faster: the wall of the first row over the wall of this one. The command and "
        "the scheduler take their share of the same processors. Other work ran beside on this machine: the load is the "
        "mean number of processes that wanted a processor over the last minute, those of this run among them, so that "
        f"the seconds are the least of {TIMES} runs."
    )
    lines = [
        "# A screen on a cluster: seconds by workers",
        "",
        (
            "Scheduler and workers as processes of their own on one machine, started as "
            "[the page on clusters](../how-to-cluster.md) says, on street grids of "
            "`tests/benchmarks/isolation_grids.py`. One run:"
        ),
        "",
        f"    python -m tests.benchmarks.cluster_scaling {counts}",
        "",
        text,
        "",
    ]
    for name, rows in cases:
        lines += [
            f"{name.capitalize()}, {rows[0].mains:,} mains:",
            "",
            "| workers | wall [s] | mains a second | workers' processors [s] | faster | load |",
            "|--:|--:|--:|--:|--:|--:|",
        ]
        lines += [
            f"| {one.workers} | {one.wall_s:.1f} | {one.mains / one.wall_s:,.0f} | {one.workers_s:.1f} | "
            f"{rows[0].wall_s / one.wall_s:.2f} | {one.load:.1f} |"
            for one in rows
        ]
        lines.append("")
    return "\n".join(lines)


def _processor() -> str:
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            return line.split(":")[1].strip()
    return platform.machine()


def main(counts: list[int]) -> None:
    """Measure both kinds of screen by all these numbers of workers, and write the page."""
    warm = isolation_grid(3_000)
    cases = []
    for name, size, settings in CASES:
        network = isolation_grid(size)
        runs = [[measure(network, warm, settings, count) for count in counts] for _ in range(TIMES)]
        cases.append(
            (name, [min(of_count, key=lambda one: one.wall_s) for of_count in zip(*runs, strict=True)])
        )
    OUT.write_text(_page(cases), encoding="utf-8")


if __name__ == "__main__":
    main([int(count) for count in sys.argv[1:]] or [1, 2])

"""Losses at both ends of every main, and best stops, beside pandas and networkx doing the obvious.

    python -m tests.benchmarks.screen_tables --whole 30000 300000 1000000

Writes docs/benchmarks/screen.md. The obvious ways are timed on a few mains and said so, because for all they
would not end; what they find is compared. With ``--whole`` every main of each grid is screened besides, by two
worker processes.
"""

from __future__ import annotations

import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from netplan.isolation.segment_graph import segment_graph
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.rules import default_rules
from netplan.screening import ScreenSettings, Workers, lost_at_ends, screen
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.screen_run import Districts
from tests.benchmarks.isolation_grids import isolation_grid
from tests.benchmarks.obvious_losses import lost_by_networkx, lost_by_pandas
from tests.benchmarks.test_isolation_speed import networkx_value

OUT = Path(__file__).parents[2] / "docs" / "benchmarks" / "screen.md"
SOME: Final = 500
FEW: Final = 3
MOST_OBVIOUS: Final = 400_000
"""Pieces above which the obvious ways are left out: one main takes minutes [-]."""
WORKERS: Final = 2
TARGET_MAINS, TARGET_S = 100_000, 60.0
SETTINGS = ScreenSettings(pressure=False)
Found = TypeVar("Found")


@dataclass(frozen=True)
class Figures:
    """What was measured on one grid; seconds of the processor unless the name says wall."""

    pieces: int
    mains: int
    losses_s: float
    ready_s: float
    stops_ms: float
    pandas_s: float | None
    networkx_s: float | None
    cut_s: float | None
    screen_wall_s: float | None
    screen_s: float | None


def _told(what: str, work: Callable[[], Found]) -> tuple[Found, float]:
    print(f"{what} ...", file=sys.stderr, end=" ", flush=True)  # noqa: T201
    start = time.process_time()
    found = work()
    spent = time.process_time() - start
    print(f"{spent:.2f} s of the processor", file=sys.stderr, flush=True)  # noqa: T201
    return found, spent


def _stops(network: Network, some: list[int]) -> tuple[float, float]:
    """Return the seconds until a district is ready, and the milliseconds a main, each main asked once."""
    district, rows = Districts(network, default_rules(), SETTINGS)(0)
    evaluator = MainEvaluator(district)
    _, ready_s = _told("one district made ready", lambda: list(evaluator.rows([0])))
    _, spent = _told(
        f"stops of {len(some)} mains", lambda: list(evaluator.rows([rows[main] for main in some]))
    )
    return ready_s, spent / len(some) * 1e3


def _least_cut(network: Network, main: int) -> float:
    """Return the seconds of the wall of networkx's minimum cut of the whole graph round a main, once built.

    That cut and the chooser's are compared in tests/outside/test_isolation_least_cut.py.
    """
    work = WorkSection(np.array([main], np.int32), np.zeros(1), network.pipes.length_m[[main]])
    return networkx_value(segment_graph(network), work)[1]


def _screened(network: Network) -> tuple[float, float]:
    """Return the seconds of the wall and of all processors for the screen of every main."""
    last = [time.monotonic()]

    def tell(done: int, count: int) -> None:
        if time.monotonic() - last[0] > 5.0 or done == count:
            last[0] = time.monotonic()
            print(f"  {done:,} of {count:,} mains", file=sys.stderr, flush=True)  # noqa: T201

    wall, spent = time.perf_counter(), _processors_s()
    with tempfile.TemporaryDirectory() as folder:
        done = screen(
            network,
            default_rules(),
            SETTINGS,
            folder=Path(folder) / "blocks",
            workers=Workers(WORKERS),
            tell=tell,
        )
        seconds = time.perf_counter() - wall
    if len(done.table) != network.pipes.n_mains:
        raise RuntimeError("mains are missing")
    return seconds, _processors_s() - spent


def _compiling_s() -> float:
    """Return the seconds of the processor that the first question after installing takes more than later ones."""
    asked = (
        "from tests.benchmarks.screen_tables import *;"
        "list(Bench(Districts(isolation_grid(1200), default_rules(), SETTINGS)(0)[0]).rows([0]))"
    )
    seconds = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(2):
            before = _processors_s()
            command = [sys.executable, "-c", asked]
            subprocess.run(command, check=True, env={**os.environ, "NUMBA_CACHE_DIR": folder})  # noqa: S603
            seconds.append(_processors_s() - before)
    return seconds[0] - seconds[1]


def _processors_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def measure(size: int, *, whole: bool) -> Figures:
    """Measure everything on a grid of about `size` pipes."""
    network, _ = _told(f"grid of {size:,} pipes", lambda: isolation_grid(size))
    count = network.pipes.n_mains
    loss, losses_s = _told("losses of all mains", lambda: lost_at_ends(network))
    # A grid may hold a few mains that hang on nothing: districts of their own, where there is nothing to time.
    known = sorted(Districts(network, default_rules(), SETTINGS)(0)[1])
    some = np.random.default_rng(1).choice(known, min(SOME, len(known)), replace=False).tolist()
    ready_s, stops_ms = _stops(network, some)
    obvious: list[float | None] = [None, None, None]
    if len(network.pieces) <= MOST_OBVIOUS:
        few = some[:FEW]
        for place, (name, way) in enumerate((("pandas", lost_by_pandas), ("networkx", lost_by_networkx))):
            lost, spent = _told(f"{name}: losses of {FEW} mains", lambda way=way: way(network, few))  # type: ignore[misc]
            if lost != loss.customers[few].tolist():
                raise RuntimeError("the two ways differ")
            obvious[place] = spent / FEW
        obvious[2], _ = _told("networkx: least cut round a main", lambda: _least_cut(network, few[0]))
    walls = _screened(network) if whole else (None, None)
    return Figures(len(network.pieces), count, losses_s, ready_s, stops_ms, *obvious, *walls)


def _cell(value: float | None, digits: int, scale: float = 1.0) -> str:
    return "not tried" if value is None else f"{value * scale:,.{digits}f}"


def _table(rows: list[Figures]) -> str:
    lines = {
        "losses at both ends, all mains [s]": [_cell(row.losses_s, 2) for row in rows],
        f"the same by pandas, from {FEW} mains [s]": [_cell(row.pandas_s, 0, row.mains) for row in rows],
        f"the same by networkx, from {FEW} mains [s]": [_cell(row.networkx_s, 0, row.mains) for row in rows],
        "a district made ready, once for each worker [s]": [_cell(row.ready_s, 2) for row in rows],
        f"best stops, {SOME} mains drawn at random [ms a main]": [_cell(row.stops_ms, 2) for row in rows],
        "networkx, minimum cut of the whole graph, from one main, wall [ms a main]": [
            _cell(row.cut_s, 0, 1e3) for row in rows
        ],
        f"screen of all mains, {WORKERS} workers, wall [s]": [_cell(row.screen_wall_s, 1) for row in rows],
        f"screen of all mains, {WORKERS} workers, processors [s]": [_cell(row.screen_s, 1) for row in rows],
    }
    head = f"| | {' | '.join(f'{row.pieces:,} pipes, {row.mains:,} mains' for row in rows)} |"
    body = [f"| {name} | {' | '.join(cells)} |" for name, cells in lines.items()]
    return "\n".join([head, f"|---|{'--:|' * len(rows)}", *body])


def _verdict(rows: list[Figures]) -> str:
    timed = [row for row in rows if row.screen_wall_s is not None and row.mains >= TARGET_MAINS]
    aim = f"The target is {TARGET_MAINS:,} mains within {TARGET_S:.0f} s on two cores"
    if not timed:
        return f"{aim}; no grid of that size was screened in this run."
    wall = timed[0].screen_wall_s or 0.0
    met = "met" if wall * TARGET_MAINS / timed[0].mains <= TARGET_S else "not met"
    return f"{aim}: {met} ({timed[0].mains:,} mains in {wall:.1f} s of the wall)."


def machine() -> str:
    """Return what the figures were measured on."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text(encoding="utf-8").splitlines() if info.exists() else []
    name = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "")
    cores = sum(line.startswith("processor") for line in lines)
    return f"{name or platform.machine()}, {cores or '?'} cores, Python {platform.python_version()}"


def write(rows: list[Figures], command: str, compiling_s: float) -> None:
    """Write the page of docs/benchmarks."""
    OUT.write_text(
        "# Every main in turn: seconds\n\n"
        "Street grids of `tests/benchmarks/isolation_grids.py`, without pressures. One run:\n\n"
        f"    {command}\n\n"
        f"{machine()}. Seconds and milliseconds of the processor where the table does not say wall; the screen of "
        'all mains with the making of the districts, the workers and the table. Figures "from a few mains" are '
        "what all would take at that rate. The losses that the obvious ways find are compared with those of the screen. "
        f"Compiling the search for least zones takes {compiling_s:.1f} s, once after installing; it is in none of the "
        "figures.\n\n"
        f"{_table(rows)}\n\n{_verdict(rows)}\n",
        encoding="utf-8",
    )


def main(words: list[str]) -> None:
    """Measure the grids named on the command line and write the page."""
    sizes = [int(word) for word in words if word != "--whole"] or [30_000]
    compiling_s = _compiling_s()
    _stops(isolation_grid(1200), [0])  # what is compiled is loaded before anything is measured
    rows: list[Any] = [measure(size, whole="--whole" in words) for size in sizes]
    command = " ".join(["python -m tests.benchmarks.screen_tables", *words])
    write(rows, command, compiling_s)
    print(_table(rows), _verdict(rows), sep="\n\n")  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1:])

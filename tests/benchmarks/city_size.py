"""How time and memory grow from a town to a city: the whole way from a GeoPackage to an option.

    python -m tests.benchmarks.city_size 30000 100000 300000 1000000

writes a street grid of each size (`layer_grids`), then reads, joins, checks, keeps and plans on it, each in a
process of its own, beside geopandas and networkx doing the obvious: reading whole layers, a graph by rounded
end points, connected components without one main. Seconds are of the wall and, behind the stroke, of the
processor; memory is the greatest of the process. The exponent is the slope of the logarithms by least
squares: 1 is growth in proportion.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np

SECONDS_AT_MOST: Final = 900
STAGES: Final = ("ready", "kept", "plan", "obvious")
ROWS: Final = {
    "ready: read": "GeoPackage to layers",
    "ready: join": "layers to joined network",
    "ready: ready": "GeoPackage to ready network",
    "ready: checks": "every check",
    "ready: keep": "ready network kept",
    "kept: kept": "kept network read, source hashed",
    "plan: best": "best option, no weather",
    "plan: five": "five options, no weather",
    "obvious: layers": "geopandas reads mains and services",
    "obvious: graph": "networkx graph by rounded ends",
    "obvious: cut": "networkx components without one main",
}
Figures = dict[str, Any]


class Clock:
    """Seconds of the wall and of the processor by name."""

    def __init__(self) -> None:
        self.figures: Figures = {"memory_before_gib": _peak_gib()}

    @contextmanager
    def of(self, name: str) -> Iterator[None]:
        """Time what is done inside."""
        wall, work = time.perf_counter(), time.process_time()
        yield
        self.figures[name] = (time.perf_counter() - wall, time.process_time() - work)


def _peak_gib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def ready(path: Path, kept: Path) -> Figures:
    """Read, join, check and keep."""
    from netplan.network.build import build_network
    from netplan.network.checks import check_network
    from netplan.readers import open_source, read_layers
    from netplan.readers.network_cache import ReadingWay, cache_network, network_key
    from netplan.readers.sources.file_limits import UNLIMITED

    clock = Clock()
    source = open_source(path, UNLIMITED)
    with clock.of("ready"):
        with clock.of("read"):
            raw = read_layers(source)
        with clock.of("join"):
            network = build_network(raw.layers, raw.source, findings=raw.findings)
        del raw
    clock.figures["memory_ready_gib"] = _peak_gib()
    with clock.of("checks"):
        check_network(network)
    key = network_key(source, None, ReadingWay())
    with clock.of("keep"):
        cache_network(network, kept, str(key))
    return clock.figures | {"pipes": len(network.pipes)}


def read_kept(path: Path, kept: Path) -> Figures:
    """Read the network that was kept, its source hashed to find it."""
    from netplan.readers import open_source
    from netplan.readers.network_cache import ReadingWay, cached_network, network_key
    from netplan.readers.sources.file_limits import UNLIMITED

    clock = Clock()
    with clock.of("kept"):
        source = open_source(path, UNLIMITED)
        network = cached_network(kept, str(network_key(source, None, ReadingWay())), source.name)
    if network is None:
        raise RuntimeError("the network was not kept")
    return clock.figures


def plan(path: Path, kept: Path) -> Figures:
    """Plan on the ready network: the best option, and five, on the main in the middle of the city."""
    from netplan.network.work_section import WorkPart
    from netplan.planning.make_plan import PlanRequest, make_plan
    from netplan.readers import open_source, read_network
    from netplan.readers.sources.file_limits import UNLIMITED
    from netplan.rules import read_rules

    network, rules = read_network(open_source(path, UNLIMITED), cache=kept), read_rules(None)
    start = network.pipes.coord_start[: network.pipes.n_mains]
    gap = np.abs(network.pipes.coords_m[start] - network.pipes.coords_m.mean(axis=0)).max(axis=1)
    row = int(gap.argmin())
    middle = float(network.pipes.length_m[row]) / 2
    part = WorkPart(network.pipes.id[row], middle - 2, middle + 2)
    clock = Clock()
    for name, count in (("best", 1), ("five", 5)):
        with clock.of(name):
            make_plan(PlanRequest(network, (part,), rules, options=count, weather=False))
    return clock.figures


def obvious(path: Path, _: Path) -> Figures:
    """Do what is obvious with geopandas and networkx; services tapped between the ends stay unjoined."""
    import geopandas
    import networkx as nx
    import shapely

    clock = Clock()
    with clock.of("layers"):
        frames = [geopandas.read_file(path, layer=layer) for layer in ("mains", "services")]
    with clock.of("graph"):
        graph: Any = nx.MultiGraph()
        for frame in frames:
            lines = frame.geometry.to_numpy()
            for feature, line in zip(frame["id"], lines, strict=True):
                first, *_inner, last = shapely.get_coordinates(line).round(2).tolist()
                graph.add_edge(tuple(first), tuple(last), id=feature)
    with clock.of("cut"):
        gone = frames[0]["id"].iloc[len(frames[0]) // 2]
        edge: Any = next(edge for edge in graph.edges(keys=True, data="id") if edge[3] == gone)
        graph.remove_edge(*edge[:3])
        sum(1 for _part in nx.connected_components(graph))
    return clock.figures


def _child(stage: str, path: Path, kept: Path) -> None:
    work: dict[str, Callable[[Path, Path], Figures]] = {
        "ready": ready,
        "kept": read_kept,
        "plan": plan,
        "obvious": obvious,
    }
    figures = work[stage](path, kept)
    print(json.dumps(figures | {"memory_gib": _peak_gib()}))  # noqa: T201


def _make(size: int, path: Path) -> None:
    from netplan.readers import write_layers
    from tests.benchmarks.layer_grids import grid_layers

    write_layers(grid_layers(size), path)


def _in_own_process(stage: str, path: Path, kept: Path) -> Figures | None:
    command = [sys.executable, "-m", "tests.benchmarks.city_size", "--stage", stage, str(path), str(kept)]
    try:
        done = subprocess.run(  # noqa: S603
            command, stdout=subprocess.PIPE, timeout=SECONDS_AT_MOST, check=False
        )
    except subprocess.TimeoutExpired:
        return None
    if done.returncode:
        return None
    found: Figures = json.loads(done.stdout) if done.stdout.strip() else {}
    return found


def _exponent(sizes: list[int], values: list[float | None]) -> str:
    known = [(size, value) for size, value in zip(sizes, values, strict=True) if value]
    if len(known) < 2:
        return "–"
    logs = np.log(np.array(known))
    return f"{np.polyfit(logs[:, 0], logs[:, 1], 1)[0]:.2f}"


def _seconds(pair: Any) -> str:
    return f"{pair[0]:.2f} / {pair[1]:.2f}" if pair else "–"


def table(found: dict[int, dict[str, Figures | None]]) -> str:
    """Return the figures as a table in Markdown."""
    sizes = sorted(found)
    pipes = [int((found[size]["ready"] or {}).get("pipes", size)) for size in sizes]
    head = ["seconds of wall / processor", *(f"{count:,} pipes" for count in pipes), "exponent"]
    lines = [head, ["---"] + ["---:"] * (len(head) - 1)]
    for name, words in ROWS.items():
        stage, _, key = name.partition(": ")
        pairs = [(found[size][stage] or {}).get(key) for size in sizes]
        walls = [pair[0] if pair else None for pair in pairs]
        works = [pair[1] if pair else None for pair in pairs]
        slopes = f"{_exponent(pipes, walls)} / {_exponent(pipes, works)}"
        lines.append([words, *map(_seconds, pairs), slopes])
    for stage, key, words in (
        ("ready", "memory_ready_gib", "greatest memory, GeoPackage to ready network [GiB]"),
        ("kept", "memory_gib", "greatest memory, kept network read [GiB]"),
        ("plan", "memory_gib", "greatest memory, five options [GiB]"),
        ("obvious", "memory_gib", "greatest memory, geopandas and networkx [GiB]"),
    ):
        held = [found[size][stage] or {} for size in sizes]
        values = [figures.get(key) for figures in held]
        # What the imports take does not grow; the rest does.
        grown = [
            value - figures["memory_before_gib"] if value else None
            for value, figures in zip(values, held, strict=True)
        ]
        shown = [f"{value:.2f}" if value else "–" for value in values]
        lines.append([words, *shown, _exponent(pipes, grown)])
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def main(sizes: list[int], stages: list[str]) -> None:
    """Run every stage for every size and print the table."""
    found: dict[int, dict[str, Figures | None]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for size in sizes:
            path, kept = Path(folder) / f"{size}.gpkg", Path(folder) / "kept"
            _in_own_process("make", path, Path(str(size)))
            found[size] = {
                stage: _in_own_process(stage, path, kept) if stage in stages else None for stage in STAGES
            }
            path.unlink()
    busy = ", ".join(f"{load:.1f}" for load in os.getloadavg())
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, load {busy}\n")  # noqa: T201
    print(table(found))  # noqa: T201


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="*", type=int, default=[30_000, 100_000, 300_000, 1_000_000])
    parser.add_argument("--only", nargs="+", choices=STAGES, default=list(STAGES), help="stages to run")
    parser.add_argument("--stage", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.stage and given.stage[0] == "make":
        _make(int(given.stage[2]), Path(given.stage[1]))
    elif given.stage:
        _child(given.stage[0], Path(given.stage[1]), Path(given.stage[2]))
    else:
        main(given.sizes, given.only)

"""What the planning page takes: ``python -m tests.benchmarks.page_latency [PIPES] [--city FILE] [--write]``.

Starts a real server for the sample town and, where PIPES are given, for a city of about so many pipes
(`emergency_city`), orders over HTTP as the page does, and prints the median and the 95th percentile of each answer
beside what is wanted. Orders are drawn from a seed: mains all over the network, the ends of the work section dragged by
metres (`handle`), then a stop of the best option dragged along its main (`stop`). ``--write`` writes
docs/benchmarks/page.md. The ghost under the pointer and recolouring are the browser's: they are measured there.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from netplan.cli.sample import sample_network
from netplan.network.model import Network
from tests.benchmarks.start import ROOT, write_byte_code
from tests.support.page_client import PageClient, page_orders
from tests.support.served_page import serving

OUT: Final = ROOT / "docs" / "benchmarks" / "page.md"
SECTIONS: Final = 12
DRAGS: Final = 4
BURST: Final = 15
LONGEST_S: Final = 900.0
"""The coldest weather is waited for no longer [s]."""
ENDED: Final = ("conflict", "failed", "done")
WANTED: Final = {
    "main under the pointer": (0.05, 0.05),
    "tile of the map, close in": (0.05, 0.05),
    "tile of the map, whole network, first asked": (1.0, 2.0),
    "zone, stops, customers and bound: another main": (0.1, 0.2),
    "zone, stops, customers and bound: a handle dragged": (0.1, 0.2),
    "zone, stops, customers and bound: a stop dragged": (0.1, 0.2),
    "first option priced and solved: another main": (0.5, 1.0),
    "first option priced and solved: a handle dragged": (0.5, 1.0),
    "first option priced and solved: a stop dragged": (0.5, 1.0),
    "all options priced and solved: another main": (1.5, 3.0),
    "all options priced and solved: a handle dragged": (1.5, 3.0),
    "all options priced and solved: a stop dragged": (1.5, 3.0),
    "all options complete, with standby and excavations": (None, None),
    "coldest weather of all options": (None, None),
    f"bound of the last of {BURST} orders, one every 30 ms": (None, None),
}
"""What is measured, and the seconds wanted for the sample town and for a million pipes; None: in the background."""


class Times:
    """Seconds by what was measured."""

    def __init__(self) -> None:
        self.taken: dict[str, list[float]] = {name: [] for name in WANTED}

    def add(self, name: str, seconds: float) -> None:
        """Take one more."""
        self.taken[name].append(seconds)

    def rows(self, place: int) -> list[str]:
        """Return the rows of a table: median and 95th percentile beside what is wanted."""
        found = []
        for name, limits in WANTED.items():
            taken, limit = self.taken[name], limits[place]
            if not taken:
                continue
            median, high = np.percentile(taken, [50, 95]).tolist()
            wanted = "–" if limit is None else f"{limit:g}"
            kept = (
                "" if limit is None else ("yes" if high <= limit else "median" if median <= limit else "no")
            )
            found.append(f"| {name} | {len(taken)} | {median:.3f} | {high:.3f} | {wanted} | {kept} |")
        return found


def measured(source: str, network: Network, folder: Path, sections: int, seed: int = 11) -> Times:
    """Return the times of one network."""
    times, rng = Times(), np.random.default_rng(seed)
    with serving(source, folder) as served:
        client = PageClient(served.url)
        facts = _map(client, network, times, rng)
        # The server's worker reads the network for itself: the first order waits for that.
        first = client.order(page_orders(*_somewhere(network, rng)))
        client.wait(first, "options", *ENDED)
        for at in range(sections):
            main, from_m, to_m = _somewhere(network, rng)
            best = _answered(client, times, "another main", page_orders(main, from_m, to_m))
            for step in range(1, DRAGS + 1):
                moved = page_orders(main, from_m, round(to_m + 0.5 * step, 3))
                best = _answered(client, times, "a handle dragged", moved) or best
            if best is not None:
                for step in range(1, DRAGS + 1):
                    _answered(client, times, "a stop dragged", _dragged(moved, best, 0.5 * step))
            if at < 2:
                _in_the_background(client, times, page_orders(main, from_m, to_m))
                _burst(client, times, main, from_m, to_m)
        assert facts["mains"] == network.pipes.n_mains
        client.close()
    return times


def _map(client: PageClient, network: Network, times: Times, rng: np.random.Generator) -> dict[str, Any]:
    facts: dict[str, Any] = client.get("/network")
    _timed(client, times, "tile of the map, whole network, first asked", "/tiles/0/0/0")
    pipes, zoom = network.pipes, min(facts["farthest_in"], 12)
    side = facts["extent_m"] / 2**zoom
    for row in rng.integers(0, pipes.n_mains, 60).tolist():
        x, y = pipes.coords_m[pipes.coord_start[row]].tolist()
        column, line = int((x - facts["west_m"]) / side), int((facts["north_m"] - y) / side)
        last = 2**zoom - 1
        tile = f"/tiles/{zoom}/{min(max(column, 0), last)}/{min(max(line, 0), last)}"
        _timed(client, times, "tile of the map, close in", tile)
        _timed(client, times, "main under the pointer", f"/main?x={x}&y={y}&reach=20")
    return facts


def _timed(client: PageClient, times: Times, name: str, path: str) -> None:
    start = time.perf_counter()
    client.get(path)
    times.add(name, time.perf_counter() - start)


def _somewhere(network: Network, rng: np.random.Generator) -> tuple[str, float, float]:
    """Return four metres in the middle of a main drawn at random."""
    lengths = network.pipes.length_m[: network.pipes.n_mains]
    row = int(rng.choice(np.flatnonzero(lengths > 20.0)))
    middle_m = round(float(lengths[row]) / 2.0, 3)
    return network.pipes.id[row], middle_m - 2.0, middle_m + 2.0


def _answered(client: PageClient, times: Times, kind: str, orders: dict[str, Any]) -> dict[str, Any] | None:
    """Give orders, note when each answer comes, and return the best option; None without a plan."""
    start = time.perf_counter()
    revision = client.order(orders)
    bound = client.wait(revision, "bound", *ENDED)
    if bound.stage != "bound":
        return None
    times.add(f"zone, stops, customers and bound: {kind}", bound.at_s - start)
    option = client.wait(revision, "option", *ENDED)
    if option.stage != "option":
        return None
    times.add(f"first option priced and solved: {kind}", option.at_s - start)
    # The first of those that are complete has excavations: all were priced and solved right before it.
    complete = client.wait(revision, "options", such=lambda heard: _is_complete(heard.data["options"][0]))
    ahead = [heard for heard in client.heard if heard.revision == revision and heard.at_s < complete.at_s]
    solved = [heard for heard in ahead if heard.stage in ("option", "options")]
    times.add(f"all options priced and solved: {kind}", solved[-1].at_s - start)
    best: dict[str, Any] = complete.data["options"][0]
    return best


def _is_complete(option: dict[str, Any]) -> bool:
    return option["planner"]["excavations"]["value"] is not None


def _dragged(orders: dict[str, Any], option: dict[str, Any], by_m: float) -> dict[str, Any]:
    """Return orders with the first dug stop of an option half a metre and more away from the work."""
    stop = next((one for one in option["stops"] if not one["valve_id"]), None)
    if stop is None:
        return {**orders, "forbid": [option["stops"][0]["valve_id"]]}
    work = orders["work"][0]
    is_behind = stop["main_id"] == work["main_id"] and stop["chainage_m"] < work["from_m"]
    at_m = max(round(stop["chainage_m"] + (-by_m if is_behind else by_m), 3), 0.0)
    return {**orders, "force": [f"{stop['main_id']}:{at_m:g}"]}


def _in_the_background(client: PageClient, times: Times, orders: dict[str, Any]) -> None:
    start = time.perf_counter()
    revision = client.order(orders)
    if client.wait(revision, *ENDED, within_s=LONGEST_S).stage != "done":
        return
    heard = [one for one in client.heard if one.revision == revision]
    options = [one.at_s for one in heard if one.stage == "options"]
    weather = [one.at_s for one in heard if one.stage == "weather"]
    if options and weather:
        times.add("all options complete, with standby and excavations", options[-1] - start)
        times.add("coldest weather of all options", weather[-1] - start)


def _burst(client: PageClient, times: Times, main: str, from_m: float, to_m: float) -> None:
    for step in range(BURST):
        start = time.perf_counter()
        revision = client.order(page_orders(main, from_m, round(to_m + 0.1 * step, 3)))
        time.sleep(max(0.03 - (time.perf_counter() - start), 0.0))
    if (heard := client.wait(revision, "bound", *ENDED)).stage == "bound":
        times.add(f"bound of the last of {BURST} orders, one every 30 ms", heard.at_s - start)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print, and write where that is wanted."""
    from netplan.readers import open_source, read_network, write_layers
    from netplan.readers.sources.file_limits import UNLIMITED

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pipes", nargs="?", type=int, default=0)
    parser.add_argument("--city", type=Path, help="A city that was written before.")
    parser.add_argument("--sections", type=int, default=SECTIONS)
    parser.add_argument("--write", action="store_true", help="Write docs/benchmarks/page.md.")
    given = parser.parse_args(arguments)
    write_byte_code([ROOT])
    tables = []
    with tempfile.TemporaryDirectory() as scratch:
        sources = [("Sample town", str(sample_network()), 0)]
        if given.pipes or given.city:
            city = given.city or Path(scratch) / "city.gpkg"
            if given.city is None:
                from tests.benchmarks.emergency_city import city_layers

                write_layers(city_layers(given.pipes), city)
            sources.append(("City", str(city), 1))
        for at, (name, source, place) in enumerate(sources):
            folder = Path(scratch) / str(at)
            # Kept as somebody's second morning has it: the server and its worker read what is there.
            network = read_network(open_source(source, UNLIMITED), cache=folder / "cache", set_aside=True)
            times = measured(source, network, folder, given.sections)
            head = f"## {name}, {len(network.pipes):,} pipes\n\n"
            head += "| what | n | median [s] | 95 % [s] | wanted [s] | kept |\n|---|--:|--:|--:|--:|---|\n"
            tables.append(head + "\n".join(times.rows(place)) + "\n")
            sys.stdout.write(f"{tables[-1]}\n")
            sys.stdout.flush()
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    sys.stdout.write(f"load over 1, 5 and 15 minutes: {load}\n")
    if given.write:
        pipes = f" {given.pipes}" if given.pipes else ""
        OUT.write_text(
            "# The planning page: time\n\n"
            f"Made by `python -m tests.benchmarks.page_latency{pipes} --write`: a real server, asked over HTTP; "
            f"{os.cpu_count()} cores, load over 1, 5 and 15 minutes {load}. From giving an order until its answer "
            f"has arrived; {given.sections} work sections drawn over each network, then handles and stops dragged. "
            "*Kept*: the 95th percentile is within what is wanted, or the median alone. Networks are kept (`--cache`); "
            "the city is a street grid with valves (`tests/benchmarks/emergency_city.py`). What has no limit goes on "
            "in the background, and a newer order ends it.\n\n" + "\n".join(tables),
            encoding="utf-8",
        )


if __name__ == "__main__":
    main()

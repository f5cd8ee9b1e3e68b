"""Random work sections planned on two towns: ``python -m tests.benchmarks.plan_tables [COUNT]``.

Writes docs/benchmarks/plans.md: share proven optimal, ways priced and seconds. The count is 100 unless said.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from netplan.cli.sample import sample_network
from netplan.core.errors import NetplanError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.rank import rank
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import Rules, read_rules
from tests.support import schutterwald

OUT = Path(__file__).parents[2] / "docs" / "benchmarks" / "plans.md"
LENGTH_M = 6.0
SEED = 6


def sections(network: Network, count: int) -> list[WorkPart]:
    """Return random work sections of 6 m, on mains drawn by their length."""
    rng = random.Random(SEED)  # noqa: S311
    lengths = network.pipes.length_m[: network.pipes.n_mains]
    rows = [row for row, length in enumerate(lengths.tolist()) if length > LENGTH_M + 2.0]
    drawn = rng.choices(rows, weights=[lengths[row] for row in rows], k=count)
    starts = [rng.uniform(1.0, float(lengths[row]) - LENGTH_M - 1.0) for row in drawn]
    return [
        WorkPart(network.pipes.id[row], round(at, 2), round(at + LENGTH_M, 2))
        for row, at in zip(drawn, starts, strict=True)
    ]


def table_row(name: str, network: Network, rules: Rules, air_temp_c: float | None, count: int) -> str:
    """Plan the sections one by one and return their row of the table."""
    what: Counter[str] = Counter()
    priced: list[int] = []
    seconds: list[float] = []
    for part in sections(network, count):
        start = time.process_time()
        try:
            context = PlanningContext.for_request(PlanRequest(network, (part,), rules, air_temp_c=air_temp_c))
            ranking = rank(context, work_section(network, (part,)), lambda _: None)
        except NetplanError:
            what["none"] += 1
        else:
            best = ranking.options[0].burden_minor <= ranking.lower_bound_minor(0)
            what["best proven" if best else "open"] += 1
            what["all proven"] += ranking.options[-1].burden_minor <= ranking.lower_bound_minor(-1)
            priced.append(ranking.cuts_priced)
        seconds.append(time.process_time() - start)
        sys.stderr.write(f"{name}: {len(seconds)} of {count}, {seconds[-1]:.2f} s, {dict(what)}\n")
    answered = max(len(priced), 1)
    zones, took = (np.percentile(some or [0], [50, 95]) for some in (priced, seconds))
    return (
        f"| {name} | {count} | {what['none']} | {100 * what['best proven'] / answered:.0f} % "
        f"| {100 * what['all proven'] / answered:.0f} % | {zones[0]:.0f} | {zones[1]:.0f} "
        f"| {took[0]:.2f} | {took[1]:.2f} |"
    )


def main() -> None:
    """Write the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    towns: list[tuple[str, Callable[[], Network], Rules, float | None]] = [
        ("sample town", lambda: read_network(sample_network()), read_rules(), None),
        (
            "Schutterwald, low pressure",
            lambda: build_network(schutterwald.layers(), strict=False),
            schutterwald.pinned_rules(),
            schutterwald.MILD_C,
        ),
    ]
    rows = [table_row(name, read(), rules, air_c, count) for name, read, rules, air_c in towns]
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text(
        "# Plans of random work sections\n\n"
        f"Made by `python -m tests.benchmarks.plan_tables {count}`: 6 m of main, drawn by length, shipped rules "
        "(Schutterwald: without margins on demand, in mild weather), five options each. Seconds are processor seconds for setting up and ranking, "
        "reading the network and writing options not counted. Shares are of the sections with a plan.\n\n"
        "| network | sections | without a plan | best proven | all listed proven | ways priced p50 | p95 "
        "| seconds p50 | p95 |\n|---|--:|--:|--:|--:|--:|--:|--:|--:|\n" + "\n".join(rows) + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()

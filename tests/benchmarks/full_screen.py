"""Processor seconds a main of a screen in full, on street grids, beside making each plan whole.

    python -m tests.benchmarks.full_screen 10000 30000 100000 --write

draws mains of each grid of `layer_grids` at random, prices the best option of each as ``screen --full`` does, and plans
some of them on the same solved network. Seconds are of the processor, of this process and all its threads; what is the
same for all mains of a network is worked out once and told apart.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import make_plan
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from netplan.screening import ScreenSettings
from netplan.screening.full_evaluator import FullEvaluator
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.plan_outcomes import PLAN_STANDS
from netplan.screening.screen_run import Districts
from netplan.screening.screen_settings import span_of
from tests.benchmarks.layer_grids import grid_layers
from tests.benchmarks.screen_tables import machine

OUT: Final = Path(__file__).parents[2] / "docs" / "benchmarks" / "full-screen.md"
SETTINGS: Final = ScreenSettings(full=True)
PLANNED: Final = 10
TARGET_S: Final = 0.4


@dataclass(frozen=True)
class Figures:
    """What was measured on one grid [s of the processor]."""

    pieces: int
    mains: int
    ready_s: float
    best_s: Sequence[float]
    stands: int
    row_s: float
    plan_s: float


def measure(network: Network, count: int) -> Figures:
    """Measure a grid on mains drawn at random."""
    evaluator = FullEvaluator(network, default_rules(), SETTINGS)
    drawn = np.random.default_rng(1).choice(network.pipes.n_mains, count + 1, replace=False).tolist()
    start = time.process_time()
    evaluator.row(drawn.pop())
    ready_s = time.process_time() - start
    best_s, stands = [], 0
    for main in drawn:
        start = time.process_time()
        stands += evaluator.row(main)["plan_outcome"] == PLAN_STANDS
        best_s.append(time.process_time() - start)
    some = drawn[:PLANNED]
    whole = MainEvaluator(Districts(network, default_rules(), SETTINGS)(0)[0])
    _ = list(whole.rows(some[:1]))
    start = time.process_time()
    _ = list(whole.rows(some))
    row_s = (time.process_time() - start) / len(some)
    start = time.process_time()
    for main in some:
        part = WorkPart(network.pipes.id[main], *span_of(network.pipes.length_m.item(main), SETTINGS))
        request = PlanRequest(network, (part,), default_rules(), options=1, weather=False)
        context = evaluator.context.with_request(replace(request, parts=(part,)))
        make_plan(request, watch=PlanWatch(context), lift_orders=False)
    plan_s = (time.process_time() - start) / len(some)
    return Figures(len(network.pieces), network.pipes.n_mains, ready_s, best_s, stands, row_s, plan_s)


def table(rows: Sequence[Figures]) -> str:
    """Return the figures as a Markdown table."""
    lines = {
        "until the first main is priced, once for each worker [s]": [f"{row.ready_s:.1f}" for row in rows],
        "mains priced": [f"{len(row.best_s)}" for row in rows],
        "of them with a plan": [f"{row.stands}" for row in rows],
        "best option, mean [s a main]": [f"**{np.mean(row.best_s):.2f}**" for row in rows],
        "best option, median [s a main]": [f"{np.median(row.best_s):.2f}" for row in rows],
        "best option, greatest [s]": [f"{max(row.best_s):.2f}" for row in rows],
        "whole row of the screen, what is not of the best option included, mean [s a main]": [
            f"{row.row_s:.2f}" for row in rows
        ],
        "whole plan on the same solved network, mean [s a main]": [f"{row.plan_s:.2f}" for row in rows],
    }
    head = f"| | {' | '.join(f'{row.pieces:,} pieces, {row.mains:,} mains' for row in rows)} |"
    body = [f"| {name} | {' | '.join(cells)} |" for name, cells in lines.items()]
    return "\n".join([head, f"|---|{'--:|' * len(rows)}", *body])


def main(words: Sequence[str]) -> None:
    """Measure the grids named on the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pipes", type=int, nargs="+")
    parser.add_argument("--mains", type=int, default=60)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args(words)
    rows, load = [], os.getloadavg()[0]
    for size in given.pipes:
        rows.append(measure(build_network(grid_layers(size)), given.mains))
        sys.stderr.write(table(rows[-1:]) + "\n")
    means = [float(np.mean(row.best_s)) for row in rows]
    met = ", ".join(f"{'met' if mean <= TARGET_S else 'not met'} ({mean:.2f} s)" for mean in means)
    text = (
        "# Every main in full: seconds\n\n"
        "`screen --full` prices the best option of every main as `plan` does, with feeds, pressures, hours and the "
        "order of the work. Street grids of `tests/benchmarks/layer_grids.py`, mains drawn at random, shipped rules, "
        "the rules' design air temperature. One run:\n\n"
        f"    python -m tests.benchmarks.full_screen {' '.join(words)}\n\n"
        f"{machine()}, {load:.1f} processes at work when it began: with more than there are cores a second of the "
        f"processor does less. Seconds are of the processor.\n\n{table(rows)}\n\n"
        f"The target is a mean of {TARGET_S:g} s a main: {met}. What a main takes is some 16 solutions of the flow, each "
        "of the whole network or, beyond 120,000 nodes, of at least 60,000 of them. Smaller parts of these grids are no way "
        "out: what a stop does is felt at their boundary, and a larger part is taken after all.\n"
    )
    if given.write:
        OUT.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main(sys.argv[1:])

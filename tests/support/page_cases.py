"""Random orders of the planning page, and the same plan by page and by the command that it shows."""

from __future__ import annotations

import contextlib
import io
import json
import shlex
import sys
from pathlib import Path
from typing import Any

import numpy as np

from netplan.cli import app as commands
from netplan.cli.sample import sample_network
from netplan.core.errors import NetplanError
from netplan.network.linear_reference import lon_lat, points_at
from netplan.page.page_orders import PageOrders, PageWork, equal_command
from netplan.page.planning_worker import NetworkSource
from netplan.page.save_plan import save_orders

__all__ = ["random_orders", "run_command", "saved_both_ways"]


def random_orders(network: Any, rng: np.random.Generator, *, mild: bool = False) -> PageOrders:
    """Return random orders on the sample town; mild ones leave a plan."""
    pipes = network.pipes
    rows = rng.choice(np.flatnonzero(pipes.length_m[: pipes.n_mains] > 25.0), 3)
    lengths = pipes.length_m[rows]

    def place(at: int, share: float) -> str:
        return f"{pipes.id[int(rows[at])]}:{lengths[at] * share:.3f}"

    middle_m = round(float(lengths[0]) / 2.0, 3)
    main_id = "M0048" if mild else pipes.id[int(rows[0])]
    middle_m = 87.0 if mild else middle_m
    xy = points_at(network, rows[1:2], lengths[1:2] * rng.random())[0]
    reach = rng.uniform(1.0, 6.0)
    corners = xy + reach * np.array([[-1, -1], [1, -0.7], [0.9, 1], [-1.1, 0.8]])
    ring = tuple(map(tuple, lon_lat(network, corners).tolist()))
    customers = network.customers
    who = customers.id[int(rng.integers(len(customers)))]
    return PageOrders(
        work=(PageWork(main_id=main_id, from_m=middle_m - 2, to_m=middle_m + 2),),
        force=() if mild or rng.random() < 0.5 else (place(1, 0.3),),
        forbid=(place(2, 0.6), f"{place(2, 0.2)}:{lengths[2] * 0.25:.3f}", "V012"),
        keep_out=(ring, *((ring[::-1],) if rng.random() < 0.3 else ())),
        keep_on=() if mild else (who,),
        own_supply=() if mild or rng.random() < 0.5 else ("C00068",),
        max_stops=int(rng.integers(0, 8)) if not mild else 0,
        options=2 if mild else int(rng.integers(0, 4)),
        no_bypass=bool(rng.random() < 0.3),
        start="2027-03-09T07:00" if rng.random() < 0.5 else "",
        hours=float(rng.integers(6, 11)) if rng.random() < 0.5 else None,
        air_temp_c=float(rng.integers(-5, 12)) if rng.random() < 0.5 else None,
    )


def run_command(line: list[str]) -> int:
    """Run a command line in this process; return its exit code."""
    before, sys.argv = sys.argv, line
    try:
        commands.main()
    except SystemExit as left:
        return int(left.code or 0)
    finally:
        sys.argv = before
    return 0


def saved_both_ways(network: Any, orders: PageOrders, folder: Path, name: str) -> str:
    """Save a plan as the page does and by the equal command; return what differs, empty where nothing does."""
    out, again = folder / name, folder / f"{name} again"
    code, words, said = 0, "", io.StringIO()
    try:
        save_orders(network, NetworkSource(str(sample_network())), orders, folder, name)
    except NetplanError as error:
        code, words = error.exit_code, str(error)
        from netplan.outputs.keep_out_file import KEEP_OUT_FILE, keep_out_text
        from netplan.page.page_orders import areas_of

        out.mkdir()  # what the command reads is there all the same
        (out / KEEP_OUT_FILE).write_text(keep_out_text(areas_of(orders)), encoding="utf-8")
    line = shlex.split(equal_command(str(sample_network()), orders, str(out)))
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(io.StringIO()):
        by_command = run_command([*line[: line.index("--out")], "--no-papers", "--out", str(again)])
    if code != by_command:
        return f"exit code {by_command} by command, {code} by page"
    if code:
        return "" if words in said.getvalue() else f"{said.getvalue()!r} by command, {words!r} by page"
    plans = []
    for one in (out, again):
        plan = json.loads((one / "plan.json").read_text(encoding="utf-8"))
        del plan["provenance"]
        plans.append(plan)
    if plans[0] != plans[1]:
        return "plan.json: " + ", ".join(key for key in plans[0] if plans[0][key] != plans[1].get(key))
    areas = [(one / "keep-out.geojson").read_bytes() for one in (out, again)]
    return "" if areas[0] == areas[1] else "keep-out.geojson"

"""Plans of fixed work sections of two towns, kept as files, so that two versions of the program can be compared.

``python -m tests.plan_changes make FOLDER [SECTIONS]`` plans the sample town's named sections and as many random
ones of it and of the open town, with one version of the program; ``python -m tests.plan_changes compare OLD NEW``
counts what differs between two such folders, by key of plan.json.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from netplan.cli.sample import sample_network
from netplan.core.errors import NetplanError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support import schutterwald

__all__ = ["compare", "main", "make", "sections"]

NAMED = (
    ("M0142", 158, 162),
    ("M0017", 120, 126),
    ("M0048", 50, 54),
    ("M0147", 20, 22),
    ("M0123", 90, 94),
    ("M0142", 30, 36),
    ("M0154", 268, 274),
    ("M0185", 10, 11.5),
)
"""Sections of the sample town that its README names, and one beside a station."""
LENGTH_M = 4.0
LEFT_OUT = ("provenance", "rules")


def sections(network: Network, count: int, seed: int = 16) -> list[tuple[str, float, float]]:
    """Return as many random sections of four metres, the same for every version of the program."""
    rng = np.random.default_rng(seed)
    pipes = network.pipes
    long = np.flatnonzero(pipes.length_m[: pipes.n_mains] > 3 * LENGTH_M)
    low_pressure = (
        long[pipes.mop_pa_gauge[long] < 1e5] if np.isfinite(pipes.mop_pa_gauge[long]).any() else long
    )
    found = []
    for row in rng.choice(low_pressure, min(count, len(low_pressure)), replace=False).tolist():
        start = round(float(rng.uniform(LENGTH_M, pipes.length_m[row] - 2 * LENGTH_M)), 1)
        found.append((pipes.id[row], start, start + LENGTH_M))
    return found


def _towns(count: int) -> Iterator[tuple[str, Network, list[tuple[str, float, float]]]]:
    network = read_network(sample_network())
    yield "sample", network, [*NAMED, *sections(network, count)]
    network = build_network(schutterwald.layers())
    yield "schutterwald", network, sections(network, count)


def make(folder: Path, count: int) -> None:
    """Plan every section and write the plans, three options each, or the reasons where there is none."""
    folder.mkdir(parents=True)
    for town, network, work in _towns(count):
        for main_id, low, high in work:
            request = PlanRequest(
                network, (WorkPart(main_id, low, high),), read_rules(None), options=3, weather=False
            )
            try:
                found = json.loads(make_plan(request).plan.model_dump_json(by_alias=True))
            except NetplanError as error:
                found = {"refused": str(error)}
            kept = {key: value for key, value in found.items() if key not in LEFT_OUT}
            (folder / f"{town}-{main_id}-{low:g}.json").write_text(json.dumps(kept, indent=1, sort_keys=True))
            sys.stdout.write(f"{town} {main_id} {low:g}\n")
            sys.stdout.flush()


def _differences(old: Any, new: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            yield from _differences(old.get(key), new.get(key), f"{path}.{key}" if path else key)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for one, other in zip(old, new, strict=True):
            yield from _differences(one, other, path + "[]")
    elif old != new:
        yield path, old, new


def compare(old: Path, new: Path) -> None:
    """Print how many plans differ in which keys, and the burdens of the best options that moved."""
    keys: Counter[str] = Counter()
    moved, changed = [], 0
    names = sorted({path.name for path in [*old.glob("*.json"), *new.glob("*.json")]})
    for name in names:
        one, other = (json.loads((folder / name).read_text()) for folder in (old, new))
        paths = {path for path, _, _ in _differences(one, other)}
        keys.update(paths)
        changed += bool(paths)
        burdens = [[o["burden"] for o in plan.get("options", [])] for plan in (one, other)]
        if burdens[0] != burdens[1]:
            moved.append(f"{name.removesuffix('.json')}: {burdens[0]} -> {burdens[1]}")
    lines = [
        f"{len(names)} plans, {changed} differ",
        *moved,
        *(f"{n:4d} {key}" for key, n in keys.most_common()),
    ]
    sys.stdout.write("\n".join(lines) + "\n")


def main(arguments: list[str]) -> int:
    """Run ``make FOLDER [SECTIONS]`` or ``compare OLD NEW``."""
    if arguments[:1] == ["make"] and len(arguments) in (2, 3):
        make(Path(arguments[1]), int(arguments[2]) if len(arguments) == 3 else 12)
        return 0
    if arguments[:1] == ["compare"] and len(arguments) == 3:
        compare(Path(arguments[1]), Path(arguments[2]))
        return 0
    sys.stderr.write(f"{__doc__}\n")
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Table what the emergency answers of many towns break.

``python -m tests.whole_emergency FIRST:LAST`` asks at places of every kind in the towns of these seeds;
``python -m tests.whole_emergency SEED`` says what deviates in one town;
``python -m tests.whole_emergency small FIRST:LAST`` compares rings of small towns with the best of all there are;
``python -m tests.whole_emergency schutterwald FIRST:LAST`` asks in the open Schutterwald network with valves set on it;
``python -m tests.whole_emergency damaged COUNT`` (or FIRST:LAST) asks in towns whose records are damaged at random.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from tests.whole_emergency.damaged import run_damaged
from tests.whole_emergency.exhaustive_runs import run_small_town
from tests.whole_emergency.real_town import run_real_town
from tests.whole_emergency.runs import EmergencyRun, run_town

SHOWN = 3
TOLD_EVERY = 25


def _told(seeds: Iterable[int]) -> Iterator[int]:
    """Yield seeds and say on the error channel how many are done."""
    for done, seed in enumerate(seeds):
        if done and done % TOLD_EVERY == 0:
            print(f"{done} done, up to {seed - 1}", file=sys.stderr, flush=True)
        yield seed


def _table(seeds: Iterable[int], run_one: Callable[[int, Path], EmergencyRun] = run_town) -> int:
    holds: Counter[str] = Counter()
    rules: dict[str, list[str]] = {}
    for seed in _told(seeds):
        with tempfile.TemporaryDirectory() as folder:
            run = run_one(seed, Path(folder))
        holds.update(run.holds)
        for label, breach in run.found:
            rules.setdefault(breach.rule, []).append(f"seed {seed} {label}: {breach.what}")
            print(f"seed {seed} {label}: {breach}", file=sys.stderr, flush=True)
    for name, count in sorted(holds.items()):
        print(f"{count:6d}  {name}")
    print(f"{sum(map(len, rules.values()))} deviations")
    for rule, lines in sorted(rules.items(), key=lambda item: -len(item[1])):
        print(f"{len(lines):5d}  {rule}")
        for line in lines[:SHOWN]:
            print(f"        {line}")
    return 1 if rules else 0


def _damaged(seeds: Iterable[int]) -> int:
    holds: Counter[str] = Counter()
    count, faults = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in _told(seeds):
            run = run_damaged(seed, Path(folder))
            count, holds = count + 1, holds + run.holds
            if run.fault:
                faults += 1
                print(
                    f"seed {seed} {run.asked}: {', '.join(run.damage)}\n{run.fault}",
                    file=sys.stderr,
                    flush=True,
                )
    for name, some in sorted(holds.items()):
        print(f"{some:6d}  {name}")
    print(f"{count} places, {faults} without an answer that holds")
    return 1 if faults else 0


def main() -> int:
    """Run as the module's help says."""
    *how, asked = sys.argv[1:]
    first, colon, last = asked.partition(":")
    seeds = range(int(first), int(last)) if colon else [int(first)]
    if how == ["damaged"]:
        return _damaged(seeds if colon else range(int(first)))
    runs = {"small": run_small_town, "schutterwald": run_real_town}
    return _table(seeds, runs[how[0]] if how else run_town)


if __name__ == "__main__":
    sys.exit(main())
